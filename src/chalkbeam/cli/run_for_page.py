"""An order that the page begins: its light, a process of its own, at the other end of a pipe."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.cli.run_at_press import run_at_press
from chalkbeam.cli.run_options import RunOptions
from chalkbeam.web.press.link import FromOther, HowBegun

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from chalkbeam.basics.units import Unit
    from chalkbeam.web.workshop import Workshop


def light_in_window(
    connection: Connection, sheet: Path, choice: HowBegun, over: FromOther | None = None
) -> None:
    """As `light_for_page`, the light in an ordinary window: for a press in software."""
    light_for_page(connection, sheet, choice, over, window=True)


def light_for_page(
    connection: Connection,
    sheet: Path,
    choice: HowBegun,
    over: FromOther | None = None,
    window: bool = False,
) -> None:
    """Work an order whose page is at the other end of a pipe; a process of its own."""
    from chalkbeam.web.press.beside import PageBeside
    from overlay.window.run import displays

    ways = [connection]
    page = PageBeside(lambda: ways.pop() if ways else None)
    try:
        window = window or len(displays()) == 1
        asked = RunOptions(
            sheet, window=window, of_page=True, new_run=choice is HowBegun.ANEW,
            as_recorded=choice is HowBegun.AS_RECORDED, take_changes=choice is HowBegun.CHANGES,
            only_spoiled=choice is HowBegun.SPOILED,
        )  # fmt: skip
        if over is not None:
            said = " ".join(over.pressed) or "none"
            asked = replace(asked, take_over=over.press, pressed=said)
        if sheet.is_file():  # else it is the number of a run of the queue
            asked = _of_sheet(asked)
        run_at_press(asked, lambda number: page)
    except Refusal as refusal:
        connection.send(("failed", str(refusal)))
    except KeyboardInterrupt:  # the page was ended, and this with it
        pass
    finally:
        page.close()


def _of_sheet(asked: RunOptions) -> RunOptions:
    """Return what is asked of an order whose sheet lies here."""
    from chalkbeam.web.setup import trial
    from chalkbeam.web.workshop import Workshop

    shop, sheet = Workshop.of_user(), asked.sheet
    again = None if asked.new_run else _repeated(shop, sheet)
    asked = replace(asked, title=_title(sheet), units=_unit(sheet), again=again)
    # A trial piece is no order of the shop's: other presses have nothing to do with it.
    is_trial = sheet == trial.place(shop.data)
    return replace(asked, record=str(shop.record)) if is_trial else asked


def _title(sheet: Path) -> str:
    """Return what an order of the page is called; empty for what is none, as a trial piece."""
    from chalkbeam.web.orders.folders import ABOUT, OrderFolder

    return OrderFolder(sheet.parent).about.title if (sheet.parent / ABOUT).is_file() else ""


def _unit(sheet: Path) -> Unit:
    """Return the unit that an order is written in: so are its lengths told at the press.

    But a shop whose settings name a unit has them in that.
    """
    from chalkbeam.web.orders.table import take_over

    return take_over(sheet, sheet.name).table.unit


def _repeated(shop: Workshop, sheet: Path) -> str | None:
    """Return the run that an order of the page repeats, until it has a run of its own."""
    from calibration.files import resolved
    from chalkbeam.web.orders.folders import OrderFolder
    from chalkbeam.web.shared_queue import ShopQueue

    earlier = OrderFolder(sheet.parent).about.earlier
    if not earlier:
        return None
    asking = ShopQueue()
    try:
        with asking.runs(shop) as source:
            return None if source.runs_of([resolved(sheet)]) else earlier
    finally:
        asking.close()
