"""An order looked over: every imprint placed, and a picture of each that differs.

`look_over` and what makes files is meant for a process of its own (`web.worker`), for the artwork
was brought by others and placing takes seconds; its answers are plain values.
"""

from __future__ import annotations

import functools
import hashlib
import io
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.platens import on_post
from chalkbeam.artwork import Box
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.orders.pieces import Art, Imprint, Piece
from chalkbeam.orders.place_imprint import Lay, place_imprint
from chalkbeam.orders.precheck import Cautions, caution_lines, cautions_by_piece, on_file
from chalkbeam.orders.problems import Problem, SheetRefusal
from chalkbeam.orders.sheet import RunSheet, read_sheet
from chalkbeam.paper.proof import Proof, ink_picture, letter_picture, proof_pdf
from chalkbeam.paper.proof.sheet import worn_of
from chalkbeam.paper.worn import View, look
from chalkbeam.placement import Placement, Severity
from chalkbeam.placement.loading import centre_line, origin_words
from chalkbeam.placement.many import Placer
from chalkbeam.station.precheck_on_rigs import first_rigs
from chalkbeam.station.ready_imprint import ImprintPreparer
from chalkbeam.web.face_drawing import FaceDrawing, drawing_of, is_dark
from chalkbeam.web.shop_unit import shop_unit
from chalkbeam.web.words import t
from overlay.palette import RGB

WHITE: RGB = (236, 238, 240)
"""Cloth where no fabric is named: any art shows on it."""

INK_ON_PALE, INK_ON_DARK = (28, 36, 44), (245, 245, 242)

MOST_LOOKS = 60
"""More pictures than this are not drawn at once."""

WORN = 620
"""Height of a picture of the garment as worn, px."""


@dataclass(frozen=True)
class ArtLook:
    """Imprints that differ in nothing that is seen, but for the size of the garment.

    Attributes
    ----------
    key : str
        Names it in addresses.
    title : str
        Location and artwork.
    garment, fabric : str
        The first piece's, in words.
    colour : str
        Of the cloth, #rrggbb.
    dark : bool
        Whether lines on that cloth are drawn pale.
    pieces : int
        How many pieces are like it.
    sizes : tuple of str
    row : int
        Of the sheet, of the first piece.
    drawing : FaceDrawing
    art : str
        Names the artwork's picture.
    x, y, turn, width, height : float
        Where the middle of the ink lies on the face, mm; its turn, degrees as SVG counts; its
        size, mm.
    below, beside : str
        Distances of the ink's top from the seam and of its centre from the centre line, in words;
        the second empty where it lies on it.
    size_words : str
        Of the ink.
    concerns : tuple of (str, str)
        "note" or "caution", and a sentence as the press says it.
    """

    key: str
    title: str
    garment: str
    fabric: str
    colour: str
    dark: bool
    pieces: int
    sizes: tuple[str, ...]
    row: int
    drawing: FaceDrawing
    art: str
    x: float
    y: float
    turn: float
    width: float
    height: float
    below: str
    beside: str
    size_words: str
    concerns: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Overview:
    """An order looked over.

    Attributes
    ----------
    problems : tuple of Problem
        What would stop the work at the press.
    notes, cautions : tuple of str
    pieces, imprints : int
    asking : int
        How many pieces ask for a look before they are pressed.
    looks : tuple of ArtLook
    more : int
        Pictures that were too many to be drawn.
    inks : dict of str to bytes
        The artworks' pictures, PNG, by `ArtLook.art`.
    """

    problems: tuple[Problem, ...]
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    pieces: int = 0
    imprints: int = 0
    asking: int = 0
    looks: tuple[ArtLook, ...] = ()
    more: int = 0
    inks: dict[str, bytes] | None = None


