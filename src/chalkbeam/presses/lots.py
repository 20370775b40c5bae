"""Lots: pieces of one pile that want the same of a press, claimed as a whole to spare changes."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.settings import Setting

MOST = 48
"""Pieces of a lot: a larger pile makes several, so that other presses have something to do."""


@dataclass(frozen=True)
class LotPiece:
    """A piece of a lot: its id, and the ids of its imprints in the order of work."""

    id: str
    imprints: tuple[str, ...]


@dataclass(frozen=True)
class Lot:
    """What a press claims at once.

    Attributes
    ----------
    pile : str
        As `chalkbeam.orders.pieces.Piece.pile`.
    needs : frozenset of str
        Platens and pads that are wanted by name: “platen 16x20in”.
    setting : str
        What the press is set to for its first imprint; empty where the sheet says nothing.
    pieces : tuple of LotPiece
        In the order of work.
    """

    pile: str
    needs: frozenset[str]
    setting: str
    pieces: tuple[LotPiece, ...]


def needs_of(stop: Stop) -> frozenset[str]:
    """Return the platen and the pad that a stop wants by name; what is on serves where none is."""
    named = (
        stop.fit.platen and f"platen {stop.fit.platen}",
        stop.fit.pad and f"pad {stop.fit.pad}",
    )
    return frozenset(each for each in named if each)


def setting_of(stop: Stop) -> str:
    """Return what a stop wants the press set to, in words; empty where nothing."""
    setting = Setting.of(stop.imprint.press)
    return "" if setting is None else setting.words()


def lots_of(stops: Sequence[Stop], most: int = MOST) -> tuple[Lot, ...]:
    """Return the lots of an order of work, in its order.

    Whole pieces: one that wants two platens goes to a press that has both.

    Parameters
    ----------
    stops : sequence of Stop
        The order of work.
    most : int
        Pieces of a lot at most.
    """
    of_piece: dict[str, list[Stop]] = {}
    for stop in stops:
        of_piece.setdefault(stop.piece.id, []).append(stop)
    alike: dict[tuple[str, frozenset[str], str], list[LotPiece]] = {}
    for piece, own in of_piece.items():
        needs = frozenset().union(*map(needs_of, own))
        key = (own[0].piece.pile, needs, setting_of(own[0]))
        imprints = tuple(stop.imprint.id for stop in own)
        alike.setdefault(key, []).append(LotPiece(piece, imprints))
    return tuple(
        Lot(pile, needs, setting, tuple(pieces[first : first + most]))
        for (pile, needs, setting), pieces in alike.items()
        for first in range(0, len(pieces), most)
    )


def set_apart(parts: Sequence[Lot], ended: Collection[str]) -> tuple[tuple[Lot, ...], Lot | None]:
    """Return lots without the pieces that are done already, and those as a lot of their own.

    Parameters
    ----------
    parts : sequence of Lot
    ended : collection of str
        Imprints that are done.
    """
    done = [piece for lot in parts for piece in lot.pieces if set(piece.imprints) <= set(ended)]
    left = [
        replace(lot, pieces=tuple(piece for piece in lot.pieces if piece not in done))
        for lot in parts
    ]
    apart = Lot("", frozenset(), "", tuple(done)) if done else None
    return tuple(lot for lot in left if lot.pieces), apart
