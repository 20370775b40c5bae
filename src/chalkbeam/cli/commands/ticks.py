"""`chalkbeam ticks`: a sheet of ticks that line lasers are aimed at, for a press without light.

Exit 0: written. 2: bad input.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal, RemedyKind
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import FitOption, UnitsOption
from chalkbeam.cli.options.lasers import TickPlatenOption, place_blank, read_sizes, sizes_order
from chalkbeam.cli.options.length import read_length
from chalkbeam.cli.options.loading import CollarOption, read_collar
from chalkbeam.cli.options.order import (
    ArtworkOption,
    AsListedOption,
    FirstOption,
    SheetUnitOption,
    TimesOption,
    plan_order,
    read_order,
)
from chalkbeam.cli.options.paper import Paper, PaperOption

if TYPE_CHECKING:
    from chalkbeam.lasers.aims import AimPlan
    from chalkbeam.paper.ticks import TickSheet


def tick_sheet(
    sheet: Annotated[
        Path | None, typer.Argument(help="The order, CSV or XLSX; without one see --style.")
    ] = None,
    platen: TickPlatenOption = None,
    lasers: Annotated[
        str, typer.Option(help="File of the shop's line lasers, or “two lines”.")
    ] = "two lines",
    style: Annotated[str | None, typer.Option(help="Without an order: the garment.")] = None,
    sizes: Annotated[str, typer.Option(help="Its sizes: S-2XL, or S,M,L.")] = "",
    location: Annotated[
        list[str] | None, typer.Option(help="A location, such as left-chest; may be repeated.")
    ] = None,
    art: Annotated[
        Path | None, typer.Option(help="Its artwork; a box of the usual size without.")
    ] = None,
    text: Annotated[str | None, typer.Option(help="A name or number in place of --art.")] = None,
    width: Annotated[str | None, typer.Option(help="Width of the ink, such as 3.5in.")] = None,
    fit: FitOption = "regular",
    pad: Annotated[
        str, typer.Option(help="Without an order: a raised pad, such as 10x10x0.5in.")
    ] = "",
    collar: CollarOption = None,
    on_top: Annotated[
        bool, typer.Option("--on-top", help="Garments lie on the platen with both layers.")
    ] = False,
    share: Annotated[
        str, typer.Option(help="How far a line may lie beside its place to share a tick.")
    ] = "0.5 mm",
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    times: TimesOption = "",
    first: FirstOption = "",
    as_listed: AsListedOption = False,
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("ticks.pdf"),
    paper: PaperOption = Paper.LETTER,
    units: UnitsOption = Unit.INCH,
    as_json: JsonOption = False,
) -> None:
    """Write strips to tape along the platen's edges, with ticks that line lasers are aimed at."""
    from calibration.files import check_can_write, write_whole
    from chalkbeam.cli import cautions
    from chalkbeam.lasers.aims import plan_aims
    from chalkbeam.lasers.hung import find_lasers
    from chalkbeam.orders.order_of_work import plan
    from chalkbeam.orders.shop import fit_on_press
    from chalkbeam.paper.ticks import TickSheet, WorkedStop, tick_sheet_pdf
    from chalkbeam.placement.platens import platen as find_platen
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from chalkbeam.station.tick_guide import lines_of, ready_stops
    from chalkbeam.station.tick_view import rig_from_above

    check_can_write(out, ".pdf")
    pointing = read_collar(collar)
    if not platen:
        raise Refusal("Name the platen that the strips are for, such as --platen 16x20in.")
    beside = parse_length(share)
    if not 0 <= beside <= 10:
        raise Refusal(f"--share {share} is not possible: give 0 mm to 10 mm.")
    hung = find_lasers(lasers)
    rigs = [rig_from_above(find_platen(each)) for each in platen]
    if (sheet is None) == (style is None):
        raise Refusal("Name an order, or a garment with --style, --sizes and --location.")
    blank = sheet is None and art is None and text is None
    preparer = ImprintPreparer(rigs, pointing, not on_top, place=place_blank if blank else None)
    if sheet is not None:
        title = sheet.stem
        stops = plan_order(read_order(sheet, unit, artwork), times, first, as_listed).stops
    else:
        assert style is not None  # one of the two was given
        if not location or not sizes:
            raise Refusal("Name --sizes, such as S-2XL, and at least one --location.")
        wide = read_length(width)
        pieces = sizes_order(
            style, read_sizes(style, sizes, fit), tuple(location), fit, art, text, wide, pad
        )
        named = style.replace("-", " ").replace("_", " ")
        title = f"{named} {sizes}"
        stops = plan(pieces, choose=fit_on_press, as_listed=True).stops
    ready = ready_stops(stops, preparer)
    left_out = {_said(each): None for each in ready if isinstance(each, Refusal)}
    for said in left_out:
        print(f"Left out: {said}", file=sys.stderr)
    done = [
        (stop, each) for stop, each in zip(stops, ready, strict=True)
        if not isinstance(each, Refusal)
    ]  # fmt: skip
    if not done:
        raise Refusal("Nothing of it can be laid on the platen: see above.")
    aims = plan_aims([lines_of(each) for _, each in done], hung, beside)
    works = tuple(
        WorkedStop(stop, each.choice, set_up)
        for (stop, each), set_up in zip(done, aims.set_ups, strict=True)
    )
    made = TickSheet(title, aims, works, (cautions.LASERS, cautions.FIRST), units,
                     sheet is not None)  # fmt: skip
    write_whole(out, tick_sheet_pdf(made, paper.value))
    if as_json:
        print_json({**_plain(made), "left_out": list(left_out), "written": str(out)})
        return
    _tell(made, out)


