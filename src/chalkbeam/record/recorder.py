"""What writes the events of a session to the record."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

from chalkbeam.record.events import Event, Kind, NewEvent, Step, new_id
from chalkbeam.record.runs import Run
from chalkbeam.record.store import Store, utc_now


class Recorder:
    """Writes the events of one session at one press.

    Parameters
    ----------
    clock, wall : callable
        The monotonic clock (s) and the date; tests bring their own.
    """

    def __init__(
        self,
        store: Store,
        run: Run,
        *,
        operator: str = "",
        rig: str = "",
        calibration: str = "",
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], str] = utc_now,
    ) -> None:
        self.store, self.run = store, run
        self._operator, self._rig, self._calibration = operator, rig, calibration
        self._session = new_id()
        self._clock, self._wall = clock, wall
        history = store.events(run)
        self._last = history[-1].seq if history else 0
        self.history = tuple(history)

    def use(self, rig: str, calibration: str) -> None:
        """Say which rig the events to come are made at, where a run needs several."""
        self._rig, self._calibration = rig, calibration

    def tidy(self) -> None:
        """Let the record do what it has put off, while nothing is waited for."""
        self.store.tidy()

    def write(
        self,
        kind: Kind,
        imprint: str = "",
        step: Step | None = None,
        *,
        event_id: str | None = None,
        **data: Any,
    ) -> Event:
        """Write an event and return it as written; only then may it be shown as done.

        Parameters
        ----------
        event_id : str, optional
            From `events.new_id`. To try again after a refusal, use the same id: an event
            that did reach the disk is not written twice.

        Raises
        ------
        Refusal
            If it is not safely on the disk.
        """
        (event,) = self.write_all([NewEvent(kind, imprint, step, data)], [event_id or new_id()])
        return event

    def write_all(self, acts: Sequence[NewEvent], ids: Sequence[str]) -> list[Event]:
        """Write acts as events with these ids, all of them or none; as `write`."""
        events = [
            Event(
                own, act.kind, act.imprint, act.step, act.data,
                session=self._session, clock=self._clock(), wall=self._wall(),
                operator=self._operator, rig=self._rig, calibration=self._calibration,
            )
            for act, own in zip(acts, ids, strict=True)
        ]  # fmt: skip
        written = self.store.add(self.run, events, self._last)
        self._last = max(self._last, *(event.seq for event in written))
        return written
