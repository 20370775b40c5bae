"""Acts go up from a press's journal: in order, each once, and what came of them beside them.

An act is keyed by its press and the press's own number. What a press pressed is never turned
away: where it is at odds with what another press holds or has done, it is kept and told to a
person (`conflicts`), and counts for nothing until that person has said so.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.orders.pieces import piece_of
from chalkbeam.presses.tables import acts, conflicts, holds, outcomes, pieces, presses
from chalkbeam.record.events import Kind

ENDS = frozenset(each.value for each in (Kind.PRESSED, Kind.SKIPPED, Kind.SPOILED))
TAKES_BACK = frozenset((Kind.UNDONE.value, Kind.REDONE.value))
MOST = 200
"""Acts of one transaction."""
SAID_AT, CARRIED = "said at ", "carried "
"""What the `act` of an outcome begins with that no act in the queue says."""
TAKEN_BACK = "taken back by its own press"


@dataclass(frozen=True)
class PressAct:
    """One thing that happened at a press.

    Attributes
    ----------
    number : int
        The press's own count, from 1, without gaps.
    id, run, kind, imprint : str
        As of `chalkbeam.record.events.Event`; `run` is the order's.
    data : mapping
        As of the event.
    body : mapping
        The whole event, as the journal keeps it.
    """

    number: int
    id: str
    run: str
    kind: str
    imprint: str
    data: Mapping[str, Any]
    body: Mapping[str, Any]


def push(connection: sa.Connection, press: str, given: Sequence[PressAct]) -> int:
    """Take a press's acts in; return the number of the last one that is in.

    Those that are in already are passed over, so that a try whose answer was lost can be
    repeated.

    Raises
    ------
    Refusal
        If an act has the number of another one that is in already.
    ValueError
        If some are left out between.
    """
    last = connection.execute(
        sa.select(presses.c.last).where(presses.c.id == press).with_for_update()
    ).scalar_one()
    known = [act for act in given if act.number <= last]
    if known:
        rows = sa.select(acts.c.number, acts.c.id).where(
            acts.c.press == press, acts.c.number.in_([act.number for act in known])
        )
        there = {row.number: row.id for row in connection.execute(rows)}
        if any(there.get(act.number) != act.id for act in known):
            raise Refusal(
                "The queue knows other acts of this press than its own record: two copies of one "
                "record are in use, or an old copy was put back. Give this press a new name, and "
                "take its pieces over."
            )
    new = [act for act in given if act.number > last]
    if not new:
        return int(last)
    if [act.number for act in new] != list(range(last + 1, last + 1 + len(new))):
        raise ValueError(f"acts {new[0].number} … do not follow {last}")
    of_piece = _pieces(connection, new)
    connection.execute(
        sa.insert(acts),
        [
            {"press": press, "number": act.number, "id": act.id, "run": act.run, "kind": act.kind,
             "imprint": act.imprint, "piece": of_piece[act.id],
             "body": json.dumps(dict(act.body), allow_nan=False)}
            for act in new
        ],
    )  # fmt: skip
    touched = dict.fromkeys(
        (act.run, of_piece[act.id]) for act in new if act.kind in ENDS | TAKES_BACK
    )
    for run, piece in sorted(touched):
        if piece:
            ours = [act for act in new if (act.run, of_piece[act.id]) == (run, piece)]
            _take_in(connection, press, run, piece, ours)
    connection.execute(
        sa.update(presses)
        .where(presses.c.id == press, presses.c.last == last)
        .values(last=new[-1].number)
    )
    return new[-1].number


def _pieces(connection: sa.Connection, new: Sequence[PressAct]) -> dict[str, str]:
    """Return the piece that each act is about: one that takes another back, about that one's."""
    found: dict[str, str] = {}
    for act in new:
        if act.kind in TAKES_BACK:
            other = str(act.data.get("event", ""))
            if other not in found:
                row = sa.select(acts.c.piece).where(acts.c.id == other)
                found[other] = connection.execute(row).scalar() or ""
            found[act.id] = found[other]
        else:
            found[act.id] = piece_of(act.imprint)
    return found


def _take_in(
    connection: sa.Connection, press: str, run: str, piece: str, new: Iterable[PressAct]
) -> None:
    """Say anew how a piece's imprints ended, by all that its press did to it."""
    here = (holds.c.run == run) & (holds.c.piece == piece)
    held = connection.execute(sa.select(holds).where(here).with_for_update()).first()
    if held is None or held.press != press:
        _object(connection, press, run, piece, new)
        return
    imprints = connection.execute(
        sa.select(pieces.c.imprints).where(pieces.c.run == run, pieces.c.piece == piece)
    ).scalar_one()
    ended, garment = fold(_of_piece(connection, press, run, piece), held.base, json.loads(imprints))
    connection.execute(
        sa.delete(outcomes).where(
            outcomes.c.run == run, outcomes.c.piece == piece,
            (outcomes.c.press == press) | (outcomes.c.outcome == "skipped"),
            outcomes.c.garment >= held.base, ~_of_no_act(),
        )
    )  # fmt: skip
    connection.execute(sa.update(holds).where(here).values(garment=garment))
    for (imprint, number), (outcome, act) in ended.items():
        row = {
            "run": run, "imprint": imprint, "garment": number, "piece": piece,
            "outcome": outcome, "press": press, "act": act,
        }  # fmt: skip
        try:
            with connection.begin_nested():
                connection.execute(sa.insert(outcomes).values(row))
        except sa.exc.IntegrityError:  # another press's garment has it already
            if outcome != Kind.PRESSED.value or not _was_seen(connection, press, run, imprint, act):
                _tell(connection, press, run, piece, imprint, act, "pressed twice")


