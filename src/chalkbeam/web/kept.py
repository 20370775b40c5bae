"""What takes long to work out is kept for the next who asks, in memory and not too much of it."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

T = TypeVar("T")


class Kept:
    """Answers by key; the one not asked for longest goes first. One of a key is worked out at once.

    Parameters
    ----------
    most : int
        Answers that are kept.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._working: dict[Hashable, threading.Lock] = {}
        self._found: OrderedDict[Hashable, Any] = OrderedDict()

    def get(self, key: Hashable) -> Any | None:
        """Return what is kept; None if nothing is."""
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
            return self._found.get(key)

    def of(self, key: Hashable, work: Callable[[], T]) -> T:
        """Return what is kept, or work it out; whoever asks meanwhile waits for it."""
        with self._lock:
            working = self._working.setdefault(key, threading.Lock())
        try:
            with working:
                found = self.get(key)
                if found is None:
                    found = work()
                    with self._lock:
                        self._found[key] = found
                        while len(self._found) > self._most:
                            self._found.popitem(last=False)
                return found
        finally:
            with self._lock:
                self._working.pop(key, None)
