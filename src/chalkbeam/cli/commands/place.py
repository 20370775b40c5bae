"""`chalkbeam place`: where artwork goes on a garment, why, and how the garment lies on the platen.

Exit 0: placed. 1: placed, but pressing it so would spoil the garment, or no place
satisfies the rules. 2: bad input.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.options.artwork import (
    ArcOption,
    ArtOption,
    CentreOption,
    FontOption,
    HeightOption,
    MirroredOption,
    NarrowestOption,
    PageOption,
    PickOption,
    SheetMarginOption,
    SheetWidthOption,
    TextOption,
    TurnOption,
    WholeOption,
    WidthOption,
    read_art,
    read_turn,
)
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import (
    FitOption,
    MeasuredOption,
    SizeOption,
    StyleOption,
    UnitsOption,
    find_garment,
)
from chalkbeam.cli.options.loading import (
    AsideOption,
    CollarOption,
    OnTopOption,
    OverhangOption,
    PadOption,
    PadPlaceOption,
    read_loading,
)

if TYPE_CHECKING:
    from chalkbeam.placement import Impossible, Placement
    from chalkbeam.placement.loading import Loading


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
    narrowest: NarrowestOption = None,
    turn: TurnOption = None,
    under: Annotated[
        str | None, typer.Option(help="A number goes under this name, set as usual.")
    ] = None,
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    platen: Annotated[
        str | None, typer.Option(help="Platen by name or size, such as 16x20in.")
    ] = None,
    pad: PadOption = None,
    pad_place: PadPlaceOption = None,
    collar: CollarOption = None,
    overhang: OverhangOption = None,
    aside: AsideOption = None,
    on_top: OnTopOption = False,
    units: UnitsOption = Unit.INCH,
    json: JsonOption = False,
    png: Annotated[Path | None, typer.Option(help="Also draw a plan: .png, .svg or .pdf.")] = None,
) -> None:
    """Work out where artwork goes on a garment: place, reasons, checks, warnings."""
    from chalkbeam.artwork import TooLong
    from chalkbeam.cli.show_placement import show_placement
    from chalkbeam.locations import location as find_location
    from chalkbeam.orders.together import together_on
    from chalkbeam.placement import Impossible, Severity, foot_of, place
    from chalkbeam.placement.loading import OffPlaten

    garment = find_garment(style, size, fit, measured)
    found = find_location(location)
    try:
        artwork = read_art(
            art, text, garment, found, width=width, height=height, sheet_width=sheet_width,
            sheet_margin=sheet_margin, mirrored=mirrored, centre=centre, page=page, whole=whole,
            pick=pick, font=None if text is None and under is not None else font, arc=arc,
            narrowest=narrowest,
        )  # fmt: skip
    except TooLong as long:
        raise Refusal(long.words.say(units)) from None
    extra, name_there = None, None
    try:
        if under is not None:
            above = find_location("player-name")
            name = read_art(None, under, garment, above, font=font, narrowest=narrowest)
            name_there = place(garment, above, name)
            extra = foot_of(name_there)
            if not any(rule.line in extra for rule in found.rules):
                raise Refusal(f"--under goes with a number's location, not {found.title}.")
        placement = place(garment, found, artwork, turn=read_turn(turn), extra=extra)
    except Impossible as conflict:
        if json:
            print_json(_impossible_json(conflict, units))
        else:
            print(conflict.words.say(units))
        raise typer.Exit(1) from None
    try:
        loading = read_loading(placement, platen, pad, collar, overhang, aside, on_top, pad_place)
    except OffPlaten as off:
        raise Refusal(off.words.say(units)) from None
    if png is not None:
        from chalkbeam.paper.drawing_files import save_drawing
        from chalkbeam.paper.plan import plan

        save_drawing(plan(placement, loading, units), png, placement.location.title)
    if json:
        drawn = {} if png is None else {"plan": str(png)}
        once = {} if name_there is None else {"pressed_once_on": together_on(name_there, placement)}
        print_json({**as_json(placement, loading, units), **once, **drawn})
    else:
        show_placement(placement, loading, units)
        if name_there is not None:
            on = together_on(name_there, placement)
            said = (
                f"are laid together and pressed once on {', '.join(on[:4])}"
                if on
                else ("do not go under one head together: they are pressed one after the other")
            )
            print(f"\nName and number {said}.")
        if png is not None:
            print(f"\n{png}: the plan of it.")
    if placement.worst is Severity.STOP:
        raise typer.Exit(1)


def as_json(placement: Placement, loading: Loading | None, unit: Unit) -> dict[str, object]:
    """Return the answer for another program: mm and degrees, words in `unit`."""
    from chalkbeam.placement import alternatives, plain_placement
    from chalkbeam.placement.loading import plain_loading

    answer: dict[str, object] = {"possible": True, **plain_placement(placement, unit)}
    answer["would_work"] = [sentence.say(unit) for sentence in alternatives(placement)]
    if loading is not None:
        answer["loading"] = plain_loading(placement, loading, unit)
    return answer


def _impossible_json(conflict: Impossible, unit: Unit) -> dict[str, object]:
    return {
        "possible": False,
        "sentence": conflict.words.say(unit),
        "rules": [conflict.conflict.first.rule.says, conflict.conflict.second.rule.says],
        "short_mm": round(conflict.conflict.short, 3),
        "width_that_fits_mm": None if conflict.width is None else round(conflict.width, 3),
        "other_locations": list(conflict.others),
    }


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("place")(place_art)
