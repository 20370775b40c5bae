"""Claims: which press works which pieces.

A claim's id is made before the first try, so that it can be asked for again after a crash or a
broken connection: the same id gives the same pieces. A claim never ends by time, since the
garment may lie on the platen; taking it over is a person's act.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.presses.acts import SAID_AT
from chalkbeam.presses.tables import claims, holds, lots, needs, outcomes, pieces, presses, runs
from chalkbeam.presses.whereabouts import last_words


@dataclass(frozen=True)
class Claim:
    """Pieces that a press has claimed.

    Attributes
    ----------
    id, run : str
    pieces : tuple of str
        Those that it still holds, in the order of work.
    """

    id: str
    run: str
    pieces: tuple[str, ...]


ANY_PAD = "any pad"
"""At hand where nobody has said which pads there are: whatever pad is wanted."""


@dataclass(frozen=True)
class Wish:
    """What a press would like to claim.

    Attributes
    ----------
    at_hand : frozenset of str or None
        The platens and pads it has, as `Lot.needs`, or `ANY_PAD`; None: whatever is wanted.
    setting, pile : str
        What it is set to and which pile it is at: lots alike come first.
    chosen : str
        A pile or a piece that the operator chose: that lot or none; empty for the program's choice.
    """

    at_hand: frozenset[str] | None = None
    setting: str = ""
    pile: str = ""
    chosen: str = ""


def enter(connection: sa.Connection, press: str, name: str, machine: str, wish: Wish) -> int:
    """Put a press on the list, or find it there; return the number of its last act there.

    Raises
    ------
    Refusal
        If another machine's press has the name.
    """
    found = connection.execute(sa.select(presses).where(presses.c.name == name)).first()
    if found is not None and found.id != press:
        raise Refusal(
            f"There is a press “{name}” already, on {found.machine}: give this one another name; "
            "or, if it is this very press, write the queue's address as it was before."
        )
    said: dict[str, Any] = {
        "name": name,
        "machine": machine,
        "at_hand": None if wish.at_hand is None else json.dumps(sorted(wish.at_hand)),
    }
    known = connection.execute(
        sa.update(presses).where(presses.c.id == press).values(said).returning(presses.c.last)
    ).scalar()
    if known is not None:
        return int(known)
    connection.execute(sa.insert(presses).values(id=press, last=0, doing="", told="", **said))
    return 0


@dataclass(frozen=True)
class _Claiming:
    """The statements that claim a lot, made once: to build them costs more than to send them.

    Attributes
    ----------
    made, marked, held : sa.Executable
        Find a free lot and make the claim of it; let the lot have it; let the press hold its
        pieces.
    """

    made: sa.Executable
    marked: sa.Executable
    held: sa.Executable


@cache
def _claiming(takes_any: bool, any_pad: bool, chosen: bool) -> _Claiming:
    """Return how a lot is claimed by a press that takes what is asked of it, or not.

    Lots that others are just claiming are passed over (``FOR UPDATE SKIP LOCKED``); SQLite has
    one writer at a time and leaves that clause out.
    """
    claim_id, run, press = (sa.bindparam(name, type_=sa.Text) for name in ("own", "order", "by"))
    wall, lot = sa.bindparam("at", type_=sa.Text), sa.bindparam("of", type_=sa.BigInteger)
    known = sa.select(claims.c.run).where(claims.c.id == claim_id)
    free = sa.select(claim_id, lots.c.run, press, lots.c.lot, wall).where(
        lots.c.run == run, lots.c.claim.is_(None), ~known.exists()
    )
    if not takes_any:
        lacks = sa.select(needs.c.what).where(
            needs.c.run == lots.c.run, needs.c.lot == lots.c.lot,
            needs.c.what.not_in(sa.bindparam("here", expanding=True)),
        )  # fmt: skip
        if any_pad:
            lacks = lacks.where(needs.c.what.not_like("pad %"))
        free = free.where(~lacks.exists())
    if chosen:
        wanted = sa.bindparam("chosen", type_=sa.Text)
        own = sa.select(pieces.c.lot).where(pieces.c.run == run, pieces.c.piece == wanted)
        free = free.where((lots.c.pile == wanted) | lots.c.lot.in_(own))
    alike = lots.c.setting.in_(("", sa.bindparam("set_to", type_=sa.Text)))
    here = lots.c.pile == sa.bindparam("last_of", type_=sa.Text)
    free = free.order_by(sa.case((alike, 0), else_=1), sa.case((here, 0), else_=1), lots.c.lot)
    free = free.limit(1).with_for_update(skip_locked=True, of=lots)
    # Every statement is a way to the server and back: the claim is made as its lot is found.
    made = sa.insert(claims).from_select(["id", "run", "press", "lot", "wall"], free)
    held = (
        sa.select(pieces.c.run, pieces.c.piece, press, claim_id, sa.literal(0), sa.literal(0))
        .where(pieces.c.run == run, pieces.c.lot == lot)
        .order_by(pieces.c.place)
    )
    names = ["run", "piece", "press", "claim", "base", "garment"]
    return _Claiming(
        made.returning(claims.c.lot),
        sa.update(lots).where(lots.c.run == run, lots.c.lot == lot).values(claim=claim_id),
        sa.insert(holds).from_select(names, held).returning(holds.c.piece),
    )


def claim(
    connection: sa.Connection, press: str, claim_id: str, run: str, wish: Wish, wall: str = ""
) -> Claim | None:
    """Claim a lot of an order for a press; None if none is left that it can take."""
    at_hand = wish.at_hand
    how = _claiming(at_hand is None, at_hand is not None and ANY_PAD in at_hand, bool(wish.chosen))
    said = {
        "own": claim_id, "order": run, "by": press, "at": wall, "set_to": wish.setting,
        "last_of": wish.pile, "chosen": wish.chosen, "here": sorted(at_hand or ()),
    }  # fmt: skip
    # No parameter has a column's name, which would be a value for it.
    lot = connection.execute(how.made, said).scalar()
    if lot is None:
        known = sa.select(claims.c.run).where(claims.c.id == claim_id)
        of_run = connection.execute(known).scalar()
        return None if of_run is None else _held(connection, claim_id, of_run)
    found = {"own": claim_id, "order": run, "by": press, "of": lot}
    connection.execute(how.marked, found)
    return Claim(claim_id, run, tuple(connection.execute(how.held, found).scalars()))


def _held(connection: sa.Connection, claim_id: str, run: str) -> Claim:
    query = (
        sa.select(holds.c.piece)
        .join(pieces, (pieces.c.run == holds.c.run) & (pieces.c.piece == holds.c.piece))
        .where(holds.c.run == run, holds.c.claim == claim_id)
        .order_by(pieces.c.lot, pieces.c.place)
    )
    return Claim(claim_id, run, tuple(connection.execute(query).scalars()))


def own_claims(connection: sa.Connection, press: str, run: str) -> tuple[Claim, ...]:
    """Return what a press holds of an order: what it takes up again after a crash."""
    query = sa.select(holds.c.claim).where(holds.c.run == run, holds.c.press == press).distinct()
    ids = sorted(connection.execute(query).scalars())
    return tuple(_held(connection, each, run) for each in ids)


def give_back(connection: sa.Connection, press: str, claim_id: str) -> bool:
    """Give a claim back of which nothing was begun; False if it is not whole any more.

    Whether something was begun, the press's own record knows: it gives back nothing that it has.
    """
    known = connection.execute(
        sa.select(claims).where(claims.c.id == claim_id, claims.c.press == press)
    ).first()
    if known is None:
        return False
    held = sa.delete(holds).where(holds.c.claim == claim_id, holds.c.press == press)
    whole = connection.execute(
        sa.select(lots.c.pieces).where(lots.c.claim == claim_id).with_for_update()
    ).scalar()
    begun = connection.execute(
        sa.select(sa.func.count())
        .select_from(outcomes)
        .join(holds, (holds.c.run == outcomes.c.run) & (holds.c.piece == outcomes.c.piece))
        .where(holds.c.claim == claim_id)
    ).scalar()
    count = connection.execute(
        sa.select(sa.func.count()).select_from(holds).where(holds.c.claim == claim_id)
    ).scalar()
    if whole is None or begun or count != whole:
        return False
    connection.execute(held)
    connection.execute(sa.update(lots).where(lots.c.claim == claim_id).values(claim=None))
    changed(connection, known.run)
    return True


def changed(connection: sa.Connection, run: str) -> None:
    """Let the presses that follow an order see that a person has decided something."""
    connection.execute(sa.update(runs).where(runs.c.id == run).values(changed=runs.c.changed + 1))


@dataclass(frozen=True)
class Doubt:
    """A piece that another press holds and has not told the end of.

    Attributes
    ----------
    piece : str
    imprints : tuple of str
        Those that are not known to have ended, in the order of work.
    last : str
        What its press has told of it last, as `last_words`; empty where nothing.
    """

    piece: str
    imprints: tuple[str, ...]
    last: str = ""


def in_doubt(connection: sa.Connection, press: str, run: str) -> tuple[Doubt, ...]:
    """Return what a press holds and has not told the end of, for a person to look at."""
    ended = (
        (outcomes.c.run == holds.c.run)
        & (outcomes.c.piece == holds.c.piece)
        & (outcomes.c.garment == holds.c.garment)
    )
    query = (
        sa.select(pieces.c.piece, pieces.c.imprints, outcomes.c.imprint)
        .select_from(holds)
        .join(pieces, (pieces.c.run == holds.c.run) & (pieces.c.piece == holds.c.piece))
        .join(outcomes, ended, isouter=True)
        .where(holds.c.run == run, holds.c.press == press)
        .order_by(pieces.c.lot, pieces.c.place)
    )
    left: dict[str, list[str]] = {}
    for piece, imprints, done in connection.execute(query):
        own = left.setdefault(piece, list(json.loads(imprints)))
        if done in own:
            own.remove(done)
    last = last_words(connection, run)
    return tuple(
        Doubt(piece, tuple(own), last.get((press, piece), "")) for piece, own in left.items() if own
    )


def take_over(
    connection: sa.Connection,
    press: str,
    claim_id: str,
    run: str,
    from_press: str,
    said: Mapping[str, bool],
    wall: str = "",
) -> Claim:
    """Take pieces over from another press: a person's act.

    Parameters
    ----------
    said : mapping of imprint id to bool
        Whether each imprint in doubt (`in_doubt`) was pressed, as a person saw on the garment.

    Raises
    ------
    Refusal
        If something is in doubt that nobody has said anything of.
    """
    known = connection.execute(sa.select(claims).where(claims.c.id == claim_id)).first()
    if known is not None:
        return _held(connection, claim_id, run)
    # The other press's acts wait meanwhile: what is in doubt stays so until this is through.
    connection.execute(
        sa.select(presses.c.id)
        .where(presses.c.id.in_((press, from_press)))
        .order_by(presses.c.id)
        .with_for_update()
    ).all()
    doubts = in_doubt(connection, from_press, run)
    unsaid = [each.piece for each in doubts if not set(each.imprints) <= set(said)]
    if unsaid:
        raise Refusal(
            f"Nobody has said whether {some_of(unsaid)} was pressed: look at the garments, and say "
            "it of each."
        )
    if not doubts:
        raise Refusal("That press holds nothing of this order that is still to be done.")
    connection.execute(
        sa.insert(claims).values(
            id=claim_id, run=run, press=press, lot=-1, from_press=from_press, wall=wall
        )
    )
    for each in doubts:
        held = (holds.c.run == run) & (holds.c.piece == each.piece)
        garment = connection.execute(
            sa.update(holds)
            .where(held, holds.c.press == from_press)
            .values(press=press, claim=claim_id, base=holds.c.garment)
            .returning(holds.c.garment)
        ).scalar_one()
        rows = [
            {"run": run, "imprint": imprint, "garment": garment, "piece": each.piece,
             "outcome": "pressed", "press": from_press, "act": f"{SAID_AT}{claim_id}"}
            for imprint in each.imprints
            if said[imprint]
        ]  # fmt: skip
        if rows:
            connection.execute(sa.insert(outcomes), rows)
    changed(connection, run)
    return _held(connection, claim_id, run)


def some_of(names: Collection[str]) -> str:
    """Return the first of some names, and how many more there are."""
    first = list(names)[:6]
    more = len(names) - len(first)
    return ", ".join(first) + (f" and {more} more" if more else "")
