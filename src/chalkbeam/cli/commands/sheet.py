"""`chalkbeam sheet`: run sheets before the press: check one, plan its order, get a sample."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import UnitsOption
from chalkbeam.cli.options.order import (
    ArtworkOption,
    AsListedOption,
    FirstOption,
    PrintedOption,
    SheetArgument,
    SheetUnitOption,
    TimesOption,
    plan_order,
    read_order,
    read_print_list,
)
from chalkbeam.cli.options.rig import open_platens
from chalkbeam.cli.transfer_words import spare_words

if TYPE_CHECKING:
    from chalkbeam.orders.order_of_work import Plan
    from chalkbeam.orders.sheet import RunSheet

sheet_app = typer.Typer(
    help="Run sheets: check one, plan the order of work, get a sample.", no_args_is_help=True
)

OrderRigOption = Annotated[
    list[str] | None,
    typer.Option(help="Rig the order is for, with all its platens; repeat for more. Any without."),
]


def counted(count: int, word: str) -> str:
    """Return a count with its word, such as “1 piece”, “2 pieces”."""
    return f"{count} {word}{'' if count == 1 else 's'}"


def _colour_notes(order: RunSheet) -> list[str]:
    from chalkbeam.garments.fabrics import find_fabric

    notes = []
    for colour in dict.fromkeys(piece.colour for piece in order.pieces):
        if colour:
            try:
                find_fabric(colour)
            except Refusal as refusal:
                notes.append(f"{refusal} Until then the usual line colours are shown.")
    return notes


def _together_notes(order: RunSheet) -> list[str]:
    """Return how often names and numbers are pressed, where there are both."""
    from chalkbeam.orders.together import pressed_once

    once, twice = pressed_once(order.pieces)
    notes = []
    if once:
        many = counted(once, "piece")
        notes.append(f"Name and number of {many} are laid together and pressed once.")
    if twice:
        many = counted(twice, "piece")
        notes.append(
            f"Name and number of {many} do not go under one head together: they are pressed one "
            "after the other."
        )
    return notes


@sheet_app.command("check")
def check_sheet(
    sheet: SheetArgument,
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    rig: OrderRigOption = None,
    printed: PrintedOption = None,
    json: JsonOption = False,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Read a run sheet, place all of it, and say what is in it or everything that is wrong.

    With what was printed, exit 1 where a transfer is short.
    """
    from collections import Counter

    from chalkbeam.orders.garment_words import pile_words
    from chalkbeam.orders.precheck import on_file

    lay = on_file()
    if rig:
        from chalkbeam.station.ready_imprint import ImprintPreparer

        lay = ImprintPreparer(open_platens(rig)).lay
    order = read_order(sheet, unit, artwork, lay, units)
    notes = [*order.notes, *_colour_notes(order), *_together_notes(order)]
    transfers: list[str] = []
    if printed is not None:
        from chalkbeam.orders.cut_list import cut_list

        there = read_print_list(printed, order, order.pieces, unit, artwork)
        notes += there.notes
        found = cut_list(order.pieces, there)
        transfers = spare_words(found, units) or ["As many as the order takes."]
    short = any(each.startswith("Short") for each in transfers)
    piles = Counter(pile_words(piece.pile) for piece in order.pieces)
    imprints = sum(len(piece.imprints) for piece in order.pieces)
    if json:
        import json as json_module
        from dataclasses import asdict

        pieces = [asdict(piece) for piece in order.pieces]
        typer.echo(
            json_module.dumps(
                {
                    "digest": order.digest,
                    "pieces": pieces,
                    "notes": notes,
                    "cautions": list(order.cautions),
                    "transfers": transfers,
                },
                default=lambda value: getattr(value, "value", str(value)),
                ensure_ascii=False,
            )
        )
        if short:
            raise typer.Exit(1)
        return
    from rich.padding import Padding
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal

    console = terminal()
    console.print(
        f"{sheet.name}: {counted(len(order.pieces), 'piece')}, {counted(imprints, 'imprint')}.\n"
    )
    table = Table("pieces", "garment", "colour", "size", box=None, pad_edge=False)
    table.columns[0].justify = "right"
    for pile, count in piles.items():
        table.add_row(str(count), *pile.split(" · "))
    console.print(table)
    for note in notes:
        console.print(f"\nNote: {note}")
    if order.cautions:
        console.print("\nLook before pressing:")
        for caution in order.cautions:
            console.print(Padding(caution, (0, 0, 0, 2)))
    if transfers:
        console.print("\nTransfers:")
        for said in transfers:
            console.print(Padding(said, (0, 0, 0, 2)))
    if short:
        raise typer.Exit(1)


