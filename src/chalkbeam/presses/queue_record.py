"""The queue's orders, read as a record's runs are: by all presses together."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, Protocol, TypeVar

import sqlalchemy as sa

from chalkbeam.presses import shared_runs
from chalkbeam.presses.acts import CARRIED
from chalkbeam.presses.tables import acts, holds, outcomes
from chalkbeam.record.events import Event, Kind
from chalkbeam.record.runs import Heading, Run, by_place

T = TypeVar("T")


class Transacts(Protocol):
    """An open queue: as of `chalkbeam.presses.engine.Queue`."""

    def transact(self, act: Callable[[sa.Connection], T]) -> T:
        """Return what an act gives, in one transaction."""


class QueueRecord:
    """Tells of the orders in a queue; as `chalkbeam.record.source.RunSource`.

    Parameters
    ----------
    queue : Transacts
    headings : sequence of Heading, optional
        Every order, where they have just been read; else they are read whenever asked for.
    """

    def __init__(self, queue: Transacts, headings: Sequence[Heading] | None = None) -> None:
        self._queue, self._headings = queue, headings

    def runs(self) -> Sequence[Heading]:
        """Return every order, oldest first; one that another took the place of left out."""
        if self._headings is not None:
            return self._headings
        return self._queue.transact(shared_runs.headings)

    def run(self, run_id: str) -> Run:
        """Return the order whose id begins so."""
        return self._queue.transact(lambda c: shared_runs.named_run(c, run_id))

    def latest(self, digest: str | None = None, sheet: Path | None = None) -> Run | None:
        """Return the order begun last; of the sheet with this digest or place, if any is given.

        Machines reach one folder by different paths: its name and the sheet's are the place.
        """
        every = digest is None and sheet is None
        place = shared_runs.place_of(str(sheet))
        for each in reversed(self.runs()):
            here = sheet is not None and place == shared_runs.place_of(each.sheet)
            if every or each.digest == digest or here:
                return self.run(each.id)
        return None

    def runs_of(self, sheets: Iterable[Path]) -> dict[Path, list[Heading]]:
        """Return the orders of the sheets at these places, oldest first; of none that has none."""
        return by_place(self.runs(), sheets, shared_runs.place_of)

    def events(self, run: Run) -> list[Event]:
        """Return how what has ended of an order ended, on the garments that count.

        One outcome an imprint, whichever press it came by, with where it lay before it.
        """
        return self._queue.transact(lambda c: list(_ended(c, run)))

    def everything(self, run: Run) -> list[Event]:
        """Return all that counts of what the presses did to an order, press by press."""
        return self._queue.transact(lambda c: shared_runs.all_events(c, run.id))


def _ended(connection: sa.Connection, run: Run) -> Iterator[Event]:
    here = (holds.c.run == outcomes.c.run) & (holds.c.piece == outcomes.c.piece)
    garment = sa.func.coalesce(holds.c.garment, 0)  # nobody has what was done in an earlier run
    query = (
        sa.select(outcomes.c.imprint, outcomes.c.outcome, outcomes.c.act, acts.c.body)
        .join(holds, here, isouter=True)
        .join(acts, acts.c.id == outcomes.c.act, isouter=True)
        .where(outcomes.c.run == run.id, outcomes.c.garment == garment)
    )
    # What was done in an earlier order is no act of this one: the order's beginning says it.
    carried = {
        f"{CARRIED}{run.id} {each.imprint}": {"data": each.data}
        for each in shared_runs.start_of(connection, run.id)
        if each.kind is Kind.CARRIED
    }
    found: list[tuple[str, str, str, dict[str, Any]]] = []
    for imprint, outcome, act, body in connection.execute(query):
        found.append((imprint, outcome, act, json.loads(body or "{}") or carried.get(act, {})))
    sheets = {stop.imprint.id: stop.imprint.location for stop in run.stops}
    for imprint, outcome, act, body in sorted(found, key=lambda each: each[3].get("wall", "")):
        data = dict(body.get("data") or {})
        wall = str(body.get("wall") or run.begun)
        place = data.get("location")
        if place is not None and place != sheets.get(imprint):
            yield Event(f"{act} place", Kind.PRESET, imprint, data={"location": place}, wall=wall)
        if data.get("nudge"):
            moved = {"batch": "", **data["nudge"]}
            yield Event(f"{act} nudge", Kind.NUDGED, imprint, data=moved, wall=wall)
        if outcome == Kind.SPOILED.value:
            data = {"outcome": outcome}
        kind = Kind.CARRIED if outcome == Kind.SPOILED.value else Kind(outcome)
        yield Event(f"{act} {imprint}", kind, imprint, data=data, wall=wall)