def _said(refusal: Refusal) -> str:
    """Return a refusal in words; another platen is named here, not a rig."""
    rig = RemedyKind.RIG
    return "".join(
        each
        if isinstance(each, str)
        else "name it with --platen"
        if each.kind is rig
        else each.words
        for each in refusal.said
    )


def _plain(made: TickSheet) -> dict[str, object]:
    """Return the sheet for another program: mm and degrees."""
    import math

    faces = made.platens
    ticks = [
        {
            "label": stand.label, "platen": name, "angle_deg": round(math.degrees(stand.angle), 4),
            "edges": {
                tick.edge.value: round(tick.at, 3) + 0.0 for tick in stand.ticks(faces[name])
            },
        }
        for name in faces
        for stand in made.stands_on(name)
    ]  # fmt: skip
    stops = [
        {
            "imprint": work.stop.imprint.id, "location": work.choice.placement.location.name,
            "size": work.stop.piece.size, "platen": work.choice.loading.platen.name,
            "height_mm": round(work.choice.loading.height, 3),
            "aims": [
                {"tick": aim.stand.label, "line": aim.line.words, "beside_mm": round(aim.off, 3),
                 "tilt_known": not aim.unknown}
                for aim in work.set_up.aims
            ],
            "aim_first": list(work.set_up.moved),
            "missing": [line.words for line in work.set_up.missing],
        }
        for work in made.works
    ]  # fmt: skip
    return {
        "sheet": made.plan.check, "ticks": ticks, "stops": stops,
        "aims_again": made.plan.aims_again,
    }  # fmt: skip


def _tell(made: TickSheet, out: Path) -> None:
    """Say what was written, how few aims it takes and what is not known."""
    from chalkbeam.cli import cautions
    from chalkbeam.lasers.ticks import error_at
    from chalkbeam.paper.ticks import legs_of

    plan: AimPlan = made.plan
    pictures = max(leg.number for leg in legs_of(made.works))
    print(f"Wrote {out}, tick sheet {plan.check}: {len(plan.stands)} ticks, "
          f"{pictures} set-ups.")  # fmt: skip
    print(f"{len(made.works)} imprints in the order of work take {plan.aims_again} aims after the "
          "first set-up.")  # fmt: skip
    missing = sorted({line.words for work in made.works for line in work.set_up.missing})
    if missing:
        print(f"No laser can show: {', '.join(missing)}. Measure these, or let a laser turn.")
    unknown = sorted({
        aim.stand.laser.letter for work in made.works for aim in work.set_up.aims if aim.unknown
    })  # fmt: skip
    if unknown:
        height = max(work.choice.loading.height for work in made.works)
        print(
            f"Tilt of {', '.join(unknown)} unknown, so nothing is allowed for the cloth's height: "
            f"at {height:.1f} mm a line lies {error_at(height, 10):.1f} mm off for 10° of tilt, "
            f"{error_at(height, 30):.1f} mm for 30°."
        )
    print("Print at 100 % (“actual size”) and measure the bar: 100 mm.")
    print(f"{cautions.LASERS} {cautions.FIRST}", file=sys.stderr)


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("ticks")(tick_sheet)