def _of_no_act() -> sa.ColumnElement[bool]:
    """Return what is true of an outcome that no act in the queue says.

    Somebody saw it at a take-over, or it came over from an earlier order.
    """
    return sa.or_(outcomes.c.act.startswith(SAID_AT), outcomes.c.act.startswith(CARRIED))


def _of_piece(
    connection: sa.Connection, press: str, run: str, piece: str
) -> list[tuple[str, str, str, Mapping[str, Any]]]:
    query = (
        sa.select(acts.c.id, acts.c.kind, acts.c.imprint, acts.c.body)
        .where(acts.c.run == run, acts.c.piece == piece, acts.c.press == press)
        .where(acts.c.kind.in_(sorted(ENDS | TAKES_BACK)))
        .order_by(acts.c.number)
    )
    return [
        (own, kind, imprint, json.loads(body).get("data", {}))
        for own, kind, imprint, body in connection.execute(query)
    ]


Ended = dict[tuple[str, int], tuple[str, str]]
"""By imprint and garment: the outcome, and the id of the act that it came by."""


def fold(
    done: Sequence[tuple[str, str, str, Mapping[str, Any]]], base: int, imprints: Sequence[str]
) -> tuple[Ended, int]:
    """Return how a piece's imprints ended, and which garment it is by now.

    Parameters
    ----------
    done : sequence of (id, kind, imprint, data)
        All that its press did to it, in the press's own order.
    base : int
        Which garment it was when the press got it.
    imprints : sequence of str
        The piece's.
    """
    undone: set[str] = set()
    for _, kind, _, data in done:
        if kind == Kind.UNDONE.value:
            undone.add(data["event"])
        elif kind == Kind.REDONE.value:
            undone.discard(data["event"])
    ended: Ended = {}
    garment = base
    for own, kind, imprint, data in done:
        if own in undone or kind in TAKES_BACK:
            continue
        if kind == Kind.SPOILED.value and data.get("replaced"):
            ended[imprint, garment] = ("spoiled", own)
            garment += 1
        elif kind == Kind.SPOILED.value:
            for each in imprints:
                ended[each, garment] = ("spoiled", own)
        else:
            ended[imprint, garment] = (kind, own)
    return ended, garment


def _object(
    connection: sa.Connection, press: str, run: str, piece: str, new: Iterable[PressAct]
) -> None:
    """Tell what a press did to a piece that it does not hold."""
    for act in new:
        if act.kind in TAKES_BACK:
            _object_to_taking_back(connection, press, run, piece, act)
        if act.kind not in ENDS - {Kind.SKIPPED.value}:
            continue
        if act.kind == Kind.PRESSED.value and _was_seen(
            connection, press, run, act.imprint, act.id
        ):
            continue
        _tell(connection, press, run, piece, act.imprint, act.id, act.kind)


def _was_seen(connection: sa.Connection, press: str, run: str, imprint: str, act: str) -> bool:
    """Whether whoever took the piece over saw what a press now tells itself; its act then counts.

    The piece may have come back to that press meanwhile.
    """
    seen = sa.update(outcomes).where(
        outcomes.c.run == run, outcomes.c.imprint == imprint, outcomes.c.press == press,
        outcomes.c.act.startswith(SAID_AT),
    )  # fmt: skip
    return bool(connection.execute(seen.values(act=act)).rowcount)


def _object_to_taking_back(
    connection: sa.Connection, press: str, run: str, piece: str, act: PressAct
) -> None:
    """Let a press take back what it said itself; tell it where that had counted already."""
    other = str(act.data["event"])
    before, after = (None, TAKEN_BACK) if act.kind == Kind.UNDONE.value else (TAKEN_BACK, None)
    told = sa.update(conflicts).where(
        conflicts.c.act == other, conflicts.c.settled.is_not_distinct_from(before)
    )
    if connection.execute(told.values(settled=after)).rowcount:
        return
    counted = sa.select(outcomes.c.imprint).where(outcomes.c.run == run, outcomes.c.act == other)
    imprint = connection.execute(counted).scalar()
    if imprint is not None:
        _tell(connection, press, run, piece, imprint, act.id, act.kind)


def _tell(
    connection: sa.Connection, press: str, run: str, piece: str, imprint: str, act: str, said: str
) -> None:
    if connection.execute(sa.select(conflicts.c.number).where(conflicts.c.act == act)).first():
        return
    highest = connection.execute(sa.select(sa.func.max(conflicts.c.number))).scalar()
    connection.execute(
        sa.insert(conflicts).values(
            number=(highest or 0) + 1, run=run, piece=piece, imprint=imprint, press=press,
            act=act, said=said,
        )
    )  # fmt: skip