@sheet_app.command("plan")
def plan_sheet(
    sheet: SheetArgument,
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    times: TimesOption = "",
    first: FirstOption = "",
    as_listed: AsListedOption = False,
    rig: OrderRigOption = None,
    json: JsonOption = False,
) -> None:
    """Show the order of work, its estimate, and what it saves over the sheet and measuring."""
    order = read_order(sheet, unit, artwork)
    choose = lay = None
    if rig:
        from chalkbeam.station.platen_choice import on_the_press
        from chalkbeam.station.ready_imprint import ImprintPreparer

        preparer = ImprintPreparer(open_platens(rig))
        choose, lay = on_the_press(preparer), preparer.lay
    planned = plan_order(order, times, first, as_listed, choose, lay)
    if json:
        _print_plan_json(planned)
        return
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal
    from chalkbeam.orders.stretches import heated_lines, stretches
    from chalkbeam.orders.times import Times, format_duration

    console = terminal()
    table = Table(
        "", "pieces", "garments", "location", "artwork", "change before it",
        box=None, pad_edge=False, header_style="bold",
    )  # fmt: skip
    for number, each in enumerate(stretches(planned), start=1):
        pieces = f"{len(each.pieces)}\n{each.codes}"
        table.add_row(str(number), pieces, each.pile, each.location, each.stack, each.changes)
    console.print(table)
    console.print()
    kinds = {"platen": "platens", "setting": "settings", "pad": "pads", "load": "loads",
             "turn": "turns", "stack": "transfer piles", "pile": "garment piles"}  # fmt: skip
    summary = Table("", "time", *kinds.values(), box=None, pad_edge=False, header_style="bold")
    for column in summary.columns[1:]:
        column.justify = "right"
    for name, seconds, changes in (
        ("this order", planned.seconds, planned.changes),
        ("the sheet's own order", planned.as_listed, planned.listed_changes),
        ("… measured by hand", planned.by_hand, planned.listed_changes),
    ):
        summary.add_row(name, format_duration(seconds), *(str(changes[kind]) for kind in kinds))
    console.print(summary)
    for said in heated_lines(planned):
        console.print(f"\n{said}")
    assumed = [
        f"{name} {value:g}"
        for name, value in vars(Times()).items()
        if f"{name}=" not in times.replace(" ", "")
    ]
    console.print(
        f"\nAn estimate, by seconds a step: {', '.join(assumed)} are assumptions; put in the "
        "shop's own with --times. Measuring by hand: up to a minute a piece (common practice).",
    )
    if planned.bound:
        over = planned.seconds / planned.bound - 1
        console.print(
            f"No order can take less than {format_duration(planned.bound)} by these seconds: this "
            f"one is {over:.1%} above that.",
        )


def _print_plan_json(planned: Plan) -> None:
    import json

    typer.echo(
        json.dumps(
            {
                "seconds": round(planned.seconds, 1),
                "as_listed_seconds": round(planned.as_listed, 1),
                "by_hand_seconds": round(planned.by_hand, 1),
                "bound_seconds": round(planned.bound, 1),
                "changes": planned.changes,
                "listed_changes": planned.listed_changes,
                "stops": [
                    {
                        "imprint": stop.imprint.id,
                        "piece": stop.piece.id,
                        "location": stop.imprint.location,
                        "artwork": stop.imprint.art.text,
                        "platen": stop.fit.platen,
                        "pad": stop.fit.pad,
                        "loading": stop.fit.loading,
                        "changes": list(stop.changes),
                        "heats": [heated.print_.id for at, heated in planned.heated if at is stop],
                        "seconds": round(stop.seconds, 1),
                    }
                    for stop in planned.stops
                ],
            },
            ensure_ascii=False,
        )
    )


@sheet_app.command("sample")
def sample_sheet(
    out: Annotated[Path, typer.Option(help="Folder to put the sample into.")] = Path(
        "tern-harbour"
    ),
) -> None:
    """Write a sample order to work from: an invented rowing club's, with its artwork."""
    from chalkbeam.simulator.tern_harbour import SHEET, write_sample

    if (out / SHEET).exists():
        raise Refusal(
            f"“{out / SHEET}” is there already and may be your own work: name another folder "
            "with --out, or move it away."
        )
    path = write_sample(out)
    typer.echo(f"{path} and the artwork beside it; look at it with: chalkbeam sheet check {path}")


@sheet_app.command("rescue")
def rescue_record(
    record: Annotated[Path, typer.Argument(help="The damaged record.")],
    out: Annotated[Path, typer.Option(help="The new record to write.")],
) -> None:
    """Save what can be read of a damaged record into a new one."""
    from chalkbeam.record.rescue import rescue

    saved = rescue(record, out)
    runs = "1 run" if saved.runs == 1 else f"{saved.runs} runs"
    typer.echo(
        f"{runs} with {saved.events} events saved in {out}; "
        f"{saved.sure}{saved.lost} {'act' if saved.lost == 1 else 'acts'} could not be read. "
        f"{record} was left as it is."
    )
    for gap in saved.gaps[:MOST_GAPS]:
        typer.echo(f"  lost: {gap}", err=True)
    if len(saved.gaps) > MOST_GAPS:
        typer.echo(f"  … and {len(saved.gaps) - MOST_GAPS} more gaps.", err=True)
    for run in saved.orphans:
        typer.echo(
            f"Of the run {run[:8]} only its events could be saved, not its order of work: it "
            "cannot be gone on with; begin a new run of the same sheet.",
            err=True,
        )
    if saved.lost:
        typer.echo(
            "What was pressed in the lost acts is not known any more: count the finished "
            "garments before you go on, and jump to the first that is not done (key J).",
            err=True,
        )
    if saved.lost and not saved.events:
        raise typer.Exit(1)


MOST_GAPS = 12
"""More gaps than this are only counted."""


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(sheet_app, name="sheet")