def look_over(sheet: Path, tell: Callable[[Any], None] = lambda told: None) -> Overview:
    """Place a whole order and draw what it asks for.

    Parameters
    ----------
    sheet : Path
    tell : callable
        Is given how many pieces are gone through, and of how many.
    """
    try:
        order = read_sheet(sheet)
    except SheetRefusal as refusal:
        return Overview(refusal.problems)
    every = len(order.pieces)
    unit = shop_unit()
    problems, cautions = cautions_by_piece(
        order, _as_at_the_press(), unit, begun=lambda done: tell((done, every))
    )
    asking = {each for pieces in cautions.values() for each in pieces}
    imprints = sum(len(piece.imprints) for piece in order.pieces)
    told = (*order.notes, *_colours(order))
    placer, looks, inks = Placer(), [], {}
    groups = list(_alike(order))
    for key, members in groups[:MOST_LOOKS]:
        try:
            seen, ink = _look(key, members, placer, cautions, unit)
        except Refusal:  # it is among the problems
            continue
        looks.append(seen)
        inks[seen.art] = ink
    more = max(0, len(groups) - MOST_LOOKS)
    return Overview(
        tuple(sorted(set(problems))), told, caution_lines(cautions), every, imprints,
        sum((each.row, each.size) in asking for each in order.pieces), tuple(looks), more, inks,
    )  # fmt: skip


def _as_at_the_press() -> Lay:
    """Return how the shop's own press lays imprints; any platen on file where there is none."""
    if library.default() is None:
        return on_file()
    try:
        return first_rigs(ImprintPreparer(on_post(library.open_rig(None))), {})
    except Refusal:  # it is told where presses are listed, and at the press
        return on_file()


def _colours(order: RunSheet) -> Iterator[str]:
    for colour in dict.fromkeys(piece.colour for piece in order.pieces):
        try:
            _cloth(colour)
        except Refusal as refusal:
            yield str(refusal)


def _cloth(colour: str) -> RGB:
    return find_fabric(colour).colour if colour else WHITE


def _alike(order: RunSheet) -> Iterator[tuple[str, list[tuple[Piece, Imprint]]]]:
    """Yield imprints that look alike, with the key of their picture."""
    groups: dict[tuple[object, ...], list[tuple[Piece, Imprint]]] = {}
    for piece in order.pieces:
        for imprint in piece.imprints:
            groups.setdefault(
                (piece.style, piece.fit, piece.colour, imprint.location, imprint.art.stack,
                 imprint.art.kind, imprint.width, imprint.height), []
            ).append((piece, imprint))  # fmt: skip
    for what, members in groups.items():
        yield hashlib.sha256(repr(what).encode()).hexdigest()[:12], members


def _placed(piece: Piece, imprint: Imprint, placer: Placer) -> Placement:
    return place_imprint(placer, piece, imprint, lambda each: each.location)


ASKED_OTHERWISE = ("art", "size")
"""Notes about these are told beforehand, too: other artwork or another size may be meant."""


def _concerns(
    members: list[tuple[Piece, Imprint]], placement: Placement, cautions: Cautions, unit: Unit
) -> Iterator[tuple[str, str]]:
    """Yield what to look at for any of some imprints alike, then notes about the first's art."""
    location = members[0][1].location
    for words, pieces in cautions.items():
        if any((each.row, each.size) in pieces for each, _ in members) and words.startswith(
            f"{location}: "
        ):
            yield "caution", words.removeprefix(f"{location}: ")
    for each in placement.warnings:
        if each.severity is Severity.NOTE and each.about in ASKED_OTHERWISE:
            yield "note", each.sentence.say(unit)


