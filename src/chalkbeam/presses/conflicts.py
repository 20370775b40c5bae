"""Where two presses say different things of one piece: shown to a person, who settles it."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.presses.claims import changed
from chalkbeam.presses.tables import conflicts, holds, outcomes, presses
from chalkbeam.record.events import Kind


@dataclass(frozen=True)
class Conflict:
    """What one press did to a piece that another one holds, or had done already.

    Attributes
    ----------
    number : int
    run, piece, imprint : str
    press, holder : str
        Names of the press that did it and of the one that holds the piece.
    done : str
        What it did, as `chalkbeam.record.events.Kind`, or “pressed twice”.
    """

    number: int
    run: str
    piece: str
    imprint: str
    press: str
    holder: str
    done: str

    def __str__(self) -> str:
        return (
            f"piece {self.piece} ({self.imprint}): {self.press} says “{self.done}”, and it is "
            f"{self.holder}'s: look at the garment, then say whether that counts"
        )


def open_conflicts(connection: sa.Connection, run: str = "") -> tuple[Conflict, ...]:
    """Return what nobody has settled, of one order or of all."""
    doer, keeper = presses.alias(), presses.alias()
    here = (holds.c.run == conflicts.c.run) & (holds.c.piece == conflicts.c.piece)
    query = (
        sa.select(
            conflicts.c.number, conflicts.c.run, conflicts.c.piece, conflicts.c.imprint,
            doer.c.name, sa.func.coalesce(keeper.c.name, "nobody"), conflicts.c.said,
        )
        .select_from(conflicts)
        .join(doer, doer.c.id == conflicts.c.press)
        .join(holds, here, isouter=True)
        .join(keeper, keeper.c.id == holds.c.press, isouter=True)
        .where(conflicts.c.settled.is_(None))
        .order_by(conflicts.c.number)
    )  # fmt: skip
    if run:
        query = query.where(conflicts.c.run == run)
    return tuple(Conflict(*row) for row in connection.execute(query))


def settle(connection: sa.Connection, number: int, counts: bool) -> None:
    """Settle a conflict as a person says.

    Where it counts, the imprint is done and its holder need not press it; where it does not, the
    garment is waste, and what the holder does is what counts.

    Raises
    ------
    Refusal
        If there is no such open conflict.
    """
    found = connection.execute(
        sa.update(conflicts)
        .where(conflicts.c.number == number, conflicts.c.settled.is_(None))
        .values(settled="counts" if counts else "does not count")
        .returning(conflicts)
    ).first()
    if found is None:
        raise Refusal(f"There is nothing open under number {number}: list what is open.")
    changed(connection, found.run)
    garment = connection.execute(
        sa.select(holds.c.garment).where(holds.c.run == found.run, holds.c.piece == found.piece)
    ).scalar()
    own = sa.and_(
        outcomes.c.run == found.run, outcomes.c.imprint == found.imprint,
        outcomes.c.garment == (garment or 0),
    )  # fmt: skip
    if not counts:
        return
    if found.said == Kind.UNDONE.value:
        connection.execute(sa.delete(outcomes).where(own, outcomes.c.press == found.press))
        return
    if connection.execute(sa.select(outcomes.c.act).where(own)).first() is None:
        connection.execute(
            sa.insert(outcomes).values(
                run=found.run, imprint=found.imprint, garment=garment or 0, piece=found.piece,
                outcome="spoiled" if found.said == Kind.SPOILED.value else "pressed",
                press=found.press, act=found.act,
            )
        )  # fmt: skip
