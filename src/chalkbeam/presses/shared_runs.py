"""Orders of the queue: found again by their sheet, and whether anything of them is left."""

from __future__ import annotations

import json
from collections.abc import Iterable
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import sqlalchemy as sa

from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.presses.acts import SAID_AT
from chalkbeam.presses.beginning import started
from chalkbeam.presses.tables import acts, claims, conflicts, counted, outcomes, runs
from chalkbeam.record import snapshot
from chalkbeam.record.events import Event, Kind, NewEvent
from chalkbeam.record.journal_lines import JournalLine
from chalkbeam.record.runs import Heading, Run, event_of, is_event


def ended_imprints(connection: sa.Connection, run: str) -> int:
    """Return how many imprints of an order have ended, on the garments that count."""
    query = counted(sa.select(sa.func.count()).select_from(outcomes))
    return int(connection.execute(query.where(outcomes.c.run == run)).scalar_one())


def place_of(sheet: str) -> tuple[str, ...]:
    """Return what two machines' paths to one sheet have in common: they reach it by other ways."""
    return Path(sheet.replace("\\", "/")).parts[-2:]


def run_of_sheet(
    connection: sa.Connection, digest: str, place: tuple[str, ...] | None = None
) -> tuple[str, bool] | None:
    """Return the order of a sheet that was begun last and whether it is over, if any was.

    With a `place` (`place_of`), of the sheet there alone: a copy of it is another order.
    """
    rows = connection.execute(
        sa.select(runs.c.id, runs.c.imprints, runs.c.replaced_by, runs.c.sheet)
        .where(runs.c.digest == digest)
        .order_by(runs.c.place.desc())
    )
    found = next((row for row in rows if place in (None, place_of(row.sheet))), None)
    if found is None:
        return None
    finished = ended_imprints(connection, found.id) >= found.imprints
    return found.id, finished or found.replaced_by is not None


def times_begun(connection: sa.Connection, digest: str) -> int:
    """Return how often a sheet was begun."""
    query = sa.select(sa.func.count()).select_from(runs).where(runs.c.digest == digest)
    return int(connection.execute(query).scalar_one())


def shared_run(connection: sa.Connection, run: str) -> Run:
    """Return an order of the queue."""
    row = connection.execute(sa.select(runs).where(runs.c.id == run)).one()
    stops, as_listed, by_hand = snapshot.load(row.work)
    return Run(
        row.id, row.title, row.sheet, row.digest, row.earlier, row.begun, stops, as_listed, by_hand
    )


def start_of(connection: sa.Connection, run: str) -> tuple[NewEvent, ...]:
    """Return what an order begins with in every press's own record."""
    query = sa.select(runs.c.started).where(runs.c.id == run)
    return started(connection.execute(query).scalar_one())


def headings(connection: sa.Connection) -> list[Heading]:
    """Return every order, oldest first; one that another took the place of left out."""
    names = (runs.c[name] for name in ("id", "title", "sheet", "digest", "earlier", "begun"))
    rows = connection.execute(
        sa.select(*names).where(runs.c.replaced_by.is_(None)).order_by(runs.c.place)
    )
    return [Heading(**row) for row in rows.mappings()]


def named_run(connection: sa.Connection, beginning: str) -> Run:
    """Return the order whose id begins so; the one begun last where that is empty.

    Raises
    ------
    Refusal
        If there is none, or more than one.
    """
    query = sa.select(runs.c.id).order_by(runs.c.place.desc())
    if beginning:
        query = query.where(runs.c.id.startswith(beginning, autoescape=True))
    found = list(connection.execute(query).scalars())
    if not found or (beginning and len(found) > 1):
        raise Refusal(
            f"The queue has {len(found)} orders whose id begins with “{beginning}”: ",
            Remedy(RemedyKind.RUNS, "list the orders"),
            ".",
        )
    return shared_run(connection, found[0])


def all_events(connection: sa.Connection, run: str) -> list[Event]:
    """Return what counts of what was done to an order: press by press, each in its own order.

    A press from which another took pieces over comes before it, for a fresh garment begins anew.
    What is at odds with another press counts only where a person has said so; what somebody saw
    at a take-over comes last.
    """
    at_odds = sa.select(conflicts.c.act).where(
        conflicts.c.run == run, sa.func.coalesce(conflicts.c.settled, "") != "counts"
    )
    query = (
        sa.select(acts.c.press, acts.c.number, acts.c.body)
        .where(acts.c.run == run, acts.c.id.not_in(at_odds))
        .order_by(acts.c.press, acts.c.number)
    )
    of_press: dict[str, list[JournalLine]] = {}
    for press, number, body in connection.execute(query):
        line = JournalLine(press, number, run, json.loads(body), (number, number))
        of_press.setdefault(press, []).append(line)
    lines = [line for press in _in_turn(connection, run, of_press) for line in of_press[press]]
    events = [event_of(line, seq) for seq, line in enumerate(filter(is_event, lines), start=1)]
    # Every press's own record begins with what was done in an earlier order: once is enough. Whose
    # pieces they are is each press's own.
    first = {event.imprint: event for event in reversed(events) if event.kind is Kind.CARRIED}
    kept = [
        each
        for each in events
        if each.kind not in (Kind.CLAIMED, Kind.GIVEN)
        and (each.kind is not Kind.CARRIED or first[each.imprint] is each)
    ]
    said = counted(sa.select(outcomes.c.imprint, outcomes.c.act)).where(
        outcomes.c.run == run, outcomes.c.act.startswith(SAID_AT)
    )
    for seq, (imprint, act) in enumerate(connection.execute(said), start=len(events) + 1):
        seen = {"outcome": Kind.PRESSED.value, "run": run, "as": imprint}
        kept.append(Event(f"{act} {imprint}", Kind.CARRIED, imprint, None, seen, seq))
    return kept


def _in_turn(connection: sa.Connection, run: str, found: Iterable[str]) -> list[str]:
    """Return presses, those first from which others took over."""
    query = sa.select(claims.c.press, claims.c.from_press).where(
        claims.c.run == run, claims.c.from_press.is_not(None)
    )
    before: dict[str, set[str]] = {press: set() for press in found}
    for press, other in connection.execute(query):
        if press in before and other in before and press != other:
            before[press].add(other)
    try:
        return list(TopologicalSorter(before).static_order())
    except CycleError:  # pieces went to and fro
        return sorted(before)
