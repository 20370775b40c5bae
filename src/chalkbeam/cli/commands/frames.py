"""`chalkbeam frames`: load lines, or a sheet's edges and a cross, as a file for a laser scanner.

Exit 0: written. 2: bad input.
"""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.options.artwork import (
    ArtOption,
    HeightOption,
    TextOption,
    TurnOption,
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
from chalkbeam.cli.options.loading import CollarOption, OnTopOption, PadOption, read_loading
from chalkbeam.cli.options.scanner import ScannerOption, ask_class


class Shown(StrEnum):
    """What a frame shows."""

    LOAD = "load"
    LAY = "lay"
    INK = "ink"
    LETTERING = "lettering"


REFUSED = {
    Shown.INK: "The outline of ink is not written for a scanner: its path is metres long, would "
    "be drawn a few times a second and flicker. The sheet's edges and a cross show its place.",
    Shown.LETTERING: "Lettering is not written for a scanner: its many corners would make the "
    "picture flicker. Words stand on the window and on the page.",
}


def write_frames(
    scanner: ScannerOption,
    style: StyleOption,
    size: SizeOption,
    location: Annotated[str, typer.Option(help="Location, such as left-chest or “full back”.")],
    platen: Annotated[str, typer.Option(help="Platen by name or size, such as 16x20in.")],
    show: Annotated[
        Shown, typer.Option(help="load: where the garment goes; lay: sheet edges and a cross.")
    ] = Shown.LOAD,
    without: Annotated[
        list[str] | None,
        typer.Option(help="Leave lines out: centre line, armpits, “seams and edges”, …"),
    ] = None,
    art: ArtOption = None,
    text: TextOption = None,
    width: WidthOption = None,
    height: HeightOption = None,
    turn: TurnOption = None,
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    pad: PadOption = None,
    collar: CollarOption = None,
    on_top: OnTopOption = False,
    form: Annotated[
        int, typer.Option("--format", help="ILDA format: 5, or 4 with a depth of zero.")
    ] = 5,
    out: Annotated[Path, typer.Option(help="File to write, .ild.")] = Path("frames.ild"),
    units: UnitsOption = Unit.INCH,
    as_json: JsonOption = False,
) -> None:
    """Write the lines of one imprint in ILDA's open frame format, for your scanner's own player."""
    from calibration.files import check_can_write, write_whole
    from chalkbeam.lasers.frames import WANTED_LEAST, lay_frame, load_frame, path_of
    from chalkbeam.lasers.scanner import read_scanner
    from chalkbeam.locations import location as find_location
    from chalkbeam.placement import Impossible, place
    from chalkbeam.placement.loading import OffPlaten
    from overlay.laser.ilda import ilda_bytes

    if show in REFUSED:
        raise Refusal(REFUSED[show])
    if form not in (4, 5):
        raise Refusal(f"Format {form} is not written: choose 5, or 4 where a player wants it.")
    unknown = sorted(set(without or ()) - set(WANTED_LEAST))
    if unknown:
        raise Refusal(f"There are no lines “{unknown[0]}”: choose from {', '.join(WANTED_LEAST)}.")
    check_can_write(out, ".ild")
    unit = read_scanner(scanner)
    garment = find_garment(style, size, fit, measured)
    found = find_location(location)
    artwork = read_art(art, text, garment, found, width=width, height=height)
    try:
        placement = place(garment, found, artwork, turn=read_turn(turn))
        loading = read_loading(placement, platen, pad, collar, None, None, on_top)
    except (Impossible, OffPlaten) as refusal:
        raise Refusal(refusal.words.say(units)) from None
    assert loading is not None  # a platen was named
    make = load_frame if show is Shown.LOAD else lay_frame
    lines = [line for line in make(placement, loading) if line.name not in (without or ())]
    path = path_of(lines, unit)
    ask_class(unit)
    write_whole(out, ilda_bytes([(show.value, path)], form=4 if form == 4 else 5))
    rate = path.rate(unit.points_a_second)
    told = {
        "written": str(out), "points": len(path.signals), "lit": int(path.lit.sum()),
        "rate_hz": round(rate, 1), "height_mm": round(loading.height, 3),
        "lines": sorted({line.name for line in lines}), "fitted": unit.fit is not None,
    }  # fmt: skip
    if as_json:
        print_json(told)
        return
    print(f"Wrote {out}: {', '.join(sorted({line.name for line in lines}))}; "
          f"{len(path.signals)} points, drawn {rate:.0f} times a second.")  # fmt: skip
    if unit.fit is None:
        print("The scanner's geometry is as stated, not measured: lines may lie centimetres off. "
              "See chalkbeam scanner.", file=sys.stderr)  # fmt: skip


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("frames")(write_frames)
