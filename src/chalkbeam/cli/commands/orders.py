"""`chalkbeam orders`: open and finished orders, found again by customer, name or date."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.display import DisplayOption, WindowOption
from chalkbeam.cli.options.record import RecordOption, queue_address, record_path
from chalkbeam.cli.options.shift import OperatorOption, RigsOption
from chalkbeam.web.settings import PORT

if TYPE_CHECKING:
    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.record.found import FoundOrder


def list_orders(
    words: Annotated[
        list[str] | None,
        typer.Argument(help="What to look for: customer, title, a name on a shirt, 2026-11-26."),
    ] = None,
    still_open: Annotated[
        bool, typer.Option("--open", help="Only those that something is left of.")
    ] = False,
    press: Annotated[
        bool,
        typer.Option(
            "--press",
            help="Go on with the one order that is found, or press it again where it lay before.",
        ),
    ] = False,
    rig: RigsOption = None,
    operator: OperatorOption = "",
    display: DisplayOption = None,
    window: WindowOption = False,
    record: RecordOption = None,
    watch: Annotated[
        bool, typer.Option("--watch", help="With a queue: the board of all presses, live.")
    ] = False,
    settle: Annotated[
        int | None,
        typer.Option(
            help="With a queue: settle what two presses say differently, by its number, once you "
            "have looked at the garment."
        ),
    ] = None,
    counts: Annotated[
        bool | None,
        typer.Option(
            "--counts/--waste", help="With --settle: that press counts, or the garment is waste."
        ),
    ] = None,
    json: JsonOption = False,
) -> None:
    """List open and finished orders, the newest first; go on with one, or press it again.

    With a queue that several presses share: who presses what, how far, and what waits for what.
    """
    from chalkbeam.cli.show_board import show_queue

    address = queue_address(record)
    if address is not None:
        if press or words:
            raise Refusal(
                "A queue is shown whole: leave the words and --press out; “chalkbeam run” and a "
                "run's number press one of its orders."
            )
        show_queue(address, still_open, watch, settle, counts, json)
        return
    if watch or settle is not None or counts is not None:
        raise Refusal(
            "--watch, --settle, --counts and --waste are for a queue of several presses: give its "
            "address with --record."
        )
    from chalkbeam.cli.open_page import page_beside
    from chalkbeam.cli.run_again import read_as_before
    from chalkbeam.cli.run_at_press import run_at_press
    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.record.found import find_orders
    from chalkbeam.record.store import Store, is_record

    path = record_path(record)
    orders: tuple[FoundOrder, ...] = ()
    if is_record(path):  # a record is not made for looking
        with Store(path) as store:
            orders = find_orders(store, words or ())
    shown = [each for each in orders if not (still_open and each.finished)]
    if press:
        asked = _to_press(shown, RunOptions(
            Path(), rig=tuple(rig or ()), operator=operator, display=display, window=window,
            record=record,
        ))  # fmt: skip
        with Store(path) as store:
            pieces = dict.fromkeys(stop.piece for stop in store.run(shown[0].run).stops)
        asked = read_as_before(asked, pieces)
        run_at_press(asked, page_beside(PORT, False, None if record is None else path, True, None))
        return
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
        again = f"chalkbeam orders {only.run[:8]} --press"
        console.print(f"\n{'Press it again' if only.finished else 'Go on'}: {again}")


def _to_press(shown: Sequence[FoundOrder], asked: RunOptions) -> RunOptions:
    """Return what is asked of the run that goes on with the order found, or repeats it.

    Raises
    ------
    Refusal
        If none or several are found, or its sheet is not there any more.
    """
    if len(shown) != 1:
        raise Refusal(
            f"{len(shown) or 'No'} orders are found, and one can be pressed: look for it by "
            "customer, day or name, or by the run's number."
        )
    (only,) = shown
    sheet = Path(only.sheet)
    if not sheet.is_file():
        raise Refusal(f"The sheet {sheet} is there no more: put it back, or a copy of it.")
    again = only.run if only.finished else None
    return replace(asked, sheet=sheet, again=again, title=only.title)


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("orders")(list_orders)
