"""An order that the page begins: its light, a process of its own, at the other end of a pipe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.cli.run_at_press import run_at_press
from chalkbeam.cli.run_options import RunOptions
from chalkbeam.web.press.link import HowBegun

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

    from chalkbeam.basics.units import Unit


def light_in_window(connection: Connection, sheet: Path, choice: HowBegun) -> None:
    """As `light_for_page`, the light in an ordinary window: for a press in software."""
    light_for_page(connection, sheet, choice, window=True)


def light_for_page(
    connection: Connection, sheet: Path, choice: HowBegun, window: bool = False
) -> None:
    """Work an order whose page is at the other end of a pipe; a process of its own."""
    from chalkbeam.web.press.beside import PageBeside
    from overlay.window.run import displays

    ways = [connection]
    page = PageBeside(lambda: ways.pop() if ways else None)
    try:
        window = window or len(displays()) == 1
        again = _repeated(sheet)
        asked = RunOptions(
            sheet, again=again, window=window, of_page=True, title=_title(sheet),
            new_run=choice is HowBegun.ANEW, as_recorded=choice is HowBegun.AS_RECORDED,
            take_changes=choice is HowBegun.CHANGES, only_spoiled=choice is HowBegun.SPOILED,
            units=_unit(sheet),
        )  # fmt: skip
        run_at_press(asked, lambda number: page)
    except Refusal as refusal:
        connection.send(("failed", str(refusal)))
    except KeyboardInterrupt:  # the page was ended, and this with it
        pass
    finally:
        page.close()


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


def _repeated(sheet: Path) -> str | None:
    """Return the run that an order of the page repeats, until it has a run of its own."""
    from chalkbeam.record.store import record_file
    from chalkbeam.web.orders.folders import OrderFolder
    from chalkbeam.web.orders.standing import standings

    earlier = OrderFolder(sheet.parent).about.earlier
    begun = earlier and standings(record_file(), [sheet]).of_sheet
    return None if begun else earlier or None
