"""The queue's orders, read as a record's runs are: by all presses together."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from chalkbeam.presses import shared_runs
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.tables import acts, holds, outcomes
from chalkbeam.record.events import Event, Kind
from chalkbeam.record.runs import Heading, Run


class QueueRecord:
    """Tells of the orders in a queue; as `chalkbeam.record.source.RunSource`."""

    def __init__(self, queue: Queue) -> None:
        self._queue = queue

    def runs(self) -> list[Heading]:
        """Return every order, oldest first; one that another took the place of left out."""
        return self._queue.transact(shared_runs.headings)

    def run(self, run_id: str) -> Run:
        """Return the order whose id begins so."""
        return self._queue.transact(lambda c: shared_runs.named_run(c, run_id))

    def latest(self, digest: str | None = None, sheet: Path | None = None) -> Run | None:
        """Return the order begun last; of the sheet with this digest or place, if any is given.

        Machines reach one folder by different paths: its name and the sheet's are the place.
        """
        for each in reversed(self.runs()):
            every = digest is None and sheet is None
            if every or each.digest == digest or (sheet is not None and _alike(each.sheet, sheet)):
                return self.run(each.id)
        return None

    def events(self, run: Run) -> list[Event]:
        """Return how what has ended of an order ended, on the garments that count.

        One outcome an imprint, whichever press it came by, with where it lay before it.
        """
        return self._queue.transact(lambda c: list(_ended(c, run)))


def _alike(one: str, other: Path) -> bool:
    return Path(one.replace("\\", "/")).parts[-2:] == other.parts[-2:]


def _ended(connection: sa.Connection, run: Run) -> Iterator[Event]:
    here = (holds.c.run == outcomes.c.run) & (holds.c.piece == outcomes.c.piece)
    garment = sa.func.coalesce(holds.c.garment, 0)  # nobody has what was done in an earlier run
    query = (
        sa.select(outcomes.c.imprint, outcomes.c.outcome, outcomes.c.act, acts.c.body)
        .join(holds, here, isouter=True)
        .join(acts, acts.c.id == outcomes.c.act, isouter=True)
        .where(outcomes.c.run == run.id, outcomes.c.garment == garment)
    )
    found: list[tuple[str, str, str, dict[str, Any]]] = []
    for imprint, outcome, act, body in connection.execute(query):
        found.append((imprint, outcome, act, json.loads(body or "{}")))
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
