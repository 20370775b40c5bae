"""`chalkbeam sheet headings` and `chalkbeam sheet new`: what an order may say, and a blank one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.commands.sheet import sheet_app
from chalkbeam.cli.options.as_json import JsonOption


def show_headings(json: JsonOption = False) -> None:
    """List the headings that a run sheet may have, what else they may be called, and their use."""
    from dataclasses import asdict

    from chalkbeam.orders.headings import HEADINGS

    if json:
        import json as json_module

        typer.echo(json_module.dumps([asdict(each) for each in HEADINGS.values()]))
        return
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal

    console = terminal()
    for per_imprint, title in ((False, "a piece"), (True, "an imprint")):
        table = Table(f"of {title}", "what it says", "also called", box=None, pad_edge=False)
        for each in HEADINGS.values():
            if each.per_imprint is per_imprint:
                table.add_row(each.field, each.about, ", ".join(each.also))
        console.print(table)
        console.print()
    console.print(
        "Those of an imprint come again for a second one: “Location 2” or “Second location”, "
        "“Artwork 2”, “Second size”. Sizes may stand across, one column each, with the quantities "
        "below. What holds for the whole order may stand above the header: “Style: Crew tee”. A "
        "heading in brackets, “(Rep)”, leaves its column out."
    )


def new_sheet(
    out: Annotated[Path, typer.Argument(help="The order form to write: .xlsx.")],
    artwork: Annotated[
        Path | None,
        typer.Option(help="Folder whose artwork is offered; the form's own without."),
    ] = None,
) -> None:
    """Write a blank order form, with drop-downs of the shop's styles, sizes and locations."""
    from calibration.files import check_can_write, write_whole
    from chalkbeam.orders.form import blank_form

    check_can_write(out, ".xlsx")
    if out.exists():
        raise Refusal(f"{out} is there already and may be filled in: write to another name.")
    write_whole(out, blank_form(artwork or out.parent))
    typer.echo(f"{out}; fill it in, then look at it with: chalkbeam sheet check {out}")


def register(app: typer.Typer) -> None:
    """Add the commands to those of `chalkbeam sheet`."""
    sheet_app.command("headings")(show_headings)
    sheet_app.command("new")(new_sheet)
