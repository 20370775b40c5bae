"""Options about line lasers, and the small orders that they are worked out for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from calibration.refusal import Refusal

if TYPE_CHECKING:
    from chalkbeam.garments import Fit
    from chalkbeam.orders.pieces import Imprint, Piece
    from chalkbeam.placement import Placement
    from chalkbeam.station.ready_imprint import LocationOf

TickPlatenOption = Annotated[
    list[str] | None,
    typer.Option("--platen", help="Platen by name or size: 16x20in. Repeat for more."),
]


def read_sizes(style: str, text: str, fit: str) -> tuple[str, ...]:
    """Return the sizes that are asked for: “S-2XL” or “S, M, L”.

    Raises
    ------
    Refusal
        If the style has none of that name.
    """
    from chalkbeam.garments import garment, sizes

    known = sizes(style, fit=cast("Fit", fit))

    def size(name: str) -> str:
        return garment(style, name.strip(), fit=cast("Fit", fit)).size

    first, dash, last = text.partition("-")
    if not dash:
        return tuple(dict.fromkeys(size(name) for name in text.split(",") if name.strip()))
    ends = [known.index(size(name)) for name in (first, last)]
    return known[min(ends) : max(ends) + 1]


def sizes_order(
    style: str, sizes: tuple[str, ...], locations: tuple[str, ...], fit: str,
    art: Path | None, text: str | None, width: float | None, pad: str,
) -> tuple[Piece, ...]:  # fmt: skip
    """Return a piece for each location and size, location by location."""
    from chalkbeam.garments.library import find_style
    from chalkbeam.locations import location as find_location
    from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece

    if art is not None and text is not None:
        raise Refusal("Give the artwork with --art FILE, or a name or number with --text.")
    if art is not None and not art.is_file():
        raise Refusal(f"There is no artwork {art}: correct --art.")
    made = Art(ArtKind.NAME, text) if text is not None else Art(ArtKind.FILE, str(art or ""), art)
    wanted = find_style(style)[0]
    names = [find_location(each).name for each in locations]
    each_once = [(name, size) for name in names for size in sizes]
    return tuple(
        Piece(
            f"{row}-1", row, 1, 1, wanted, size, "",
            (Imprint(f"{row}-1/1", name, made, width, pad=pad),), fit=fit,
        )
        for row, (name, size) in enumerate(each_once, start=1)
    )  # fmt: skip


def place_blank(piece: Piece, imprint: Imprint, location_of: LocationOf) -> Placement:
    """Place a box of the usual size where artwork will go."""
    from chalkbeam.garments import garment
    from chalkbeam.lasers.blanks import blank_art
    from chalkbeam.locations import location as find_location
    from chalkbeam.placement import place

    worn = garment(piece.style, piece.size, fit=cast("Fit", piece.fit or "regular"))
    where = find_location(location_of(imprint))
    art = blank_art(where, worn.age)
    if imprint.width is not None:
        art = art.scaled(imprint.width / art.ink.width)
    return place(worn, where, art)
