"""The queue that this machine shares with other presses, if the shop has one."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING, TypeVar

from calibration.refusal import Refusal
from chalkbeam.presses.places import settings_file

if TYPE_CHECKING:
    import sqlalchemy as sa

    from chalkbeam.presses.address import Address
    from chalkbeam.presses.board import Board, LiveBoard
    from chalkbeam.presses.claims import Doubt
    from chalkbeam.presses.engine import Queue
    from chalkbeam.record.source import RunSource
    from chalkbeam.web.workshop import Workshop

T = TypeVar("T")

FRESH = 0.15
"""Seconds for which a look at the board serves all who watch it."""

REST = 2.0
"""Seconds for which a queue that did not answer is not asked again: pages do not wait in a row."""


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


class ShopQueue:
    """Asks the queue for everybody who looks: one connection, one question at a time.

    Attributes
    ----------
    away : str
        Why the queue did not answer when it was last asked; empty where it did.
    """

    def __init__(self) -> None:
        self._asking = threading.RLock()
        self._queue: Queue | None = None
        self._watch: LiveBoard | None = None
        self._seen: tuple[float, Board | Refusal] | None = None
        self.away = ""
        self._rests_until = 0.0

    def transact(self, act: Callable[[sa.Connection], T]) -> T:
        """Return what an act gives, in one transaction; as of `Queue`.

        Raises
        ------
        Refusal
            If the queue does not answer, or did not a moment ago.
        """
        from chalkbeam.presses.faults import Unreachable

        with self._asking:
            if self.away and time.monotonic() < self._rests_until:
                raise Unreachable(self.away)
            try:
                answer = self._open().transact(act)
            except Unreachable as refusal:
                self.away, self._rests_until = str(refusal), time.monotonic() + REST
                raise
            self.away = ""
            return answer

    def look(self) -> Board | Refusal:
        """Return the board, or why it cannot be seen now."""
        from chalkbeam.presses.board import LiveBoard

        with self._asking:
            now = time.monotonic()
            if self._seen is None or now - self._seen[0] > FRESH:
                self._watch = self._watch or LiveBoard()
                try:
                    seen: Board | Refusal = self.transact(self._watch.look)
                except Refusal as refusal:
                    seen = refusal
                self._seen = (now, seen)
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
            self.transact(lambda c: conflicts.settle(c, number, counts))

    def in_doubt(self, run: str, press: str) -> tuple[Doubt, ...]:
        """Return what a press, by its name, holds of an order and has not told the end of."""
        import sqlalchemy as sa

        from chalkbeam.presses import claims
        from chalkbeam.presses.tables import presses

        def ask(connection: sa.Connection) -> tuple[Doubt, ...]:
            own = connection.execute(
                sa.select(presses.c.id).where(presses.c.name == press)
            ).scalar()
            return () if own is None else claims.in_doubt(connection, own, run)

        return self.transact(ask)

    @contextmanager
    def runs(self, shop: Workshop) -> Iterator[RunSource]:
        """Give the runs that the shop knows: the queue's, and those of this machine's own record.

        While the queue is `away`, what this press has of it in place of the queue's.
        """
        from chalkbeam.record.source import FirstOf, runs_in

        with ExitStack() as opened:
            own = opened.enter_context(runs_in(shop.record))
            address = queue_of_shop()
            if address is None:
                yield own
                return
            shared = self._shared()
            if shared is None:
                from chalkbeam.presses.places import press_record
                from chalkbeam.presses.settings import own_name

                shared = opened.enter_context(runs_in(press_record(address, own_name())))
            yield FirstOf(shared, own)

    def close(self) -> None:
        """Let the queue go."""
        with self._asking:
            if self._queue is not None:
                self._queue.close()
                self._queue = None

    def _shared(self) -> RunSource | None:
        from chalkbeam.presses import shared_runs
        from chalkbeam.presses.faults import Unreachable
        from chalkbeam.presses.queue_record import QueueRecord

        try:
            return QueueRecord(self, self.transact(shared_runs.headings))
        except Unreachable:
            return None

    def _open(self) -> Queue:
        from chalkbeam.presses.engine import Queue

        if self._queue is None:
            address = queue_of_shop()
            if address is None:
                raise Refusal("This shop has one press: there is no queue to look at.")
            self._queue = Queue(address)
        return self._queue
