"""`chalkbeam orders`: open and finished orders, found again by customer, name or date."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chalkbeam.cli.options.as_json import JsonOption

if TYPE_CHECKING:
    from chalkbeam.record.found import FoundOrder


def list_orders(
    words: Annotated[
        list[str] | None,
        typer.Argument(help="What to look for: customer, title, a name on a shirt, 2026-11-26."),
    ] = None,
    still_open: Annotated[
        bool, typer.Option("--open", help="Only those that something is left of.")
    ] = False,
    record: Annotated[Path | None, typer.Option(help="The record; the shop's own without.")] = None,
    json: JsonOption = False,
) -> None:
    """List open and finished orders, the newest first, and how to go on or press one again."""
    from chalkbeam.record.found import find_orders
    from chalkbeam.record.store import Store, is_record, record_file

    path = record or record_file()
    orders: tuple[FoundOrder, ...] = ()
    if is_record(path):  # a record is not made for looking
        with Store(path) as store:
            orders = find_orders(store, words or ())
    shown = [each for each in orders if not (still_open and each.finished)]
    if json:
        import json as json_module
        from dataclasses import asdict

        typer.echo(json_module.dumps([asdict(each) for each in shown], ensure_ascii=False))
        return
    if not shown:
        typer.echo("No order is found: look for less, or see them all without words.")
        return
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal

    table = Table("run", "begun", "order", "customer", "pressed", "", box=None, pad_edge=False)
    for each in shown:
        state = f"finished {each.ended}" if each.finished else "open"
        spoiled = f", {each.spoiled} spoiled" if each.spoiled else ""
        customer = " ".join(part for part in (each.customer, each.order_number) if part)
        table.add_row(
            each.run[:8], each.begun, each.title, customer,
            f"{each.pressed} of {each.imprints}", f"{state}{spoiled}",
        )  # fmt: skip
    console = terminal()
    console.print(table)
    if len(shown) == 1:
        (only,) = shown
        again = f"chalkbeam run {only.sheet}"
        again += f" --again {only.run[:8]}" if only.finished else ""
        console.print(f"\n{'Press it again' if only.finished else 'Go on'}: {again}")


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("orders")(list_orders)
