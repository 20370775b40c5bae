"""An imprint of an order placed on its garment."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import cast

from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork, letter, load_artwork
from chalkbeam.garments import Age, Fit, Garment, garment
from chalkbeam.locations import Location
from chalkbeam.locations import location as find_location
from chalkbeam.orders.pieces import Art, Imprint, Piece
from chalkbeam.placement import Placement, foot_of
from chalkbeam.placement.many import Placer, Request

NAME_MARGIN = 6.0
"""Blank carrier around a name or number, mm."""


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
    extra = None
    if imprint.follows:
        name = next(each for each in piece.imprints if each.id == imprint.follows)
        extra = foot_of(place_imprint(placer, piece, name, location_of))
    answer = placer.place(Request(worn, where, read_artwork(imprint, worn, where), extra))
    if isinstance(answer, Refusal):
        raise answer
    return answer


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
    if art.path is None:
        return _lettering(art.text, width, height, worn, where)
    changed = art.path.stat().st_mtime_ns
    if width is None and height is None:
        return _usual_size(art.path, where, worn.age, changed)
    return _file(art.path, width, height, changed)


@functools.lru_cache(maxsize=256)
def _file(path: Path, width: float | None, height: float | None, changed: int) -> Artwork:
    del changed  # an edited file is read again
    return load_artwork(path, width=width, height=height)


@functools.lru_cache(maxsize=256)
def _usual_size(path: Path, where: Location, age: Age, changed: int) -> Artwork:
    del changed
    return load_artwork(path, usual=where.usual_for(age))


@functools.lru_cache(maxsize=1024)
def _lettering(
    text: str, width: float | None, height: float | None, worn: Garment, where: Location
) -> Artwork:
    size = where.letter_size(worn.age, width, height)
    return letter(
        text, width=size.width, height=size.height, widest=size.widest, sheet_margin=NAME_MARGIN
    )


def artwork_trouble(art: Art) -> str | None:
    """Return a sentence about an artwork's file that is missing; None if it is there."""
    if art.path is None or art.path.is_file():
        return None
    return (
        f"The artwork file {art.path} is missing: put it back, or skip this imprint and come back "
        "to it."
    )
