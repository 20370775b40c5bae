"""`chalkbeam project`: light for one imprint on the platen; `chalkbeam displays`: where it can go.

Exit 0: shown. 1: no place satisfies the rules of a location. 2: bad input.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.cli.options.artwork import (
    ArtOption,
    FontOption,
    HeightOption,
    TextOption,
    TurnOption,
    WidthOption,
    read_art,
    read_turn,
)
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.display import DisplayOption, WindowOption
from chalkbeam.cli.options.garment import (
    FitOption,
    MeasuredOption,
    SizeOption,
    StyleOption,
    UnitsOption,
    find_garment,
)
from chalkbeam.cli.options.length import read_length
from chalkbeam.cli.options.loading import (
    AsideOption,
    CollarOption,
    OnTopOption,
    OverhangOption,
    PadOption,
    read_collar,
)
from chalkbeam.cli.options.rig import OnPlatenOption, RigOption, open_platen

if TYPE_CHECKING:
    from collections.abc import Callable

    from calibration.rig.file import Rig
    from chalkbeam.locations import Location
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from overlay.palette import Palette

FabricOption = Annotated[
    str | None, typer.Option(help="The cloth's colour, a name or #hex: picks colours to suit.")
]

MOST_LOCATIONS = 9
"""As many as there are number keys."""


def show_light(
    style: StyleOption,
    size: SizeOption,
    location: Annotated[
        list[str], typer.Option(help="Location; up to nine, chosen by number keys.")
    ],
    rig: RigOption = None,
    platen: OnPlatenOption = None,
    art: ArtOption = None,
    text: TextOption = None,
    width: WidthOption = None,
    height: HeightOption = None,
    sheet_margin: Annotated[
        str | None, typer.Option(help="Carrier around the ink; else the picture's edge is cut.")
    ] = None,
    mirrored: Annotated[
        bool, typer.Option("--mirrored", help="The sheet is printed in mirror image.")
    ] = False,
    turn: TurnOption = None,
    font: FontOption = None,
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    fabric: FabricOption = None,
    thickness: Annotated[
        str | None, typer.Option(help="One layer of the cloth, such as 0.7mm, if not as usual.")
    ] = None,
    pad: PadOption = None,
    collar: CollarOption = None,
    overhang: OverhangOption = None,
    aside: AsideOption = None,
    on_top: OnTopOption = False,
    display: DisplayOption = None,
    window: WindowOption = False,
    check: Annotated[
        bool, typer.Option("--check", help="Begin with squares to hold a ruler to.")
    ] = False,
    png: Annotated[
        Path | None, typer.Option(help="Write the pictures to this folder; open no window.")
    ] = None,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Show in light where a garment and its transfer go: load, lay, dark, at the press of a key."""
    if png is None:
        print("Getting ready: rig, artwork and placement …", file=sys.stderr, flush=True)
    from dataclasses import replace

    from chalkbeam.locations import location as find_location
    from chalkbeam.placement import Impossible, Placement, place
    from chalkbeam.placement.platens import parse_pad
    from chalkbeam.record.scratch import scratch_session
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.modes import SINGLE
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from chalkbeam.station.single_order import single_order

    if len(location) > MOST_LOCATIONS:
        raise Refusal(f"{len(location)} locations are more than the nine number keys can choose.")
    pointing = read_collar(collar)
    light = open_platen(rig, platen)
    garment = find_garment(style, size, fit, measured)
    if thickness is not None:
        garment = replace(garment, thickness=_cloth(thickness))
    if pad is not None:
        parse_pad(pad)
    found = {each.name: each for each in map(find_location, location)}
    palette = palette_of(fabric)
    output = FrameCache()

    def placed(where: Location) -> Placement:
        artwork = read_art(
            art, text, garment, where, width=width, height=height, sheet_margin=sheet_margin,
            mirrored=mirrored, font=font,
        )  # fmt: skip
        try:
            return place(garment, where, artwork, turn=read_turn(turn))
        except Impossible as conflict:
            print(conflict.words.say(units))
            raise typer.Exit(1) from None

    def prepare() -> StationController:
        placements = {name: placed(where) for name, where in found.items()}
        preparer = ImprintPreparer(
            [light], pointing, not on_top,
            overhang=read_length(overhang), aside=read_length(aside),
            place=lambda piece, imprint, location_of: placements[location_of(imprint)],
        )  # fmt: skip
        order = single_order(
            list(placements.values()), art=str(text or art), colour=fabric or "", pad=pad or ""
        )
        for stop in order.stops:  # refused here, not in light
            preparer.lay(placements[stop.imprint.location], stop.imprint)
        return StationController(
            scratch_session(order), preparer, output, unit=units, mode=SINGLE, check=check
        )

    if png is not None:
        _write_pictures(prepare(), output, png, check)
    else:
        _open(prepare, output, light, palette, display, window, units)


