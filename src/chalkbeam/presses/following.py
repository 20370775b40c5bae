"""What the other presses have done to an order, followed press by press.

Each press counts its own acts, and its count grows in the transaction that adds them: what is
read up to a count is whole. A number over all presses would be given before its transaction
ends, and a reader who remembers the highest passes over those that end later.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.presses.tables import acts, holds, outcomes, presses, runs
from chalkbeam.record.elsewhere import Elsewhere
from chalkbeam.record.events import Event, Kind
from chalkbeam.record.progress import Progress

SHARED = (
    Kind.NUDGED, Kind.COLLARED, Kind.PRESET, Kind.PRESSED, Kind.SKIPPED, Kind.SPOILED,
    Kind.UNDONE, Kind.REDONE, Kind.WASTED, Kind.STOCKED,
)  # fmt: skip
"""What other presses hear of; where a press stands is its own."""


@dataclass(frozen=True)
class News:
    """What a look at the queue brought.

    Attributes
    ----------
    counts : mapping of str to int
        How far each press's acts are in.
    events : mapping of str to tuple of Event
        What is new of each press, in its own order.
    ended : frozenset of str
        Imprints that ended at other presses, on the garment that counts.
    holders : mapping of str to str
        Which press, by its id, holds each piece.
    """

    counts: Mapping[str, int]
    events: Mapping[str, tuple[Event, ...]]
    ended: frozenset[str]
    holders: Mapping[str, str]


def counts(connection: sa.Connection) -> dict[str, int]:
    """Return the number of each press's last act: a look so small that it can be had often."""
    query = sa.select(presses.c.id, presses.c.last)
    return {row.id: row.last for row in connection.execute(query)}


def decisions(connection: sa.Connection, run: str) -> int:
    """Return how often a person decided something of an order that is no act of a press."""
    return int(connection.execute(sa.select(runs.c.changed).where(runs.c.id == run)).scalar_one())


def look(connection: sa.Connection, press: str, run: str, seen: Mapping[str, int]) -> News:
    """Return what is new of an order since the counts that were seen, but the press's own."""
    now = counts(connection)
    new: dict[str, tuple[Event, ...]] = {}
    kinds = [kind.value for kind in SHARED]
    for other, last in now.items():
        if other == press or last <= seen.get(other, 0):
            continue
        query = (
            sa.select(acts.c.id, acts.c.kind, acts.c.imprint, acts.c.body)
            .where(acts.c.run == run, acts.c.press == other, acts.c.kind.in_(kinds))
            .where(acts.c.number > seen.get(other, 0), acts.c.number <= last)
            .order_by(acts.c.number)
        )
        new[other] = tuple(
            Event(own, Kind(kind), imprint, None, json.loads(body).get("data", {}))
            for own, kind, imprint, body in connection.execute(query)
        )
    here = (holds.c.run == outcomes.c.run) & (holds.c.piece == outcomes.c.piece)
    ended = (
        sa.select(outcomes.c.imprint)
        .join(holds, here & (holds.c.garment == outcomes.c.garment))
        .where(outcomes.c.run == run, outcomes.c.press != press)
    )
    held = sa.select(holds.c.piece, holds.c.press).where(holds.c.run == run)
    return News(
        now, new,
        frozenset(connection.execute(ended).scalars()),
        {row.piece: row.press for row in connection.execute(held)},
    )  # fmt: skip


class Following:
    """Follows the other presses of an order.

    Parameters
    ----------
    stops : sequence of Stop
        The order of work.
    press : str
        Id of the press that follows.
    """

    def __init__(self, stops: Sequence[Stop], press: str) -> None:
        self._stops, self._press = tuple(stops), press
        self._seen: dict[str, int] = {}
        self._others: dict[str, Progress] = {}
        self.holders: Mapping[str, str] = {}
        self.elsewhere = Elsewhere()

    def take(self, news: News) -> Elsewhere:
        """Take in what a look brought; return all that is known of the other presses."""
        self._seen = dict(news.counts)
        for press, events in news.events.items():
            known = self._others.setdefault(press, Progress(self._stops))
            for event in events:
                known.apply(event)
        self.holders = news.holders
        self.elsewhere = Elsewhere.of(
            [self._others[press].said() for press in sorted(self._others)], news.ended
        )
        return self.elsewhere

    @property
    def seen(self) -> Mapping[str, int]:
        """How far each press was followed."""
        return self._seen
