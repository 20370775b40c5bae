"""Options that name artwork and its size."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.length import read_length

if TYPE_CHECKING:
    from chalkbeam.artwork import Artwork, LetterStyle
    from chalkbeam.garments import Garment
    from chalkbeam.locations import Location

ArtOption = Annotated[Path | None, typer.Option(help="Artwork: PNG, JPEG, WebP, TIFF, SVG or PDF.")]
TextOption = Annotated[str | None, typer.Option(help="A name or number to set, in place of --art.")]
WidthOption = Annotated[str | None, typer.Option(help="Width of the ink, such as 3.5in or 89mm.")]
HeightOption = Annotated[
    str | None, typer.Option(help="Height of the ink; with --text of its capitals.")
]
TurnOption = Annotated[
    float | None, typer.Option(help="Degrees to turn the art; positive rises to the right.")
]
SheetWidthOption = Annotated[
    str | None, typer.Option(help="Width of the whole sheet, in place of the ink's.")
]
SheetMarginOption = Annotated[
    str | None, typer.Option(help="Carrier around the ink; else the picture's edge is cut.")
]
MirroredOption = Annotated[
    bool, typer.Option("--mirrored", help="The sheet is printed in mirror image.")
]
WholeOption = Annotated[
    bool, typer.Option("--whole", help="A picture without transparency is all ink.")
]
PickOption = Annotated[int | None, typer.Option(help="Which artwork of a ganged sheet, from 1.")]
PageOption = Annotated[int, typer.Option(help="Page of a PDF.")]
CentreOption = Annotated[
    str, typer.Option(help="Which centre is laid on the line: auto, ink or box.")
]
FontOption = Annotated[
    str | None,
    typer.Option(help="Face of --text: its name (`chalkbeam fonts`), or a .ttf or .otf file."),
]
NarrowestOption = Annotated[
    int | None,
    typer.Option(help="Per cent of its own width that --text may be condensed to."),
]
ArcOption = Annotated[
    str | None, typer.Option(help="Radius to bend --text by; negative hangs down.")
]


def read_turn(degrees: float | None) -> float | None:
    """Return a turn as typed in the garment frame, whose y is down, radians.

    Raises
    ------
    Refusal
        If it is more than a whole turn.
    """
    if degrees is None:
        return None
    if not abs(degrees) <= 360:
        raise Refusal(f"A turn of {degrees:g}° is none: write degrees from -360 to 360.")
    return -math.radians(degrees)


def read_style(text: str, font: str | None, arc: str | None, narrowest: int | None) -> LetterStyle:
    """Return how a text looks, from its options.

    Raises
    ------
    Refusal
        If there is no such face.
    """
    from chalkbeam.artwork import LetterStyle
    from chalkbeam.artwork.faces import find_face, usual_face

    least = None if narrowest is None else narrowest / 100
    return LetterStyle(find_face(font or usual_face([text])), read_length(arc), least)


def read_art(
    art: Path | None,
    text: str | None,
    garment: Garment,
    location: Location,
    *,
    width: str | None = None,
    height: str | None = None,
    sheet_width: str | None = None,
    sheet_margin: str | None = None,
    mirrored: bool = False,
    centre: str = "auto",
    page: int = 1,
    whole: bool = False,
    pick: int | None = None,
    font: str | None = None,
    arc: str | None = None,
    narrowest: int | None = None,
) -> Artwork:
    """Return the artwork that options describe; without a size, at the location's usual one.

    Raises
    ------
    Refusal
        As `load_artwork`, `load_gang` and `letter`, or if options contradict each other.
    """
    from chalkbeam.artwork import CentreRule, load_artwork, load_gang, picked
    from chalkbeam.placement import fitted
    from chalkbeam.placement.lettering import SHEET_MARGIN, LetterLine, set_letters

    if (art is None) == (text is None):
        raise Refusal("Give the artwork with --art FILE, or a name or number with --text.")
    files_only = {"--sheet-width": sheet_width, "--pick": pick, "--whole": whole or None,
                  "--page": None if page == 1 else page}  # fmt: skip
    letters_only = {"--font": font, "--arc": arc, "--narrowest": narrowest}
    for option, value in (letters_only if text is None else files_only).items():
        if value is not None:
            raise Refusal(
                f"{option} goes with {'--text' if text is None else '--art'}: leave it out."
            )
    if sheet_width is not None and (width is not None or height is not None):
        raise Refusal("Give the ink's size or the whole sheet's with --sheet-width, not both.")
    margin, wide, high = read_length(sheet_margin), read_length(width), read_length(height)
    if centre not in {rule.value for rule in CentreRule}:
        raise Refusal(f"There is no centre “{centre}”: write auto, ink or box.")
    if text is not None:
        return set_letters(
            LetterLine(garment, location, text),
            read_style(text, font, arc, narrowest),
            width=wide,
            height=high,
            sheet_margin=SHEET_MARGIN if margin is None else margin,
            mirrored=mirrored,
        )
    assert art is not None  # one of the two was given
    if pick is not None:
        if whole:
            raise Refusal("--whole leaves nothing to pick from: leave it out.")
        if width is not None or height is not None:
            raise Refusal("Artworks of a ganged sheet keep its scale: give --sheet-width alone.")
        ganged = load_gang(
            art, sheet_width=read_length(sheet_width), sheet_margin=margin, mirrored=mirrored,
            centre=CentreRule(centre), page=page,
        )  # fmt: skip
        return picked(art.name, ganged, pick)
    found = load_artwork(
        art, width=wide, height=high, sheet_width=read_length(sheet_width), sheet_margin=margin,
        mirrored=mirrored, centre=CentreRule(centre), page=page, whole=whole,
        usual=location.usual_for(garment.age),
    )  # fmt: skip
    sized = any(each is not None for each in (wide, high, sheet_width))
    return found if sized else fitted(garment, location, found)
