"""A record that is thrown away: for light at the press that no order asks for."""

from __future__ import annotations

from collections.abc import Sequence

from chalkbeam.orders.order_of_work import Plan
from chalkbeam.record.events import Event, NewEvent, new_id
from chalkbeam.record.runs import Run
from chalkbeam.record.session import RunSession


class ScratchLog:
    """Keeps no event: what happens is in force until the program ends, and no file is made."""

    history: tuple[Event, ...] = ()

    def __init__(self) -> None:
        self._last = 0

    def write_all(self, acts: Sequence[NewEvent], ids: Sequence[str]) -> list[Event]:
        """Return acts as events that are in force."""
        first = self._last + 1
        self._last += len(acts)
        return [
            Event(own, act.kind, act.imprint, act.step, act.data, seq=first + place)
            for place, (act, own) in enumerate(zip(acts, ids, strict=True))
        ]

    def use(self, rig: str, calibration: str) -> None:
        """Forget it: no event bears a rig here."""

    def tidy(self) -> None:
        """Do nothing: nothing is put off."""


def scratch_session(plan: Plan) -> RunSession:
    """Return a session on an order of its own that leaves nothing behind."""
    run = Run(new_id(), "", "", "", None, "", plan.stops, plan.as_listed, plan.by_hand)
    return RunSession(run, ScratchLog())
