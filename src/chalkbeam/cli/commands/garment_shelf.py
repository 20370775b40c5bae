"""`chalkbeam garment shelf` and `measure`: the shop's garments by maker and style number."""

from __future__ import annotations

from typing import Annotated, cast

import typer

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
    number: Annotated[str, typer.Option(help="The maker's style number, such as HM200.")] = "",
    fit: FitOption = "regular",
) -> None:
    """Keep a piece that was measured as a size of its maker's style, and scale the other sizes."""
    from chalkbeam.garments import Fit
    from chalkbeam.garments.charts.measured import keep_measured

    stored = keep_measured(
        style, size, read_measured(measured), maker=maker, number=number, fit=cast(Fit, fit)
    )
    print(f"{maker} {number}".strip() + f": {size} as measured, the other sizes scaled: {stored}")


@garments_app.command("shelf")
def list_shelf(json: JsonOption = False) -> None:
    """List the shop's own garments by maker and style number."""
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal
    from chalkbeam.garments import FITS, charts_folder, sizes
    from chalkbeam.garments.library import shop_charts

    charts = shop_charts()
    charts.remark()
    shelf = sorted(charts.found.items(), key=lambda each: (each[1].maker, each[1].number, each[0]))
    sized = {key: [s for fit in FITS for s in sizes(key, fit=fit)] for key, _ in shelf}
    if json:
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