def _look(
    key: str, members: list[tuple[Piece, Imprint]], placer: Placer, cautions: Cautions, unit: Unit
) -> tuple[ArtLook, bytes]:
    piece, imprint = members[0]
    placement = _placed(piece, imprint, placer)
    cloth, fabric = _cloth_of(piece)
    picture = _picture(placement, imprint.art, cloth)
    ink, pose = placement.artwork.ink, placement.garment_from_art
    top = Box.around(placement.hull()).top
    off = placement.centre[0] - centre_line(placement)
    seam = origin_words(placement.face.name)
    coded = _png(picture)
    seen = ArtLook(
        key=key,
        title=f"{placement.location.title}: {placement.artwork.name}",
        garment=placement.garment.label,
        fabric=fabric,
        colour="#{:02x}{:02x}{:02x}".format(*cloth),
        dark=is_dark(cloth),
        pieces=len({each.id for each, _ in members}),
        sizes=tuple(dict.fromkeys(each.size for each, _ in members)),
        row=piece.row,
        drawing=drawing_of(placement.face),
        art=hashlib.sha256(coded).hexdigest()[:16],
        x=pose.x,
        y=pose.y,
        turn=math.degrees(pose.angle),
        width=ink.width,
        height=ink.height,
        below=f"top of the ink {both(abs(top))} {'below' if top >= 0 else 'above'} the {seam}",
        beside=f"its centre {both(abs(off))} {'right' if off > 0 else 'left'} of the middle"
        if abs(off) > 1
        else "",
        size_words=f"{both(ink.width)} wide, {both(ink.height)} high",
        concerns=tuple(_concerns(members, placement, cautions, unit)),
    )
    return seen, coded


def both(length: float) -> str:
    """Return a length in millimetres and in inches."""
    return f"{format_length(length, Unit.MM)} ({format_length(length, Unit.INCH)})"


def _cloth_of(piece: Piece) -> tuple[RGB, str]:
    try:
        return _cloth(piece.colour), piece.colour
    except Refusal:  # it is among the notes
        return WHITE, piece.colour


def _picture(placement: Placement, art: Art, cloth: RGB) -> np.ndarray:
    if art.path is not None:
        return _ink(art.path)
    return letter_picture(placement.artwork, INK_ON_DARK if is_dark(cloth) else INK_ON_PALE)


@functools.lru_cache(maxsize=8)
def _ink(path: Path) -> np.ndarray:
    """Return a file's ink; for a process that ends with its work."""
    return ink_picture(path)


def ink_of(path: Path) -> tuple[bytes, float]:
    """Return an artwork file's ink as PNG, and how high it is for its width."""
    pixels = ink_picture(path)
    return _png(pixels), pixels.shape[0] / pixels.shape[1]


def _png(pixels: np.ndarray) -> bytes:
    from PIL import Image

    kept = io.BytesIO()
    image = Image.fromarray(pixels)
    image.thumbnail((900, 900))
    image.save(kept, "PNG")
    return kept.getvalue()


def _proof(sheet: Path, key: str, customer: str, title: str, day: str) -> Proof:
    found = dict(_alike(read_sheet(sheet)))
    if key not in found:
        raise Refusal(t("orders.no_look"))
    piece, imprint = found[key][0]
    placement = _placed(piece, imprint, Placer())
    cloth, fabric = _cloth_of(piece)
    picture = _picture(placement, imprint.art, cloth)
    return Proof(placement, picture, cloth, fabric, Unit.MM, customer, title, day)


def worn_pictures(sheet: Path, key: str, views: tuple[View, ...]) -> dict[str, bytes]:
    """Return a look of an order as worn, PNG by view."""
    worn = worn_of(_proof(sheet, key, "", "", ""))
    return {view: _png(look(worn, view, WORN)) for view in views}


def proof_of(
    sheet: Path, keys: tuple[str, ...], customer: str, title: str, day: str, paper: str
) -> bytes:
    """Return proofs of some looks of an order, a page each, as one PDF."""
    pages = [proof_pdf(_proof(sheet, key, customer, title, day), paper) for key in keys]
    if len(pages) == 1:
        return pages[0]
    import pypdfium2

    joined = pypdfium2.PdfDocument.new()
    for page in pages:
        joined.import_pages(pypdfium2.PdfDocument(page))
    kept = io.BytesIO()
    joined.save(kept)
    return kept.getvalue()
