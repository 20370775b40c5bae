"""An order as its customer agrees to it: each print once, with its measures on every size."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal
from chalkbeam.artwork import Box
from chalkbeam.basics.units import Unit
from chalkbeam.garments import Fit, sizes
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.orders.pieces import ArtKind, Imprint, Piece
from chalkbeam.orders.place_imprint import place_imprint
from chalkbeam.paper.proof.picture import ink_picture, letter_picture
from chalkbeam.paper.proof.values import Proof
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import centre_line
from chalkbeam.placement.many import Placer

PLAIN_CLOTH = (236, 238, 240)
"""Cloth where nobody knows the colour: any art shows on it."""
INK_ON_PALE, INK_ON_DARK = (28, 36, 44), (245, 245, 242)


@dataclass(frozen=True)
class SizeRow:
    """One print on one size.

    Attributes
    ----------
    size : str
    pieces : int
    width, height : float
        Of the ink, mm; for names and numbers the largest of the size.
    top : float
        Of the ink (the highest) below the collar's seam (or what the face counts from), mm.
    aside : float
        Of the ink's middle from the centre line, mm, to the right as one looks at it.
    """

    size: str
    pieces: int
    width: float
    height: float
    top: float
    aside: float


@dataclass(frozen=True, eq=False)
class ProofEntry:
    """One print of an order at one location, on all sizes of one garment in one colour.

    Attributes
    ----------
    proof : Proof
        The size that is drawn: the one with most pieces.
    kind : ArtKind
    rows : tuple of SizeRow
        From the smallest size.
    """

    proof: Proof
    kind: ArtKind
    rows: tuple[SizeRow, ...]

    @property
    def pieces(self) -> int:
        """How many prints it stands for."""
        return sum(row.pieces for row in self.rows)


@dataclass(frozen=True)
class Wearer:
    """A piece with a name or a number of its own, to be read over letter by letter."""

    piece: str
    garment: str
    size: str
    name: str
    number: str


def entries_of(pieces: Sequence[Piece], unit: Unit) -> tuple[ProofEntry, ...]:
    """Return an order's prints, in the order in which the sheet first names them.

    Raises
    ------
    Refusal
        If a print cannot be placed.
    """
    groups: dict[tuple[object, ...], list[tuple[Piece, Imprint]]] = {}
    for piece in pieces:
        for imprint in piece.imprints:
            art = imprint.art
            what = art if art.kind is ArtKind.FILE else (art.kind, imprint.face, imprint.arc)
            garment = (piece.style, piece.fit, piece.colour)
            key = (imprint.location, what, imprint.turn, garment)
            groups.setdefault(key, []).append((piece, imprint))
    placer = Placer()
    return tuple(_entry(members, placer, unit) for members in groups.values())


def wearers(pieces: Iterable[Piece]) -> tuple[Wearer, ...]:
    """Return whose name or number is on which piece."""
    return tuple(
        Wearer(piece.id, piece.style.replace("_", " "), piece.size, piece.name, piece.number)
        for piece in pieces
        if piece.name or piece.number
    )


def _entry(members: list[tuple[Piece, Imprint]], placer: Placer, unit: Unit) -> ProofEntry:
    first, imprint = members[0]
    rows: dict[tuple[object, ...], list[Placement]] = {}
    for piece, each in members:
        placement = place_imprint(placer, piece, each, lambda of: of.location)
        ink = placement.artwork.ink
        drawn = each.art.kind is ArtKind.FILE  # lettering differs from piece to piece
        measures = (round(ink.width, 1), round(ink.height, 1)) if drawn else (0.0, 0.0)
        rows.setdefault((piece.size, *measures), []).append(placement)
    listed = list(sizes(first.style, fit=cast(Fit, first.fit or "regular")))
    ordered = sorted(rows.items(), key=lambda row: (_rank(str(row[0][0]), listed), row[0][1:]))
    shown = max(rows.values(), key=len)[0]
    cloth, fabric = _cloth(first.colour)
    picture = _picture(shown, imprint, cloth)
    return ProofEntry(
        Proof(shown, picture, cloth, fabric, unit),
        imprint.art.kind,
        tuple(_row(str(size), placements) for (size, *_), placements in ordered),
    )


def _rank(size: str, listed: list[str]) -> int:
    return listed.index(size) if size in listed else len(listed)


def _row(size: str, placements: list[Placement]) -> SizeRow:
    widest = max(placements, key=lambda each: each.artwork.ink.width)
    tallest = max(each.artwork.ink.height for each in placements)
    top = min(float(Box.around(each.hull()).top) for each in placements)
    aside = float(widest.centre[0] - centre_line(widest))
    return SizeRow(size, len(placements), widest.artwork.ink.width, tallest, top, aside)


def _cloth(colour: str) -> tuple[tuple[int, int, int], str]:
    try:
        return (find_fabric(colour).colour, colour) if colour else (PLAIN_CLOTH, "")
    except Refusal:  # a colour that nobody knows is drawn pale and named all the same
        return PLAIN_CLOTH, colour


def _picture(
    placement: Placement, imprint: Imprint, cloth: tuple[int, int, int]
) -> NDArray[np.uint8]:
    art = imprint.art
    if art.path is None:
        return letter_picture(placement.artwork, INK_ON_DARK if sum(cloth) < 330 else INK_ON_PALE)
    return ink_picture(
        art.path, page=art.cut.page, mirrored=art.cut.mirrored, pick=art.cut.pick,
        sheet_width=art.cut.width,
    )  # fmt: skip
