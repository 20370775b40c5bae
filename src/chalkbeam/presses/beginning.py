"""An order as it comes into the queue: new, or in the place of an earlier one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.orders.pieces import piece_of
from chalkbeam.presses.acts import CARRIED
from chalkbeam.presses.claims import some_of
from chalkbeam.presses.lots import Lot, set_apart
from chalkbeam.presses.tables import claims, holds, lots, needs, outcomes, pieces, presses, runs
from chalkbeam.record.events import Kind, NewEvent


@dataclass(frozen=True)
class Start:
    """What an order begins with.

    Attributes
    ----------
    acts : tuple of NewEvent
        What was done already (`Kind.CARRIED`) and where it lay last time (`Kind.BROUGHT`): every
        press's own record of the order begins with them.
    replaces : str
        The order that it takes the place of; empty for none.
    """

    acts: tuple[NewEvent, ...] = ()
    replaces: str = ""


def add_run(
    connection: sa.Connection,
    heading: Mapping[str, Any],
    parts: tuple[Lot, ...],
    press: str = "",
    start: Start = Start(),
) -> str:
    """Put an order into the queue and return its id: that of the one there, if its key is.

    Parameters
    ----------
    heading : mapping
        The columns of `runs` but `place`, `imprints`, `changed`, `started` and `replaced_by`.
    parts : tuple of Lot
    press : str, optional
        Id of the press that begins it; wanted where pieces are done already.
    start : Start, optional

    Raises
    ------
    Refusal
        If another press has begun pieces of the order that this one takes the place of.
    """
    there = connection.execute(sa.select(runs.c.id).where(runs.c.key == heading["key"])).scalar()
    if there is not None:
        return str(there)
    run = str(heading["id"])
    if start.replaces:
        _close(connection, press, start.replaces, run)
    place = connection.execute(sa.select(sa.func.coalesce(sa.func.max(runs.c.place), 0))).scalar()
    imprints = sum(len(piece.imprints) for lot in parts for piece in lot.pieces)
    connection.execute(
        sa.insert(runs).values(
            place=int(place or 0) + 1, imprints=imprints, changed=0,
            started=json.dumps([said_of(act) for act in start.acts]), **heading,
        )
    )  # fmt: skip
    carried = {act.imprint: act for act in start.acts if act.kind is Kind.CARRIED}
    parts, done = set_apart(parts, carried.keys())
    for number, lot in enumerate(parts):
        _add_lot(connection, run, number, lot)
    if done is not None:
        _add_lot(connection, run, len(parts), done)
        _hold(connection, run, len(parts), done, press)
    if carried:
        connection.execute(sa.insert(outcomes), _outcomes(connection, run, press, carried))
    return run


def said_of(act: NewEvent) -> dict[str, Any]:
    """Return what an order begins with, as plain values."""
    return {"kind": act.kind.value, "imprint": act.imprint, "data": dict(act.data)}


def started(text: str) -> tuple[NewEvent, ...]:
    """Return what an order begins with, as the queue keeps it."""
    return tuple(
        NewEvent(Kind(each["kind"]), each["imprint"], None, each["data"])
        for each in json.loads(text)
    )


def _add_lot(connection: sa.Connection, run: str, number: int, lot: Lot) -> None:
    connection.execute(
        sa.insert(lots).values(
            run=run, lot=number, pile=lot.pile, setting=lot.setting, pieces=len(lot.pieces)
        )
    )
    if lot.needs:
        rows = [{"run": run, "lot": number, "what": what} for what in sorted(lot.needs)]
        connection.execute(sa.insert(needs), rows)
    connection.execute(
        sa.insert(pieces),
        [
            {"run": run, "piece": piece.id, "lot": number, "place": place,
             "imprints": json.dumps(piece.imprints)}
            for place, piece in enumerate(lot.pieces)
        ],
    )  # fmt: skip


def _hold(connection: sa.Connection, run: str, number: int, lot: Lot, press: str) -> None:
    """Let nobody claim what is done: the press that begins the order has it."""
    own = f"done before {run}"
    row = {"id": own, "run": run, "press": press, "lot": number, "wall": ""}
    connection.execute(sa.insert(claims).values(row))
    connection.execute(
        sa.update(lots).where(lots.c.run == run, lots.c.lot == number).values(claim=own)
    )
    rows = [
        {"run": run, "piece": piece.id, "press": press, "claim": own, "base": 0, "garment": 0}
        for piece in lot.pieces
    ]
    connection.execute(sa.insert(holds), rows)


def _outcomes(
    connection: sa.Connection, run: str, press: str, carried: Mapping[str, NewEvent]
) -> list[dict[str, Any]]:
    """Return how imprints ended in an earlier order, at the presses where they did."""
    earlier = {str(act.data["run"]) for act in carried.values()}
    query = sa.select(outcomes.c.run, outcomes.c.imprint, outcomes.c.press).where(
        outcomes.c.run.in_(sorted(earlier))
    )
    where = {(row.run, row.imprint): row.press for row in connection.execute(query)}
    return [
        {"run": run, "imprint": imprint, "garment": 0, "piece": piece_of(imprint),
         "outcome": act.data["outcome"],
         "press": where.get((act.data["run"], act.data["as"]), press),
         "act": f"{CARRIED}{run} {imprint}"}
        for imprint, act in carried.items()
    ]  # fmt: skip


def _close(connection: sa.Connection, press: str, earlier: str, run: str) -> None:
    """Let another order take the place of an earlier one: nothing more of that is claimed.

    Raises
    ------
    Refusal
        If another press has pieces of it in hand: it may have begun them.
    """
    own = f"closed for {run}"
    row = {"id": own, "run": earlier, "press": press, "lot": -1, "wall": ""}
    connection.execute(sa.insert(claims).values(row))
    # Waits for presses that are just claiming: what they get is seen below.
    connection.execute(
        sa.update(lots).where(lots.c.run == earlier, lots.c.claim.is_(None)).values(claim=own)
    )
    in_hand = _in_hand(connection, earlier, press)
    if in_hand:
        said = "; ".join(f"{name} has {some_of(found)}" for name, found in in_hand.items())
        raise Refusal(
            f"Other presses work on this order as it was: {said}. Let them finish those pieces, or "
            "look at the garments and take them over; then take the changes in. Where one press "
            "alone has pieces in hand, take them in there."
        )
    connection.execute(
        sa.update(runs)
        .where(runs.c.id == earlier)
        .values(replaced_by=run, changed=runs.c.changed + 1)
    )


def _in_hand(connection: sa.Connection, run: str, but: str) -> dict[str, list[str]]:
    """Return the pieces that presses hold and have not ended, by the press's name."""
    ended = (
        (outcomes.c.run == holds.c.run)
        & (outcomes.c.piece == holds.c.piece)
        & (outcomes.c.garment == holds.c.garment)
    )
    query = (
        sa.select(presses.c.name, pieces.c.piece, pieces.c.imprints, sa.func.count(outcomes.c.act))
        .select_from(holds)
        .join(presses, presses.c.id == holds.c.press)
        .join(pieces, (pieces.c.run == holds.c.run) & (pieces.c.piece == holds.c.piece))
        .join(outcomes, ended, isouter=True)
        .where(holds.c.run == run, holds.c.press != but)
        .group_by(presses.c.name, pieces.c.piece, pieces.c.imprints)
        .order_by(presses.c.name, pieces.c.piece)
    )
    found: dict[str, list[str]] = {}
    for name, piece, imprints, count in connection.execute(query):
        if count < len(json.loads(imprints)):
            found.setdefault(name, []).append(piece)
    return found
