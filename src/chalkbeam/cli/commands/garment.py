"""`chalkbeam garment`: the garments Chalkbeam knows, their measures and landmarks, drawn."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, cast

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import (
    FitOption,
    MeasuredOption,
    SizeOption,
    StyleOption,
    UnitsOption,
    find_garment,
)

if TYPE_CHECKING:
    from chalkbeam.garments import Face, Fit, Garment, Landmark, Measure

garments_app = typer.Typer(
    help="Garments: list them, show or draw one, import the shop's size chart.",
    no_args_is_help=True,
)


@garments_app.command("list")
def list_garments(json: JsonOption = False) -> None:
    """List the styles with their fits and sizes."""
    from chalkbeam.garments import FITS, sizes, styles

    known = {
        style: {fit: sizes(style, fit=fit) for fit in FITS if sizes(style, fit=fit)}
        for style in styles()
    }
    if json:
        print_json(known)
        return
    from rich.table import Table

    table = Table("style", "fit", "sizes", box=None, pad_edge=False, header_style="bold")
    for style, fits in known.items():
        for fit, names in fits.items():
            table.add_row(style if fit == next(iter(fits)) else "", fit, "  ".join(names))
    _print(table)


@garments_app.command("show")
def show_garment(
    style: StyleOption,
    size: SizeOption,
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    units: UnitsOption = Unit.INCH,
    json: JsonOption = False,
) -> None:
    """Show a garment's measures and the landmarks of each face."""
    garment = find_garment(style, size, fit, measured)
    if json:
        print_json(as_json(garment))
        return
    from rich.table import Table
    from rich.text import Text

    from chalkbeam.basics.units import format_length

    head = (
        f"{garment.label}: cloth {format_length(garment.thickness, Unit.MM, 1)} thick, pieces "
        f"differ by ± {format_length(garment.tolerance, units)}"
    )
    _print(Text(head, style="bold"))
    _print(Text(_basis(garment)))
    table = Table("measure", "length", "±", "where it comes from", box=None, header_style="bold")
    table.columns[1].justify = table.columns[2].justify = "right"
    for column in table.columns[:3]:
        column.no_wrap = True
    for name, measure in garment.measures.items():
        table.add_row(
            Text(name.replace("_", " ")),
            format_length(measure.value, units),
            format_length(measure.tolerance, units),
            Text(_origin(name, measure), style="italic" if measure.derived else ""),
        )
    _print(table)
    for name in garment.faces:
        _print(Text(""))
        _print(_landmarks(garment.face(name), units))
    _print(Text("\n* graded by a rule, neither in a chart nor measured"))


def _basis(garment: Garment) -> str:
    """Return where a garment's figures come from, as a sentence."""
    measures = garment.measures.values()
    graded = sum(measure.derived is not None for measure in measures)
    assumed = sum(measure.assumed for measure in measures)
    if not assumed:
        return f"{len(measures)} measures, {graded} of them graded."
    return (
        f"{len(measures)} measures, {graded} of them graded; {assumed} are assumed, from memory or "
        "common practice: import your supplier's chart, or measure the piece."
    )


def _origin(name: str, measure: Measure) -> str:
    if measure.derived is None:
        return measure.source
    how = measure.derived.removeprefix(f"{name.replace('_', ' ')}, ")
    return f"{how} ({measure.source})"


def _landmarks(face: Face, units: Unit) -> object:
    from rich.table import Table

    from chalkbeam.basics.units import format_length

    table = Table(
        face.name.replace("_", " "), "down", "±", "  across", "left or right", "±",
        box=None, header_style="bold",
    )  # fmt: skip
    for index in (1, 2, 4, 5):
        table.columns[index].justify = "right"
    along = sorted(face.along.items(), key=lambda item: item[1].value)
    across = sorted(face.across.items(), key=lambda item: item[1].value)

    def cells(marks: list[tuple[str, Landmark]], index: int) -> tuple[str, str, str]:
        if index >= len(marks):
            return "", "", ""
        name, mark = marks[index]
        return (
            name.replace("_", " "),
            format_length(mark.value, units) + ("*" if mark.derived else " "),
            format_length(mark.tolerance, units) if mark.tolerance else "",
        )

    for index in range(max(len(along), len(across))):
        first, second = cells(along, index), cells(across, index)
        table.add_row(*first, f"  {second[0]}", *second[1:])
    return table


