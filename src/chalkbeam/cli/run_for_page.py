"""An order that the page begins: its light, a process of its own, at the other end of a pipe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.cli.run_at_press import run_at_press
from chalkbeam.cli.run_options import RunOptions

if TYPE_CHECKING:
    from multiprocessing.connection import Connection


def light_in_window(connection: Connection, sheet: Path) -> None:
    """As `light_for_page`, the light in an ordinary window: for a press in software."""
    light_for_page(connection, sheet, window=True)


def light_for_page(connection: Connection, sheet: Path, window: bool = False) -> None:
    """Work an order whose page is at the other end of a pipe; a process of its own."""
    from chalkbeam.web.press.beside import PageBeside
    from overlay.window.run import displays

    ways = [connection]
    page = PageBeside(lambda: ways.pop() if ways else None)
    try:
        window = window or len(displays()) == 1
        again = _repeated(sheet)
        anew = again is None and _finished(sheet)  # its button says so
        asked = RunOptions(
            sheet, again=again, new_run=anew, window=window, of_page=True, title=_title(sheet)
        )
        run_at_press(asked, lambda number: page)
    except Refusal as refusal:
        connection.send(("failed", str(refusal)))
    except KeyboardInterrupt:  # the page was ended, and this with it
        pass
    finally:
        page.close()


def _finished(sheet: Path) -> bool:
    """Whether an order of the page was pressed to its end."""
    from calibration.files import resolved
    from chalkbeam.record.store import record_file
    from chalkbeam.web.orders.standing import standings

    standing = standings(record_file(), [sheet]).of_sheet.get(str(resolved(sheet)))
    return standing is not None and standing.finished


def _title(sheet: Path) -> str:
    """Return what an order of the page is called; empty for what is none, as a trial piece."""
    from chalkbeam.web.orders.folders import ABOUT, OrderFolder

    return OrderFolder(sheet.parent).about.title if (sheet.parent / ABOUT).is_file() else ""


def _repeated(sheet: Path) -> str | None:
    """Return the run that an order of the page repeats, until it has a run of its own."""
    from chalkbeam.record.store import record_file
    from chalkbeam.web.orders.folders import OrderFolder
    from chalkbeam.web.orders.standing import standings

    earlier = OrderFolder(sheet.parent).about.earlier
    begun = earlier and standings(record_file(), [sheet]).of_sheet
    return None if begun else earlier or None
