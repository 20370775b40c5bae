"""A record that is thrown away: for light at the press that no order asks for."""

from __future__ import annotations

from typing import Any

from chalkbeam.orders.order_of_work import Plan
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.session import RunSession
from chalkbeam.record.store import Run


class ScratchLog:
    """Keeps no event: what happens is in force until the program ends, and no file is made."""

    history: tuple[Event, ...] = ()

    def __init__(self) -> None:
        self._last = 0

    def write(
        self,
        kind: Kind,
        imprint: str = "",
        step: Step | None = None,
        *,
        event_id: str | None = None,
        **data: Any,
    ) -> Event:
        """Return the event as one that is in force."""
        self._last += 1
        return Event(event_id or new_id(), kind, imprint, step, data, seq=self._last)

    def use(self, rig: str, calibration: str) -> None:
        """Forget it: no event bears a rig here."""

    def tidy(self) -> None:
        """Do nothing: nothing is put off."""


def scratch_session(plan: Plan) -> RunSession:
    """Return a session on an order of its own that leaves nothing behind."""
    run = Run(new_id(), "", "", "", None, "", plan.stops, plan.as_listed, plan.by_hand)
    return RunSession(run, ScratchLog())
