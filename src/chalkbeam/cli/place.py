"""`chalkbeam place`: where artwork goes on a garment, why, and how the garment lies on the platen.

Exit 0: placed. 1: placed, but pressing it so would spoil the garment, or no place
satisfies the rules. 2: bad input.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.garment import (
    FitOption,
    JsonOption,
    MeasuredOption,
    SizeOption,
    StyleOption,
    UnitsOption,
    find_garment,
)
from chalkbeam.units import Unit, parse_length

if TYPE_CHECKING:
    from chalkbeam.artwork import Artwork
    from chalkbeam.garments import Garment
    from chalkbeam.loading import Loading
    from chalkbeam.locations import Location
    from chalkbeam.placement import Impossible, Placement

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
FontOption = Annotated[Path | None, typer.Option(help="Font of --text: .ttf or .otf.")]
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


def _length(text: str | None) -> float | None:
    return None if text is None else parse_length(text)


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
    font: Path | None = None,
    arc: str | None = None,
) -> Artwork:
    """Return the artwork that options describe; without a size, at the location's usual one.

    Raises
    ------
    Refusal
        As `load_artwork`, `load_gang` and `letter`, or if options contradict each other.
    """
    from chalkbeam.artwork import CentreRule, letter, load_artwork, load_gang, picked
    from overlay.lettering import BUNDLED_FONT

    if (art is None) == (text is None):
        raise Refusal("Give the artwork with --art FILE, or a name or number with --text.")
    files_only = {"--sheet-width": sheet_width, "--pick": pick, "--whole": whole or None,
                  "--page": None if page == 1 else page}  # fmt: skip
    for option, value in ({"--font": font, "--arc": arc} if text is None else files_only).items():
        if value is not None:
            raise Refusal(
                f"{option} goes with {'--text' if text is None else '--art'}: leave it out."
            )
    if sheet_width is not None and (width is not None or height is not None):
        raise Refusal("Give the ink's size or the whole sheet's with --sheet-width, not both.")
    margin, wide, high = _length(sheet_margin), _length(width), _length(height)
    if centre not in {rule.value for rule in CentreRule}:
        raise Refusal(f"There is no centre “{centre}”: write auto, ink or box.")
    if text is not None:
        size = location.letter_size(garment.age, wide, high)
        return letter(
            text,
            width=size.width,
            height=size.height,
            widest=size.widest,
            font=font or BUNDLED_FONT,
            arc=_length(arc),
            sheet_margin=6.0 if margin is None else margin,
            mirrored=mirrored,
        )
    assert art is not None  # one of the two was given
    if pick is not None:
        if whole:
            raise Refusal("--whole leaves nothing to pick from: leave it out.")
        if width is not None or height is not None:
            raise Refusal("Artworks of a ganged sheet keep its scale: give --sheet-width alone.")
        ganged = load_gang(
            art, sheet_width=_length(sheet_width), sheet_margin=margin, mirrored=mirrored,
            centre=CentreRule(centre), page=page,
        )  # fmt: skip
        return picked(art.name, ganged, pick)
    return load_artwork(
        art, width=wide, height=high, sheet_width=_length(sheet_width), sheet_margin=margin,
        mirrored=mirrored, centre=CentreRule(centre), page=page, whole=whole,
        usual=location.usual_for(garment.age),
    )  # fmt: skip


def place_art(
    style: StyleOption,
    size: SizeOption,
    location: Annotated[str, typer.Option(help="Location, such as left-chest or “full back”.")],
    art: ArtOption = None,
    text: TextOption = None,
    width: WidthOption = None,
    height: HeightOption = None,
    sheet_width: SheetWidthOption = None,
    sheet_margin: SheetMarginOption = None,
    mirrored: MirroredOption = False,
    whole: WholeOption = False,
    pick: PickOption = None,
    page: PageOption = 1,
    centre: CentreOption = "auto",
    font: FontOption = None,
    arc: ArcOption = None,
    turn: TurnOption = None,
    under: Annotated[
        str | None, typer.Option(help="A number goes under this name, set as usual.")
    ] = None,
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    platen: Annotated[
        str | None, typer.Option(help="Platen by name or size, such as 16x20in.")
    ] = None,
    pad: Annotated[
        str | None, typer.Option(help="A raised pad, width x depth x height: 10x10x0.5in.")
    ] = None,
    collar: Annotated[
        str, typer.Option(help="Where the collar points: away, towards, left or right.")
    ] = "away",
    overhang: Annotated[
        str | None, typer.Option(help="How far the collar's seam hangs over the edge.")
    ] = None,
    aside: Annotated[
        str | None, typer.Option(help="How far the centre line lies right of the middle.")
    ] = None,
    on_top: Annotated[
        bool, typer.Option("--on-top", help="Laid on the platen with both layers.")
    ] = False,
    units: UnitsOption = Unit.INCH,
    json: JsonOption = False,
    png: Annotated[Path | None, typer.Option(help="Also draw a plan: .png, .svg or .pdf.")] = None,
) -> None:
    """Work out where artwork goes on a garment: place, reasons, checks, warnings."""
    from chalkbeam.cli.placed import show_placement
    from chalkbeam.loading import OffPlaten
    from chalkbeam.locations import location as find_location
    from chalkbeam.placement import Impossible, Severity, foot_of, place

    garment = find_garment(style, size, fit, measured)
    found = find_location(location)
    artwork = read_art(
        art, text, garment, found, width=width, height=height, sheet_width=sheet_width,
        sheet_margin=sheet_margin, mirrored=mirrored, centre=centre, page=page, whole=whole,
        pick=pick, font=None if text is None and under is not None else font, arc=arc,
    )  # fmt: skip
    extra = None
    try:
        if under is not None:
            above = find_location("player-name")
            name = read_art(None, under, garment, above, font=font)
            extra = foot_of(place(garment, above, name))
            if not any(rule.line in extra for rule in found.rules):
                raise Refusal(f"--under goes with a number's location, not {found.title}.")
        placement = place(garment, found, artwork, turn=read_turn(turn), extra=extra)
    except Impossible as fight:
        if json:
            _print_json(_impossible_json(fight, units))
        else:
            print(fight.words.say(units))
        raise typer.Exit(1) from None
    try:
        loading = _loading(placement, platen, pad, collar, overhang, aside, on_top)
    except OffPlaten as off:
        raise Refusal(off.words.say(units)) from None
    if png is not None:
        from chalkbeam.drawing_files import save_drawing
        from chalkbeam.plan import plan

        save_drawing(plan(placement, loading, units), png, placement.location.title)
    if json:
        drawn = {} if png is None else {"plan": str(png)}
        _print_json({**as_json(placement, loading, units), **drawn})
    else:
        show_placement(placement, loading, units)
        if png is not None:
            print(f"\n{png}: the plan of it.")
    if placement.worst is Severity.STOP:
        raise typer.Exit(1)


def _loading(
    placement: Placement,
    platen: str | None,
    pad: str | None,
    collar: str,
    overhang: str | None,
    aside: str | None,
    on_top: bool,
) -> Loading | None:
    """Return how the garment lies on the platen that options describe; None without a platen."""
    from chalkbeam.loading import COLLARS, load
    from chalkbeam.platen import parse_pad
    from chalkbeam.platen import platen as find_platen

    if platen is None:
        given = (pad, overhang, aside)
        if on_top or collar != "away" or any(option is not None for option in given):
            raise Refusal("Name the platen too, such as --platen 16x20in.")
        return None
    pointing = next((known for known in COLLARS if known == collar), None)
    if pointing is None:
        raise Refusal(f"A collar cannot point “{collar}”: write {', '.join(COLLARS)}.")
    plate = find_platen(platen)
    if pad is not None:
        plate = plate.with_pad(parse_pad(pad))
    return load(
        placement, plate, collar=pointing, overhang=_length(overhang), aside=_length(aside),
        threaded=not on_top,
    )  # fmt: skip


def as_json(placement: Placement, loading: Loading | None, unit: Unit) -> dict[str, object]:
    """Return the answer for another program: mm and degrees, words in `unit`."""
    from chalkbeam.loading import plain_loading
    from chalkbeam.placement import plain_placement, remedies

    answer: dict[str, object] = {"possible": True, **plain_placement(placement, unit)}
    answer["would_work"] = [sentence.say(unit) for sentence in remedies(placement)]
    if loading is not None:
        answer["loading"] = plain_loading(placement, loading, unit)
    return answer


def _impossible_json(fight: Impossible, unit: Unit) -> dict[str, object]:
    return {
        "possible": False,
        "sentence": fight.words.say(unit),
        "rules": [fight.fight.first.rule.says, fight.fight.second.rule.says],
        "short_mm": round(fight.fight.short, 3),
        "width_that_fits_mm": None if fight.width is None else round(fight.width, 3),
        "other_locations": list(fight.others),
    }


def _print_json(value: object) -> None:
    import json

    print(json.dumps(value, indent=1, ensure_ascii=False))


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("place")(place_art)
