"""`chalkbeam run`: an order at the press, piece by piece, in light.

Exit 0: left or finished. 2: bad input.
"""

from __future__ import annotations

from typing import Annotated

import typer

from chalkbeam.basics.units import Unit
from chalkbeam.cli.options.display import DisplayOption, WindowOption
from chalkbeam.cli.options.garment import UnitsOption
from chalkbeam.cli.options.lasers import TickPlatenOption
from chalkbeam.cli.options.loading import AsideOption, CollarOption, OnTopOption, OverhangOption
from chalkbeam.cli.options.order import (
    ArtworkOption,
    AsListedOption,
    CameOption,
    DegreesOption,
    FirstOption,
    PrintedOption,
    SheetArgument,
    SheetUnitOption,
    TimesOption,
)
from chalkbeam.cli.options.page import BrowserOption, PortOption, ShareOption
from chalkbeam.cli.options.record import RecordOption, record_path
from chalkbeam.cli.options.shift import OperatorOption, RigsOption
from chalkbeam.orders.settings import Degrees
from chalkbeam.web.settings import PORT


def run_order(
    context: typer.Context,
    sheet: SheetArgument,
    rig: RigsOption = None,
    operator: OperatorOption = "",
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
    printed: PrintedOption = None,
    came: CameOption = None,
    times: TimesOption = "",
    first: FirstOption = "",
    as_listed: AsListedOption = False,
    new_run: Annotated[
        bool, typer.Option("--new-run", help="Begin a new run even if one is unfinished.")
    ] = False,
    as_recorded: Annotated[
        bool,
        typer.Option(
            "--as-recorded", help="Go on with the unfinished run though its sheet differs."
        ),
    ] = False,
    take_changes: Annotated[
        bool,
        typer.Option(
            "--take-changes",
            help="Keep what is pressed, and go on with the order as the edited sheet has it.",
        ),
    ] = False,
    only_spoiled: Annotated[
        bool,
        typer.Option(
            "--only-spoiled", help="Press only what a finished run has spoiled or skipped."
        ),
    ] = False,
    anyway: Annotated[
        bool,
        typer.Option(
            "--anyway",
            help="Begin although artwork is missing or unfit, or does not go there; rows that "
            "cannot be read are left out.",
        ),
    ] = False,
    again: Annotated[
        str | None,
        typer.Option(help="A reorder: bring placements and moves of this run back, by its id."),
    ] = None,
    record: RecordOption = None,
    press_name: Annotated[
        str,
        typer.Option(help="With a queue: this press's name in the shop; the computer's without."),
    ] = "",
    pile: Annotated[
        str,
        typer.Option(help="With a queue: claim this pile of garments, or this piece's, first."),
    ] = "",
    take_over: Annotated[
        str,
        typer.Option(
            "--take-over",
            metavar="PRESS",
            help="With a queue: take over what another press has in hand, once you have looked "
            "at its garments.",
        ),
    ] = "",
    pressed: Annotated[
        str | None,
        typer.Option(
            help="With --take-over: which of its imprints were pressed: none, all, or their "
            "numbers, such as “7-1/1 7-2”."
        ),
    ] = None,
    collar: CollarOption = None,
    overhang: OverhangOption = None,
    aside: AsideOption = None,
    on_top: OnTopOption = False,
    confirm: Annotated[
        bool,
        typer.Option(
            "--confirm/--no-confirm",
            help="At load have size label and colour confirmed: by a key, the piece's scanned "
            "code, or a camera that is sure of both.",
        ),
    ] = False,
    display: DisplayOption = None,
    window: WindowOption = False,
    units: UnitsOption = Unit.INCH,
    degrees: DegreesOption = Degrees.AS_WRITTEN,
    page: Annotated[
        bool | None,
        typer.Option(
            "--page/--no-page",
            help="The piece in hand on a page in the browser, with a button for every key; "
            "without, where there is a display for it.",
        ),
    ] = None,
    share: ShareOption = False,
    port: PortOption = PORT,
    no_browser: BrowserOption = False,
    eye: Annotated[
        str | None,
        typer.Option(
            metavar="CAMERA",
            help="On trial: go by the press's fixed camera: its number (0 is the first), or "
            "“simulated” to see a shift without hardware. The rig needs its eye.",
        ),
    ] = None,
    tolerance: Annotated[
        str, typer.Option(help="With --eye: how far off a transfer may lie and be pressed.")
    ] = "2 mm",
    turn_tolerance: Annotated[
        float, typer.Option(help="With --eye: how far it may be turned, degrees.")
    ] = 1.0,
    no_pictures: Annotated[
        bool,
        typer.Option("--no-pictures", help="With --eye: keep no picture of what is pressed."),
    ] = False,
    ticks: Annotated[
        str | None,
        typer.Option(
            metavar="LASERS",
            help="Without a projector: line lasers moved from tick to tick. A file of the "
            "lasers, or “two lines”; the ticks are printed by chalkbeam ticks.",
        ),
    ] = None,
    platen: TickPlatenOption = None,
    # What these were called in the version before; they work for one more.
    anew: Annotated[bool, typer.Option("--anew", hidden=True)] = False,
    as_begun: Annotated[bool, typer.Option("--as-begun", hidden=True)] = False,
    no_display: Annotated[bool, typer.Option("--no-display", hidden=True)] = False,
    no_board: Annotated[bool, typer.Option("--no-board", hidden=True)] = False,
) -> None:
    """Work through an order at the press: load, lay, press, next; goes on where it was left."""
    from chalkbeam.cli.open_page import page_beside
    from chalkbeam.cli.run_at_press import run_at_press
    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.cli.usage import said_of

    asked = RunOptions(
        sheet=sheet, rig=tuple(rig or ()), operator=operator, unit=unit, artwork=artwork,
        printed=printed, came=came, times=times, first=first, as_listed=as_listed,
        new_run=new_run or anew,
        as_recorded=as_recorded or as_begun, take_changes=take_changes,
        only_spoiled=only_spoiled, anyway=anyway, again=again, record=record,
        press=press_name, pile=pile, take_over=take_over, pressed=pressed,
        collar=collar, overhang=overhang, aside=aside, on_top=on_top,
        display=display, window=window, units=units, degrees=degrees,
        eye=eye, tolerance=tolerance, turn_tolerance=turn_tolerance, pictures=not no_pictures,
        ticks=ticks, platens=tuple(platen or ()), confirm=confirm, given=said_of(context),
    )  # fmt: skip
    wanted = False if no_display or no_board else page
    kept = None if record is None or "://" in record else record_path(record)
    run_at_press(asked, page_beside(port, share, kept, not no_browser, wanted))


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("run")(run_order)
