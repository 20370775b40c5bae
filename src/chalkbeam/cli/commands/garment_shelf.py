"""`chalkbeam garment shelf` and `measure`: the shop's garments by maker and style number."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, cast

import typer

from calibration.files import read_whole
from calibration.refusal import Refusal
from chalkbeam.cli.answers import print_json
from chalkbeam.cli.commands.garment import garments_app
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import (
    FitOption,
    MeasuredOption,
    SizeOption,
    read_measured,
)


@garments_app.command("measure")
def measure_piece(
    style: Annotated[str, typer.Option(help="The style that the piece is cut like.")],
    size: SizeOption,
    maker: Annotated[str, typer.Option(help="Who makes it, such as “Harrow Mill”.")],
    measured: MeasuredOption = None,
    seen: Annotated[
        Path | None,
        typer.Option(help="What the press's camera read of the piece: eye read --json, as a file."),
    ] = None,
    number: Annotated[str, typer.Option(help="The maker's style number, such as HM200.")] = "",
    fit: FitOption = "regular",
) -> None:
    """Keep a piece that was measured as a size of its maker's style, and scale the other sizes."""
    from chalkbeam.garments import Fit
    from chalkbeam.garments.charts.measured import keep_measured

    taped = read_measured(measured)
    lengths = taped if seen is None else {**_seen(seen, taped), **taped}
    stored = keep_measured(style, size, lengths, maker=maker, number=number, fit=cast(Fit, fit))
    print(f"{maker} {number}".strip() + f": {size} as measured, the other sizes scaled: {stored}")
    missing = [name for name in FOUR if name not in lengths]
    if missing:
        listed = ", ".join(name.replace("_", " ") for name in missing)
        print(
            f"Scaled from the chart, not measured: {listed}. With a tape they are surer: "
            f"--measured {missing[0]}=…, and so on."
        )


FOUR = ("half_chest", "body_length", "neck_width", "front_neck_drop")
"""The lengths that most prints hang on; a camera reads the first."""


def _seen(place: Path, taped: Mapping[str, float]) -> dict[str, float]:
    """Return the lengths that a camera read of a piece, mm, from a file of its reading."""
    try:
        reading = json.loads(read_whole(place, LARGEST_READING))["size"]
        half, sure, why = reading["half_chest_mm"], reading["sure"], reading["why"]
        if not isinstance(half, int | float | None) or not isinstance(sure, bool):
            raise TypeError
    except OSError as error:
        raise Refusal(f"{place} cannot be read ({error.strerror}): check the name.") from None
    except (ValueError, KeyError, TypeError):
        raise Refusal(
            f"{place} is no reading of the camera: save what chalkbeam eye read --json prints."
        ) from None
    if "half_chest" in taped:
        raise Refusal("The half chest is given twice, by tape and by the camera: keep one of them.")
    if half is None or not sure:
        reason = f" ({why})" if why else ""
        raise Refusal(f"The camera is not sure how wide the piece is{reason}: measure it by tape.")
    return {"half_chest": float(half)}


LARGEST_READING = 50_000_000
"""Bytes; a reading with its heights takes a tenth of a megabyte."""


@garments_app.command("shelf")
def list_shelf(as_json: JsonOption = False) -> None:
    """List the shop's own garments by maker and style number."""
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal
    from chalkbeam.garments import charts_folder
    from chalkbeam.garments.library import shop_charts

    charts = shop_charts()
    charts.remark()
    shelf = sorted(charts.found.items(), key=lambda each: (each[1].maker, each[1].number, each[0]))
    sized = {  # the chart's own: the style's others are no news
        key: list(dict.fromkeys(size for table in chart.table for size in table.sizes))
        for key, chart in shelf
    }
    if as_json:
        print_json(
            {
                key: {
                    "maker": chart.maker,
                    "number": chart.number,
                    "label": chart.label,
                    "like": chart.like,
                    "basis": chart.basis,
                    "sizes": sized[key],
                }
                for key, chart in shelf
            }
        )
        return
    if not shelf:
        print(
            "The shelf is empty: import a supplier's chart (chalkbeam garment import), or measure "
            f"a piece (chalkbeam garment measure). Charts lie in {charts_folder()}."
        )
        return
    table = Table("maker", "number", "style", "cut like", "sizes", "from", box=None, pad_edge=False)
    for key, chart in shelf:
        table.add_row(
            chart.maker, chart.number, key, chart.like, "  ".join(sized[key]), chart.basis
        )
    terminal().print(table)


def register(app: typer.Typer) -> None:
    """Do nothing more: the commands are of the group that `garment` adds."""
    del app
