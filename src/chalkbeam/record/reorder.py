"""An order that comes again: where its imprints lay last time, and how they were nudged."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, NewEvent, in_force
from chalkbeam.record.progress import Outcome, Progress

_Key = tuple[str, str, str, str, str, float | None]


@dataclass(frozen=True)
class Earlier:
    """How an imprint like this one was pressed in an earlier run.

    Attributes
    ----------
    location : str
        Preset it was placed by.
    nudge : Shift
        Median of the corrections that the like imprints were pressed with; the middle one, so
        that a single clumsy piece does not come back.
    pose : mapping or None
        The planned pose of the last like imprint, as its event holds it.
    pieces : int
        How many like imprints there were.
    """

    location: str
    nudge: Shift
    pose: Mapping[str, Any] | None
    pieces: int


def brought(found: Mapping[str, Earlier]) -> tuple[NewEvent, ...]:
    """Return events that say where imprints lay last time, for a record that has not got it."""
    return tuple(
        NewEvent(
            Kind.BROUGHT, imprint, None,
            {"location": each.location, "nudge": each.nudge.data(), "pose": each.pose,
             "pieces": each.pieces},
        )
        for imprint, each in found.items()
    )  # fmt: skip


def earlier_of(events: Iterable[Event]) -> dict[str, Earlier]:
    """Return what `brought` has said, by imprint."""
    return {
        event.imprint: Earlier(
            event.data["location"], Shift.of(event.data["nudge"]), event.data["pose"],
            event.data["pieces"],
        )
        for event in events
        if event.kind is Kind.BROUGHT
    }  # fmt: skip


def _key(stop: Stop) -> _Key:
    piece, imprint = stop.piece, stop.imprint
    return (piece.style, piece.size, piece.fit, imprint.location, imprint.art.stack, imprint.width)


def earlier_placements(
    stops: Sequence[Stop], events: Iterable[Event], wanted: Sequence[Stop]
) -> dict[str, Earlier]:
    """Return what an earlier run says of each imprint of a new one.

    Like imprints agree in style, size, fit, location, artwork and width.

    Parameters
    ----------
    stops, events
        The earlier run's order of work and its events.
    wanted : sequence of Stop
        The new run's.

    Returns
    -------
    dict of imprint id to Earlier
        Imprints that have no like are left out.
    """
    everything = list(events)
    progress = Progress(stops, everything)
    poses = {
        event.imprint: event.data.get("pose")
        for event in in_force(everything)
        if event.kind in (Kind.PRESSED, Kind.CARRIED)
    }
    # What that run took over from one before it was moved there: its own acts say nothing of it.
    carried = {each.imprint: each.data for each in everything if each.kind is Kind.CARRIED}

    def moved(place: int) -> Shift:
        nudge = carried.get(stops[place].imprint.id, {}).get("nudge")
        return Shift.of(nudge) if nudge else progress.nudge(place)

    def where(place: int) -> str:
        said = carried.get(stops[place].imprint.id, {}).get("location")
        return str(said) if said else progress.location(place)

    alike: dict[_Key, list[int]] = defaultdict(list)
    for index, stop in enumerate(stops):
        if progress.outcomes.get(stop.imprint.id) is Outcome.PRESSED:
            alike[_key(stop)].append(index)
    found = {}
    for key, places in alike.items():
        shifts = [moved(place) for place in places]
        middle = Shift(
            statistics.median(shift.x for shift in shifts),
            statistics.median(shift.y for shift in shifts),
            statistics.median(shift.angle for shift in shifts),
        )
        last = places[-1]
        found[key] = Earlier(where(last), middle, poses.get(stops[last].imprint.id), len(places))
    return {stop.imprint.id: found[_key(stop)] for stop in wanted if _key(stop) in found}
