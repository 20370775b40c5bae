"""`chalkbeam transfers`: the shop's shelf of transfer products."""

from __future__ import annotations

import typer

from chalkbeam.cli.options.as_json import JsonOption

FORM = """[transfer."Velvet film"]
supplier = ""           # whose sheet the settings come from
temperature = "… °F"    # word for word as the supplier's sheet gives them
time = "… s"
pressure = ""
peel = ""               # hot, warm or cold
cooling = "… s"         # how long it cools on the garment before the peel
prepress = "… s"
second_press = ""       # how long again after the peel, and under what cover
carrier = "clear"       # clear, opaque or mirrored
margin = "0.25 in"      # blank carrier around the ink"""


def list_transfers(json: JsonOption = False) -> None:
    """List the transfer products on the shop's shelf, and where they are entered."""
    from chalkbeam.orders.transfers import transfers, transfers_file

    shelf = transfers()
    if json:
        import json as json_module

        found = {name: each.model_dump() for name, each in shelf.items()}
        typer.echo(json_module.dumps(found, ensure_ascii=False))
        return
    if not shelf:
        typer.echo(
            f"The shelf is empty. Enter each product in {transfers_file()}, from its supplier's "
            f"sheet, and leave out what that does not say:\n\n{FORM}\n\n"
            "Then name it in an order's Transfer column."
        )
        return
    from rich.table import Table

    from chalkbeam.basics.units import Unit, format_length
    from chalkbeam.cli.terminal import terminal

    table = Table(
        "transfer", "supplier", "temperature", "time", "pressure", "peel", "cooling", "prepress",
        "second press", "carrier", "margin", box=None, pad_edge=False,
    )  # fmt: skip
    for name, each in shelf.items():
        margin = "" if each.margin is None else format_length(each.margin, Unit.INCH)
        table.add_row(
            name, each.supplier, each.temperature, each.time, each.pressure, each.peel,
            each.cooling, each.prepress, each.second_press, each.carrier, margin,
        )  # fmt: skip
    console = terminal()
    console.print(table)
    console.print(f"\nEntered in {transfers_file()}.")


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("transfers")(list_transfers)