def as_json(garment: Garment) -> dict[str, object]:
    """Return a garment as plain values, lengths in mm."""
    return {
        "style": garment.style,
        "size": garment.size,
        "fit": garment.fit,
        "label": garment.label,
        "age": garment.age,
        "thickness_mm": garment.thickness,
        "tolerance_mm": garment.tolerance,
        "measures": {
            name: {
                "mm": measure.value,
                "tolerance_mm": measure.tolerance,
                "derived": measure.derived,
                "source": measure.source,
                "assumed": measure.assumed,
            }
            for name, measure in garment.measures.items()
        },
        "faces": {name: _face_json(garment.face(name)) for name in garment.faces},
    }


def _face_json(face: Face) -> dict[str, object]:
    return {
        **{
            axis: {
                name: {"mm": m.value, "tolerance_mm": m.tolerance, "derived": m.derived}
                for name, m in marks.items()
            }
            for axis, marks in (("along", face.along), ("across", face.across))
        },
        "outline_mm": face.outline.round(2).tolist(),
        "areas": [
            {
                "name": area.name,
                "kind": area.kind,
                "hard": area.hard,
                "polygon_mm": area.polygon.round(2).tolist(),
            }
            for area in face.areas
        ],
    }


@garments_app.command("draw")
def draw(
    style: StyleOption,
    size: SizeOption,
    out: Annotated[Path, typer.Option(help="Where to: .png, .svg or .pdf.")],
    fit: FitOption = "regular",
    measured: MeasuredOption = None,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Draw a garment flat, every face, with its landmarks named."""
    from chalkbeam.paper.drawing import draw_garment
    from chalkbeam.paper.drawing_files import save_drawing

    garment = find_garment(style, size, fit, measured)
    save_drawing(draw_garment(garment, units), out, garment.label)
    print(f"{garment.label}: {out}")


@garments_app.command("import")
def import_sizes(
    file: Annotated[Path, typer.Argument(help="CSV or XLSX: a row for each size, or a column.")],
    style: Annotated[str, typer.Option(help="The style that these garments are cut like.")],
    name: Annotated[
        str | None, typer.Option(help="A name of your own, such as “House tee”.")
    ] = None,
    unit: Annotated[
        Literal["in", "mm", "cm"] | None,
        typer.Option(help="Unit of numbers that carry none, neither in cell nor header."),
    ] = None,
    fit: FitOption = "regular",
    maker: Annotated[str, typer.Option(help="Who makes it, such as “Harrow Mill”.")] = "",
    number: Annotated[str, typer.Option(help="The maker's style number, such as HM200.")] = "",
    sure: Annotated[
        bool, typer.Option("--sure", help="Believe lengths that differ much from the usual.")
    ] = False,
    replace: Annotated[bool, typer.Option(help="Replace an earlier chart of that name.")] = False,
    json: JsonOption = False,
) -> None:
    """Import the shop's size chart; every fault is listed, and then nothing is stored."""
    from chalkbeam.garments.charts import import_chart
    from chalkbeam.garments.charts.reading import NO_UNIT

    stored, read = import_chart(
        file, style, name=name, unit=unit, fit=cast("Fit", fit), replace=replace,
        sure=sure, maker=maker, number=number,
    )  # fmt: skip
    if json:
        print_json(
            {
                "stored": str(stored) if stored else None,
                "sizes": [size.name for size in read.sizes],
                "unused_columns": list(read.unused),
                "left_out": list(read.left_out),
                "notes": list(read.notes),
                "problems": [problem._asdict() for problem in read.problems],
            }
        )
    elif stored:
        print(f"Stored {len(read.sizes)} sizes: {stored}")
    if read.unused and not json:
        print(f"Not used: {', '.join(read.unused)}")
    for note in () if json else read.notes:
        print(note)
    if read.left_out and not json:
        print(f"Left out, being no size: {', '.join(read.left_out)}")
    if stored:
        return
    if not json:
        for problem in read.problems:
            where = f"row {problem.row}" + (f", column {problem.column}" if problem.column else "")
            asked = " On the command line: --unit." if problem.sentence == NO_UNIT else ""
            print(f"{where}: {problem.sentence}{asked}")
    count = len(read.problems)
    many = "1 problem" if count == 1 else f"{count} problems"
    raise Refusal(f"{file.name} has {many} and nothing was stored: correct it and import it again.")


def _print(part: object) -> None:
    from chalkbeam.cli.terminal import terminal

    terminal().print(part)


def register(app: typer.Typer) -> None:
    """Add the group to the program."""
    app.add_typer(garments_app, name="garment")
