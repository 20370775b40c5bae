"""Runs of an order, and what the lines of the journal say of them."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.record import snapshot
from chalkbeam.record.events import Event, Kind, Step
from chalkbeam.record.journal_lines import JournalLine

BEGUN = "begun"
"""Kind of the line that a run begins with; the other lines of a run are its events."""
LOST = "lost"
"""Kind of a line that stands for an act that is known to have been there and cannot be read."""


@dataclass(frozen=True)
class Heading:
    """What a list of runs shows of one.

    Attributes
    ----------
    id : str
    title : str
        For people.
    sheet : str
        Path of the run sheet.
    digest : str
        SHA-256 of the sheet's bytes when the run began.
    earlier : str or None
        Id of the run that this one repeats.
    begun : str
        Date and time (ISO 8601, UTC).
    """

    id: str
    title: str
    sheet: str
    digest: str
    earlier: str | None
    begun: str


@dataclass(frozen=True)
class Run(Heading):
    """One order being pressed, with the order of work as it was planned.

    Attributes
    ----------
    stops : tuple of Stop
    as_listed, by_hand : float
        The plan's estimates for comparison, s.
    """

    stops: tuple[Stop, ...]
    as_listed: float = 0.0
    by_hand: float = 0.0


def latest_of(
    headings: Sequence[Heading], digest: str | None, sheet: Path | None
) -> Heading | None:
    """Return the run begun last; of the sheet with this digest or path, if any is given."""
    every = digest is None and sheet is None
    for each in reversed(headings):
        if every or each.digest == digest or each.sheet == str(sheet):
            return each
    return None


def by_place(
    headings: Iterable[Heading], sheets: Iterable[Path], place: Callable[[str], object]
) -> dict[Path, list[Heading]]:
    """Return the runs of each sheet, in their order; `place` is that of a path, to be compared."""
    wanted = {place(str(sheet)): sheet for sheet in sheets}
    found: dict[Path, list[Heading]] = {}
    for each in headings:
        sheet = wanted.get(place(each.sheet))
        if sheet is not None:
            found.setdefault(sheet, []).append(each)
    return found


HEADING = tuple(field.name for field in fields(Heading))


def begun_body(heading: Mapping[str, Any], work: str) -> dict[str, Any]:
    """Return what a line says of a run that begins; its order of work goes in packed.

    Parameters
    ----------
    heading : mapping
        By the names of `Heading`.
    work : str
        From `snapshot.dump`.
    """
    packed = base64.b85encode(zlib.compress(work.encode())).decode()
    return {"kind": BEGUN, **{name: heading[name] for name in HEADING}, "work": packed}


def heading_of(body: Mapping[str, Any]) -> Heading:
    """Return the heading that a line of kind `BEGUN` bears."""
    return Heading(**{name: body[name] for name in HEADING})


def run_of(body: Mapping[str, Any]) -> Run:
    """Return the run that a line of kind `BEGUN` says.

    Raises
    ------
    ValueError
        If its order of work is spoiled.
    """
    try:
        work = zlib.decompress(base64.b85decode(body["work"])).decode()
    except zlib.error as error:
        raise ValueError(str(error)) from None
    stops, as_listed, by_hand = snapshot.load(work)
    heading = {name: body[name] for name in HEADING}
    return Run(**heading, stops=stops, as_listed=as_listed, by_hand=by_hand)


def event_body(event: Event) -> dict[str, Any]:
    """Return what a line says of an event."""
    return {
        "kind": event.kind.value,
        "id": event.id,
        "imprint": event.imprint,
        "step": event.step.value if event.step else None,
        "data": dict(event.data),
        "session": event.session,
        "clock": float(event.clock),
        "wall": event.wall,
        "operator": event.operator,
        "rig": event.rig,
        "calibration": event.calibration,
    }


def event_of(line: JournalLine, seq: int) -> Event:
    """Return the event that a line says.

    Raises
    ------
    ValueError, KeyError
        If it says none that is known.
    """
    said = dict(line.body)
    step = said.pop("step")
    return Event(
        kind=Kind(said.pop("kind")), step=Step(step) if step else None, seq=seq, **said
    )  # fmt: skip


def is_event(line: JournalLine) -> bool:
    """Whether a line says an event."""
    return line.body.get("kind") not in (BEGUN, LOST)
