"""An imprint of an order placed on its garment."""

from __future__ import annotations

import contextlib
import functools
import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import cast

from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork, LetterStyle, load_artwork, load_gang, picked
from chalkbeam.artwork.faces import USUAL, find_face
from chalkbeam.artwork.ink_measures import measured_ink
from chalkbeam.garments import Age, Fit, Garment, garment
from chalkbeam.locations import Location
from chalkbeam.locations import location as find_location
from chalkbeam.orders.pieces import Art, Cut, Imprint, Piece
from chalkbeam.placement import Placement, fitted, foot_of
from chalkbeam.placement.lettering import SHEET_MARGIN, LetterLine, set_letters
from chalkbeam.placement.loading import Loading
from chalkbeam.placement.many import Placer, Request
from chalkbeam.placement.solve import Lines

Lay = Callable[[Placement, Imprint], Loading]
"""Lays a placed imprint on a platen that takes it; raises a Refusal where there is none."""

NAMES = "player-name"
"""The location of the names that an order's numbers stand under."""


def place_imprint(
    placer: Placer, piece: Piece, imprint: Imprint, location_of: Callable[[Imprint], str]
) -> Placement:
    """Return where an imprint of an order goes on its piece.

    Raises
    ------
    Refusal
        If the artwork or the location stands in the way.
    """
    worn = garment(piece.style, piece.size, fit=cast(Fit, piece.fit or "regular"))
    where = find_location(location_of(imprint))
    answer = placer.place(
        Request(
            worn,
            where,
            read_artwork(imprint, worn, where),
            _name_over(placer, piece, imprint, worn, where, location_of),
            imprint.turn,
        )
    )
    if isinstance(answer, Refusal):
        raise answer
    return answer


def read_ahead(imprints: Iterable[Imprint]) -> None:
    """Have the artwork files of imprints measured in a thread, in the imprints' order.

    A file that is asked for meanwhile is waited for. What is wrong with one is told there.
    """
    files = {
        (each.art.path, each.art.cut.page, each.art.cut.mirrored): None
        for each in imprints
        if each.art.path is not None and each.art.cut.pick is None
    }
    if not files:
        return

    def measure() -> None:
        for path, page, mirrored in files:
            with contextlib.suppress(Refusal):
                measured_ink(path, page=page, mirrored=mirrored)

    threading.Thread(target=measure, name="artwork ahead", daemon=True).start()


def _name_over(
    placer: Placer,
    piece: Piece,
    imprint: Imprint,
    worn: Garment,
    where: Location,
    location_of: Callable[[Imprint], str],
) -> Lines | None:
    """Return the foot of the name that a number stands under; None where there is none.

    All numbers of an order stand under names of one height, also on a piece that has none.
    """
    name = next((each for each in piece.imprints if each.id == imprint.follows), None)
    moved = name is not None and _elsewhere(name, find_location(location_of(name)))
    if imprint.under is not None and not moved and not _elsewhere(imprint, where):
        names, style = find_location(NAMES), LetterStyle(arc=imprint.under.arc)
        art = _lettering("H", None, imprint.under.height, None, False, worn, names, style)
        answer = placer.place(Request(worn, names, art))
        return None if isinstance(answer, Refusal) else foot_of(answer)
    if name is not None:
        return foot_of(place_imprint(placer, piece, name, location_of))
    return None


def _elsewhere(imprint: Imprint, where: Location) -> bool:
    """Whether an imprint was put to another location than the sheet's."""
    return find_location(imprint.location).name != where.name


def _style(imprint: Imprint) -> LetterStyle:
    return LetterStyle(find_face(imprint.face or USUAL), imprint.arc, imprint.narrowest)


def read_artwork(imprint: Imprint, worn: Garment, where: Location) -> Artwork:
    """Return an imprint's artwork, where no size is given in the location's usual one.

    Raises
    ------
    Refusal
        If the file is missing or unusable.
    """
    art, width, height = imprint.art, imprint.width, imprint.height
    trouble = artwork_trouble(art)
    if trouble is not None:
        raise Refusal(trouble)
    cut = art.cut
    if art.path is None:
        if width is None and height is None and not _elsewhere(imprint, where):
            height = imprint.common
        style = _style(imprint)
        return _lettering(art.text, width, height, cut.margin, cut.mirrored, worn, where, style)
    changed = art.path.stat().st_mtime_ns
    if cut.pick is not None:
        if width is not None or height is not None:
            raise Refusal(
                f"{art.text} is a ganged sheet and keeps its scale: give the width of the whole "
                "sheet in place of the artwork's own size."
            )
        return picked(art.path.name, _gang(art.path, cut, changed), cut.pick)
    if width is None and height is None and cut.width is None:
        return _fitted(art.path, cut, where, worn, changed)
    return _file(art.path, width, height, cut, changed)


@functools.lru_cache(maxsize=256)
def _file(path: Path, width: float | None, height: float | None, cut: Cut, changed: int) -> Artwork:
    del changed  # an edited file is read again
    return load_artwork(
        path, width=width, height=height, sheet_width=cut.width, sheet_margin=cut.margin,
        mirrored=cut.mirrored, page=cut.page,
    )  # fmt: skip


@functools.lru_cache(maxsize=256)
def _usual_size(path: Path, cut: Cut, where: Location, age: Age, changed: int) -> Artwork:
    del changed
    return load_artwork(
        path, usual=where.usual_for(age), sheet_margin=cut.margin, mirrored=cut.mirrored,
        page=cut.page,
    )  # fmt: skip


@functools.lru_cache(maxsize=32)
def _gang(path: Path, cut: Cut, changed: int) -> tuple[Artwork, ...]:
    del changed
    return load_gang(
        path, sheet_width=cut.width, sheet_margin=cut.margin, mirrored=cut.mirrored, page=cut.page
    )


@functools.lru_cache(maxsize=256)
def _fitted(path: Path, cut: Cut, where: Location, worn: Garment, changed: int) -> Artwork:
    return fitted(worn, where, _usual_size(path, cut, where, worn.age, changed))


@functools.lru_cache(maxsize=1024)
def _lettering(
    text: str,
    width: float | None,
    height: float | None,
    margin: float | None,
    mirrored: bool,
    worn: Garment,
    where: Location,
    style: LetterStyle,
) -> Artwork:
    return set_letters(
        LetterLine(worn, where, text), style, width=width, height=height,
        sheet_margin=SHEET_MARGIN if margin is None else margin, mirrored=mirrored,
    )  # fmt: skip


def artwork_trouble(art: Art) -> str | None:
    """Return a sentence about an artwork's file that is missing; None if it is there."""
    if art.path is None or art.path.is_file():
        return None
    return (
        f"The artwork file {art.path} is missing: put it back, or skip this imprint and come back "
        "to it."
    )
