"""The queue that this machine shares with other presses, if the shop has one."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.presses.places import settings_file

if TYPE_CHECKING:
    from chalkbeam.presses.address import Address
    from chalkbeam.presses.board import Board, LiveBoard
    from chalkbeam.presses.engine import Queue

FRESH = 0.15
"""Seconds for which a look at the board serves all who watch it."""


def queue_of_shop() -> Address | None:
    """Return the address that the shop's settings name; None for a shop of one press.

    Raises
    ------
    Refusal
        If the settings cannot be used.
    """
    if not settings_file().is_file():
        return None
    from chalkbeam.presses.address import read_address
    from chalkbeam.presses.settings import shop_settings

    record = shop_settings().record
    return read_address(record) if record else None


class BoardWatch:
    """Looks at the board for everybody who watches it: one connection, one look at a time."""

    def __init__(self) -> None:
        self._asking = threading.Lock()
        self._queue: Queue | None = None
        self._watch: LiveBoard | None = None
        self._seen: tuple[float, Board | Refusal] | None = None

    def look(self) -> Board | Refusal:
        """Return the board, or why it cannot be seen now."""
        with self._asking:
            now = time.monotonic()
            if self._seen is None or now - self._seen[0] > FRESH:
                self._seen = (now, self._ask())
            return self._seen[1]

    def settle(self, number: int, counts: bool) -> None:
        """Settle what two presses say differently, as a person has seen on the garment.

        Raises
        ------
        Refusal
            If the queue does not answer, or there is no such thing.
        """
        from chalkbeam.presses import conflicts

        with self._asking:
            self._seen = None
            self._open().transact(lambda c: conflicts.settle(c, number, counts))

    def close(self) -> None:
        """Let the queue go."""
        with self._asking:
            if self._queue is not None:
                self._queue.close()
                self._queue = None

    def _ask(self) -> Board | Refusal:
        from chalkbeam.presses.board import LiveBoard

        self._watch = self._watch or LiveBoard()
        try:
            return self._open().transact(self._watch.look)
        except Refusal as refusal:
            return refusal

    def _open(self) -> Queue:
        from chalkbeam.presses.engine import Queue

        if self._queue is None:
            address = queue_of_shop()
            if address is None:
                raise Refusal("This shop has one press: there is no queue to look at.")
            self._queue = Queue(address)
        return self._queue
