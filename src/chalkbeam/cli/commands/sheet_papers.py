"""`chalkbeam sheet tickets`, `proof`, `pull` and `cut`: what goes with the garments."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chalkbeam.basics.units import Unit
from chalkbeam.cli.commands.sheet import counted, sheet_app
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.garment import UnitsOption
from chalkbeam.cli.options.order import (
    ArtworkOption,
    CameOption,
    PrintedOption,
    SheetArgument,
    SheetUnitOption,
    plan_order,
    read_order,
    read_print_list,
)
from chalkbeam.cli.options.paper import Paper, PaperOption
from chalkbeam.cli.terminal import say_doing
from chalkbeam.cli.transfer_words import spare_words

if TYPE_CHECKING:
    from chalkbeam.orders.pieces import Piece
    from chalkbeam.orders.sheet import RunSheet


class TicketPaper(StrEnum):
    """What tickets are printed on."""

    LETTER = "letter"
    A4 = "a4"
    LABEL = "label"


def write_tickets(
    sheet: SheetArgument,
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("tickets.pdf"),
    paper: Annotated[
        TicketPaper, typer.Option(help="A sheet of eight to cut apart, or labels of 4 x 2.5 in.")
    ] = TicketPaper.LETTER,
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Write a ticket for each piece, with the code that is scanned at the press."""
    from calibration.files import check_can_write, write_whole
    from chalkbeam.paper.tickets import tickets_pdf

    check_can_write(out, ".pdf")
    order = read_order(sheet, unit, artwork, absent=True)
    pieces = _in_order_of_work(order)
    write_whole(out, tickets_pdf(pieces, sheet.stem, paper.value, units))
    typer.echo(f"{out}: {len(pieces)} tickets, in the order of work.")


def proof_of_order(
    sheet: SheetArgument,
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("proof.pdf"),
    shop: Annotated[str, typer.Option(help="The shop's name, at the head of each page.")] = "",
    customer: Annotated[str, typer.Option(help="Written at the head.")] = "",
    date: Annotated[str, typer.Option(help="Written at the head.")] = "",
    title: Annotated[str, typer.Option(help="What the order is called, if not as its file.")] = "",
    paper: PaperOption = Paper.LETTER,
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Write a proof of the whole order on a few pages: every print, on all its sizes."""
    from calibration.files import check_can_write, write_whole
    from chalkbeam.orders.precheck import on_file
    from chalkbeam.paper.proof.entries import entries_of, wearers
    from chalkbeam.paper.proof.order import ProofHead, order_proof_pdf

    check_can_write(out, ".pdf")
    order = read_order(sheet, unit, artwork, on_file(), units)
    say_doing("Drawing the proof …")
    entries = entries_of(order.pieces, units)
    named = wearers(order.pieces)
    head = ProofHead(title or sheet.stem.replace("-", " "), shop, customer, date)
    write_whole(out, order_proof_pdf(entries, named, head, units, paper.value))
    typer.echo(
        f"{out}: a proof of {counted(len(entries), 'print')} on "
        f"{counted(len(order.pieces), 'piece')} to sign."
    )


def pull_garments(
    sheet: SheetArgument,
    came: CameOption = None,
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    json: JsonOption = False,
) -> None:
    """List the garments to take from the shelves; with what came in, what is short (exit 1)."""
    from chalkbeam.orders.garment_words import pile_words
    from chalkbeam.orders.pull import counted_in, pull_list

    order = read_order(sheet, unit, artwork, absent=True)
    counted = None if came is None else counted_in(came)
    piles = pull_list(order.pieces, counted)
    short = sum(each.short for each in piles)
    if json:
        import json as json_module
        from dataclasses import asdict

        found = [{**asdict(each), "short": each.short} for each in piles]
        typer.echo(json_module.dumps(found, ensure_ascii=False))
    else:
        from rich.table import Table

        from chalkbeam.cli.terminal import terminal

        titles = ("wanted",) if counted is None else ("wanted", "came", "short")
        table = Table(*titles, "garment", "colour", "size", box=None, pad_edge=False)
        for each in piles:
            numbers = [str(each.wanted)]
            if counted is not None:
                numbers += [str(each.came), str(each.short or "")]
            table.add_row(*numbers, *pile_words(each.pile).split(" · "))
        console = terminal()
        console.print(table)
        if counted is not None:
            console.print(f"\n{short} short." if short else "\nNothing is short.")
            extra = sorted(set(counted) - {each.pile for each in piles})
            if extra:
                console.print(f"Not in this order: {'; '.join(map(pile_words, extra))}.")
    if short:
        raise typer.Exit(1)


def write_cut_list(
    sheet: SheetArgument,
    printed: PrintedOption = None,
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("cut-list.pdf"),
    csv: Annotated[Path | None, typer.Option(help="Write every transfer as CSV, too.")] = None,
    paper: Annotated[Paper, typer.Option(help="Paper of the PDF.")] = Paper.LETTER,
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Write which piece gets which transfer of which sheet; exit 1 where one is short."""
    from calibration.files import check_can_write, write_whole
    from chalkbeam.orders.cut_list import cut_list
    from chalkbeam.paper.cut_list import cut_list_csv, cut_list_pdf

    check_can_write(out, ".pdf")
    order = read_order(sheet, unit, artwork, absent=True)
    pieces = _in_order_of_work(order)
    there = read_print_list(printed, order, pieces, unit, artwork)
    found = cut_list(pieces, there)
    write_whole(out, cut_list_pdf(found, sheet.stem, paper.value, units))
    if csv is not None:
        write_whole(csv, cut_list_csv(found, units))
    for note in there.notes:
        typer.echo(f"Note: {note}")
    typer.echo(f"{out}: {len(found.sheets)} to cut, in the order of work.")
    for said in spare_words(found, units):
        typer.echo(said)
    if found.short:
        raise typer.Exit(1)


def register(app: typer.Typer) -> None:
    """Add the commands to those of `chalkbeam sheet`."""
    sheet_app.command("tickets")(write_tickets)
    sheet_app.command("proof")(proof_of_order)
    sheet_app.command("pull")(pull_garments)
    sheet_app.command("cut")(write_cut_list)


def _in_order_of_work(order: RunSheet) -> tuple[Piece, ...]:
    return tuple(dict.fromkeys(stop.piece for stop in plan_order(order, "", "", False).stops))