def _cloth(text: str) -> float:
    thickness = parse_length(text)
    if not 0 <= thickness <= 30:
        raise Refusal(f"Cloth {text} thick is none: write one layer of it, such as 0.7mm.")
    return thickness


def palette_of(fabric: str | None) -> Palette:
    """Return the colours of light to use on a cloth; the usual ones if none is named.

    Raises
    ------
    Refusal
        If there is no such fabric.
    """
    from overlay.palette import DEFAULT_PALETTE

    if fabric is None:
        return DEFAULT_PALETTE
    from chalkbeam.garments.fabrics import find_fabric
    from overlay.colour.visibility import palette_for

    return palette_for(find_fabric(fabric).colour)


def _open(
    prepare: Callable[[], StationController],
    output: FrameCache,
    rig: Rig,
    palette: Palette,
    display: int | None,
    window: bool,
    units: Unit,
) -> None:
    from chalkbeam.cli.cautions import AT_THE_PRESS
    from chalkbeam.station.help import shift_words
    from chalkbeam.station.host import run_in_window
    from overlay.window.run import choose_display

    number = None if window else choose_display(rig.projector.size, display)
    print(AT_THE_PRESS, file=sys.stderr)

    def ready() -> Callable[[], StationController]:
        controller = prepare()
        output.prepare(controller.scene())  # so that it is up as soon as it is asked for
        return lambda: controller

    last = run_in_window(
        lambda tell: ready(), output, rig, number, beside=None, palette=palette,
        say=lambda sentence: print(sentence, file=sys.stderr),
    )  # fmt: skip
    if last is None:
        return
    progress = last.session.progress
    for index in range(len(progress.stops)):
        words = shift_words(progress.nudge(index), units)
        if words:
            title = last.readiness.prepared(index).choice.placement.location.title
            print(f"{title}: moved {words}")


def _write_pictures(
    controller: StationController, output: FrameCache, folder: Path, check: bool
) -> None:
    import cv2

    from calibration.files import write_whole
    from chalkbeam.record.events import Step
    from chalkbeam.record.progress import At

    scenes = {"check": controller.scene()} if check else {}
    for index, stop in enumerate(controller.session.progress.stops):
        for step in (Step.LOAD, Step.LAY):
            name = f"{index + 1}-{stop.imprint.location}-{step.value}"
            scenes[name] = controller.scene_at(At(index, step))
    for name, scene in scenes.items():
        frame = output.frame(scene)
        assert frame is not None  # lines are lit in these steps
        _, coded = cv2.imencode(".png", frame)
        write_whole(folder / f"{name}.png", coded.tobytes())
        print(folder / f"{name}.png")


def list_displays(json: JsonOption = False) -> None:
    """List the displays that a projector's picture could go to."""
    from overlay.window.run import displays

    found = displays()
    if json:
        import json as as_json

        listed = [
            {"number": each.number, "size": list(each.size), "socket": each.name} for each in found
        ]
        print(as_json.dumps(listed))
        return
    for each in found:
        socket = f"  {each.name}" if each.name else ""
        main = "  (main)" if each.number == 1 else ""
        print(f"{each.number}  {each.size[0]}x{each.size[1]}{socket}{main}")


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    app.command("project")(show_light)
    app.command("displays")(list_displays)
