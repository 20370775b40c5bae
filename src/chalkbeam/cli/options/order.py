"""An order and how it is planned: the options, and what they come to."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.orders.settings import Degrees

if TYPE_CHECKING:
    from collections.abc import Sequence

    from chalkbeam.orders.order_of_work import Plan
    from chalkbeam.orders.pieces import Piece
    from chalkbeam.orders.place_imprint import Lay
    from chalkbeam.orders.printed import Printed
    from chalkbeam.orders.problems import Problem
    from chalkbeam.orders.sheet import RunSheet
    from chalkbeam.orders.times import Times
    from chalkbeam.orders.visits import Chooser

SheetArgument = Annotated[Path, typer.Argument(help="The order, CSV or XLSX.")]
SheetUnitOption = Annotated[
    Unit | None, typer.Option("--unit", help="Unit of bare lengths, where the sheet names none.")
]
ArtworkOption = Annotated[
    Path | None, typer.Option("--artwork", help="Folder of the artwork, if not beside the sheet.")
]
TimesOption = Annotated[
    str,
    typer.Option(help="The shop's own seconds a step, such as “platen=240 load=10 measure=45”."),
]
FirstOption = Annotated[
    str, typer.Option(help="Pieces pinned to the beginning, such as “7-1,7-2,12-1”.")
]
DegreesOption = Annotated[
    Degrees, typer.Option(help="What temperatures are shown in: as the sheet writes them, C or F.")
]
PrintedOption = Annotated[
    Path | None,
    typer.Option(
        "--printed",
        help="What transfers were printed: a table with sheet, artwork, size or pick, on each, "
        "sheets.",
    ),
]
CameOption = Annotated[
    Path | None,
    typer.Option(
        "--came",
        help="What garments were counted in: a table with style, colour, size, quantity.",
    ),
]
AsListedOption = Annotated[bool, typer.Option("--as-listed", help="Keep the sheet's own order.")]


def read_order(
    sheet: Path,
    unit: Unit | None,
    artwork: Path | None,
    lay: Lay | None = None,
    units: Unit = Unit.INCH,
    absent: bool = False,
    readable: bool = False,
) -> RunSheet:
    """Return a run sheet, checked against the shop's garments and locations.

    With `lay` (see `chalkbeam.orders.place_imprint`) every imprint is placed and laid as well;
    lengths are told in `units`.
    With `absent` artwork files need not be there yet; with `readable` rows that cannot be
    read are left out.

    Raises
    ------
    Refusal
        As `chalkbeam.orders.sheet.read_sheet`.
    """
    from calibration.worker import start_soon
    from chalkbeam.orders.sheet import read_sheet

    examine = None
    if lay is not None:
        start_soon("chalkbeam.artwork.svg")  # the order's drawings are wanted in a moment
        from chalkbeam.orders.precheck import precheck_order

        def examine(order: RunSheet) -> tuple[Sequence[Problem], Sequence[str]]:
            return precheck_order(order, lay, units)

    return read_sheet(
        sheet, unit=unit, artwork_folder=artwork, examine=examine,
        absent=absent, readable=readable,
    )  # fmt: skip


def read_print_list(
    printed: Path | None, order: RunSheet, pieces: Sequence[Piece], unit: Unit | None,
    artwork: Path | None,
) -> Printed:  # fmt: skip
    """Return what was printed for an order, by the shop's list; without one what it needs.

    Raises
    ------
    Refusal
        As `chalkbeam.orders.printed.read_printed`.
    """
    from chalkbeam.orders.printed import as_needed, read_printed

    if printed is None:
        return as_needed(pieces)
    return read_printed(printed, pieces, artwork or order.path.parent, unit)


def plan_order(
    order: RunSheet,
    times: str,
    first: str,
    as_listed: bool,
    choose: Chooser | None = None,
    lay: Lay | None = None,
) -> Plan:
    """Return the order of work that options describe; platens as `choose` has them.

    Finished prints are spared the head where `lay` shows that they can be; without, the largest
    platens on file are taken.

    Raises
    ------
    Refusal
        If a time is none or a pinned piece is not in the order.
    """
    from chalkbeam.orders.order_of_work import plan
    from chalkbeam.orders.precheck import on_file
    from chalkbeam.orders.shop import fit_on_press
    from chalkbeam.orders.under_head import by_where_they_lie

    seconds, pinned = read_planning(order.pieces, times, first)
    return plan(
        order.pieces, seconds, choose or fit_on_press, first=pinned, as_listed=as_listed,
        covers=by_where_they_lie(lay or on_file()),
    )  # fmt: skip


def read_planning(pieces: Sequence[Piece], times: str, first: str) -> tuple[Times, list[str]]:
    """Return the times and the pinned pieces that options say.

    Raises
    ------
    Refusal
        If a time is none or a pinned piece is not in the order.
    """
    from chalkbeam.orders.times import Times

    pinned = [name for name in first.replace(",", " ").split() if name]
    known = {piece.id for piece in pieces}
    for name in pinned:
        if name not in known:
            raise Refusal(
                f"There is no piece “{name}” to pin: a piece is its row and its number in the row, "
                "such as 7-2."
            )
    return Times.parse(times), pinned
