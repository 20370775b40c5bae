"""The board: which press works what, how far every order is, and what waits for what.

A few sums over the tables, asked for as often as somebody looks; no clock says anything here but
when a press was last heard of, for people.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import sqlalchemy as sa

from chalkbeam.presses.claims import ANY_PAD, Wish
from chalkbeam.presses.conflicts import Conflict, open_conflicts
from chalkbeam.presses.tables import (
    acts,
    claims,
    counted,
    holds,
    lots,
    needs,
    outcomes,
    pieces,
    presses,
    runs,
)
from chalkbeam.presses.whereabouts import COOLING, last_words
from chalkbeam.record.events import Kind

WHOLE = 5.0
"""Seconds after which `LiveBoard` looks at everything though nothing is said to be new."""


@dataclass(frozen=True)
class PressStanding:
    """A press on the board.

    Attributes
    ----------
    name, machine : str
    at_hand : tuple of str or None
        Platens and pads; None: whatever is wanted.
    order, imprint, step : str
        What it was at last: the order's title, the imprint, and the step or what became of it;
        empty where it has done nothing yet.
    in_hand : int
        Pieces that it holds and has not ended.
    last : str
        Date and time of its last act, by its own clock (ISO 8601); for people.
    """

    name: str
    machine: str
    at_hand: tuple[str, ...] | None
    order: str
    imprint: str
    step: str
    in_hand: int
    last: str


@dataclass(frozen=True)
class WaitsFor:
    """Pieces that wait for something.

    Attributes
    ----------
    what : str
        “platen sleeve” that no press has, “a press”, “its peel at left” (it cools), “a garment”,
        “a transfer”.
    pieces : tuple of str
    """

    what: str
    pieces: tuple[str, ...]


@dataclass(frozen=True)
class OrderStanding:
    """An order on the board.

    Attributes
    ----------
    run, title, begun : str
    imprints, pressed, skipped, spoiled : int
        Imprints in all, and how they ended on the garments that count.
    spoiled_garments : int
        Garments spoiled, those that a fresh one replaced too.
    by_press : tuple of (str, int)
        Imprints pressed at each press.
    held_by : tuple of (str, int)
        Pieces that each press has in hand and has not ended.
    waiting : tuple of WaitsFor
    """

    run: str
    title: str
    begun: str
    imprints: int
    pressed: int
    skipped: int
    spoiled: int
    spoiled_garments: int
    by_press: tuple[tuple[str, int], ...]
    held_by: tuple[tuple[str, int], ...]
    waiting: tuple[WaitsFor, ...]

    @property
    def finished(self) -> bool:
        """Whether nothing is left to do."""
        return self.pressed + self.skipped + self.spoiled >= self.imprints


@dataclass(frozen=True)
class Board:
    """All presses and all orders, the newest order first."""

    presses: tuple[PressStanding, ...]
    orders: tuple[OrderStanding, ...]
    conflicts: tuple[Conflict, ...]


def stamp(connection: sa.Connection) -> tuple[int, ...]:
    """Return what differs as soon as anything on the board does: a look that costs next to nothing.

    But for a press that comes with other platens: whoever looks all day looks whole now and then.
    """
    sums = (
        sa.select(sa.func.count()).select_from(presses),
        sa.select(sa.func.sum(presses.c.last)),
        sa.select(sa.func.count()).select_from(runs),
        sa.select(sa.func.sum(runs.c.changed)),
        sa.select(sa.func.count()).select_from(claims),
    )
    row = connection.execute(sa.select(*(each.scalar_subquery() for each in sums))).one()
    return tuple(int(each or 0) for each in row)


class LiveBoard:
    """Looks at the board again and again, whole only where something on it may be new."""

    def __init__(self) -> None:
        self._stamp: tuple[int, ...] = ()
        self._board: Board | None = None
        self._whole = 0.0

    def look(self, connection: sa.Connection) -> Board:
        """Return the board; the very same as before where nothing is new."""
        now, seen = time.monotonic(), stamp(connection)
        if self._board is None or seen != self._stamp or now - self._whole > WHOLE:
            self._board, self._stamp, self._whole = board(connection), seen, now
        return self._board


def board(connection: sa.Connection) -> Board:
    """Return how everything stands."""
    in_hand = _in_hand(connection)
    standing = _presses(connection, in_hand)
    at_hand = [each.at_hand for each in standing]
    known = frozenset(what for each in at_hand for what in each or ())
    takes_any = not standing or None in at_hand
    heads = connection.execute(
        sa.select(runs.c.id, runs.c.title, runs.c.begun, runs.c.imprints)
        .where(runs.c.replaced_by.is_(None))
        .order_by(runs.c.place.desc())
    ).all()
    orders = tuple(
        _order(
            connection,
            head.id,
            head.title,
            head.begun,
            head.imprints,
            known,
            takes_any,
            tuple((name, count) for (run, name), count in in_hand.items() if run == head.id),
        )
        for head in heads
    )
    return Board(standing, orders, open_conflicts(connection))


def _in_hand(connection: sa.Connection) -> dict[tuple[str, str], int]:
    """Return how many pieces a press, by its name, holds of an order and has not ended."""
    here = (outcomes.c.run == holds.c.run) & (outcomes.c.piece == holds.c.piece)
    ended = (
        sa.select(holds.c.run, holds.c.piece, sa.func.count().label("ended"))
        .join(outcomes, here & (outcomes.c.garment == holds.c.garment))
        .group_by(holds.c.run, holds.c.piece)
        .subquery()
    )
    rows = connection.execute(
        sa.select(holds.c.run, presses.c.name, pieces.c.imprints, ended.c.ended)
        .join(presses, presses.c.id == holds.c.press)
        .join(pieces, (pieces.c.run == holds.c.run) & (pieces.c.piece == holds.c.piece))
        .join(runs, runs.c.id == holds.c.run)
        .join(ended, (ended.c.run == holds.c.run) & (ended.c.piece == holds.c.piece), isouter=True)
        .where(runs.c.replaced_by.is_(None))
        .order_by(presses.c.name)
    )
    found: dict[tuple[str, str], int] = {}
    for run, name, imprints, count in rows:
        if (count or 0) < len(json.loads(imprints)):
            found[run, name] = found.get((run, name), 0) + 1
    return found


def _presses(
    connection: sa.Connection, in_hand: Mapping[tuple[str, str], int]
) -> tuple[PressStanding, ...]:
    found = []
    titles = {row.id: row.title for row in connection.execute(sa.select(runs.c.id, runs.c.title))}
    for press in connection.execute(sa.select(presses).order_by(presses.c.name)):
        last = connection.execute(
            sa.select(acts)
            .where(acts.c.press == press.id, acts.c.imprint != "")
            .order_by(acts.c.number.desc())
            .limit(1)
        ).first()
        body = json.loads(last.body) if last is not None else {}
        found.append(
            PressStanding(
                press.name, press.machine,
                None if press.at_hand is None else tuple(json.loads(press.at_hand)),
                "" if last is None else titles.get(last.run, ""),
                "" if last is None else last.imprint,
                "" if last is None else _doing(last.kind, body.get("step")),
                sum(count for (_, name), count in in_hand.items() if name == press.name),
                str(body.get("wall", "")),
            )
        )  # fmt: skip
    return tuple(found)


def _doing(kind: str, step: str | None) -> str:
    return str(step) if kind == Kind.STEPPED.value and step else kind


def _order(
    connection: sa.Connection,
    run: str,
    title: str,
    begun: str,
    imprints: int,
    known: frozenset[str],
    takes_any: bool,
    held_by: tuple[tuple[str, int], ...],
) -> OrderStanding:
    query = counted(sa.select(outcomes.c.outcome, presses.c.name, sa.func.count()))
    counts = connection.execute(
        query.join(presses, presses.c.id == outcomes.c.press)
        .where(outcomes.c.run == run)
        .group_by(outcomes.c.outcome, presses.c.name)
        .order_by(presses.c.name)
    ).all()
    sums = {name: sum(n for o, _, n in counts if o == name) for name in ("pressed", "skipped")}
    garments = connection.execute(
        sa.select(sa.func.count(sa.distinct(outcomes.c.act))).where(
            outcomes.c.run == run, outcomes.c.outcome == "spoiled"
        )
    ).scalar_one()
    return OrderStanding(
        run, title, begun, imprints, sums["pressed"], sums["skipped"],
        sum(n for outcome, _, n in counts if outcome == "spoiled"), int(garments),
        tuple((name, n) for outcome, name, n in counts if outcome == "pressed"), held_by,
        (
            *_unclaimed(connection, run, known, takes_any), *_cooling(connection, run),
            *_short(connection, run),
        ),
    )  # fmt: skip


def _unclaimed(
    connection: sa.Connection, run: str, known: frozenset[str], takes_any: bool
) -> tuple[WaitsFor, ...]:
    """Return what nobody has claimed: for want of a platen or a pad, or just not yet."""
    rows = connection.execute(
        sa.select(pieces.c.piece, needs.c.what)
        .join(lots, (lots.c.run == pieces.c.run) & (lots.c.lot == pieces.c.lot))
        .join(needs, (needs.c.run == lots.c.run) & (needs.c.lot == lots.c.lot), isouter=True)
        .where(pieces.c.run == run, lots.c.claim.is_(None))
        .order_by(pieces.c.lot, pieces.c.place, needs.c.what)
    )
    wanted: dict[str, list[str]] = {}
    for piece, what in rows:
        wanted.setdefault(piece, [])
        any_pad = ANY_PAD in known and str(what).startswith("pad ")
        if what is not None and not (takes_any or any_pad or what in known):
            wanted[piece].append(what)
    found: dict[str, list[str]] = {}
    for piece, lacking in wanted.items():
        found.setdefault(" and ".join(lacking) or "a press", []).append(piece)
    return tuple(WaitsFor(what, tuple(own)) for what, own in found.items())


def _cooling(connection: sa.Connection, run: str) -> tuple[WaitsFor, ...]:
    """Return what was pressed and put aside, by its press."""
    query = sa.select(presses.c.id, presses.c.name).order_by(presses.c.name)
    names = {row.id: row.name for row in connection.execute(query)}
    found: dict[str, list[str]] = {}
    for (press, piece), words in last_words(connection, run).items():
        if words == COOLING:
            found.setdefault(press, []).append(piece)
    return tuple(
        WaitsFor(f"its peel at {names[press]}", tuple(sorted(found[press])))
        for press in names
        if press in found
    )


def _short(connection: sa.Connection, run: str) -> tuple[WaitsFor, ...]:
    """Return what was left out for want of a garment or a transfer."""
    here = (holds.c.run == outcomes.c.run) & (holds.c.piece == outcomes.c.piece)
    rows = connection.execute(
        sa.select(outcomes.c.piece, acts.c.body)
        .join(holds, here & (holds.c.garment == outcomes.c.garment))
        .join(acts, acts.c.id == outcomes.c.act)
        .where(outcomes.c.run == run, outcomes.c.outcome != "pressed")
        .order_by(outcomes.c.piece)
    )
    found: dict[str, dict[str, None]] = {}
    for piece, body in rows:
        data = json.loads(body).get("data", {})
        said = str(data.get("missing") or data.get("reason", ""))
        for what in ("garment", "transfer"):
            if what in said:
                found.setdefault(f"a {what}", {})[piece] = None
    return tuple(WaitsFor(what, tuple(own)) for what, own in found.items())


def why_nothing(connection: sa.Connection, run: str, wish: Wish) -> str:
    """Return why a press gets nothing more of an order, in a sentence."""
    over = sa.select(runs.c.replaced_by).where(runs.c.id == run)
    if connection.execute(over).scalar():
        return (
            "The order was edited, and another one took its place: leave this run, and begin the "
            "edited sheet, or press the new run by its number."
        )
    at_hand = wish.at_hand or frozenset()
    left = [
        each
        for each in _unclaimed(connection, run, at_hand, wish.at_hand is None)
        if each.what != "a press"
    ]
    if left:
        said = "; ".join(f"{_count(each.pieces)} for {each.what}" for each in left)
        return f"Nothing more for this press: {said} wait elsewhere."
    open_elsewhere = connection.execute(
        sa.select(sa.func.count()).select_from(holds).where(holds.c.run == run)
    ).scalar_one()
    return "Everything is at a press by now." if open_elsewhere else ""


def _count(names: Iterable[str]) -> str:
    count = len(tuple(names))
    return "1 piece" if count == 1 else f"{count} pieces"
