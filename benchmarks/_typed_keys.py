"""Arrow keys typed at a window, one when the last one's picture is up, and how long each took."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable

from overlay.window.inputs import Input, Key

WARMING = 5
"""Keys at the beginning that warm the caches up and do not count."""


class TypedKeys:
    """Types at a window and takes the time.

    Parameters
    ----------
    seed : int
        Of the keys and the pauses between them.
    shortest, longest : float
        Pause before a key, s.

    Attributes
    ----------
    spent : list of float
        From each key to its picture, ms.
    """

    def __init__(self, seed: int, shortest: float, longest: float) -> None:
        self.spent: list[float] = []
        self._chance = random.Random(seed)
        self._pauses = (shortest, longest)
        self._up = threading.Event()
        self._pressed = 0.0

    def shown(self) -> None:
        """Take it that a picture is up: the window asks for the next deadline right after it."""
        if self._pressed:
            self.spent.append(1e3 * (time.perf_counter() - self._pressed))
            self._pressed = 0.0
        self._up.set()

    def begin(self) -> None:
        """Return once the first picture is up."""
        self._up.wait()

    def type(self, count: int, post: Callable[[Input], None]) -> None:
        """Type so many keys, and those that do not count before them."""
        for number in range(count + WARMING):
            time.sleep(self._chance.uniform(*self._pauses))
            self._up.clear()
            if number == WARMING:
                self.spent.clear()
            self._pressed = time.perf_counter()
            post(Key(self._chance.choice(["left", "right", "up", "down"]), shift=True))
            self._up.wait()
