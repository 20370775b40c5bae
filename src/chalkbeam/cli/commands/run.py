"""`chalkbeam run`: an order at the press, piece by piece, in light.

Exit 0: left or finished. 2: bad input.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli import advice
from chalkbeam.cli.commands.sheet import (
    ArtworkOption,
    AsListedOption,
    FirstOption,
    SheetArgument,
    SheetUnitOption,
    TimesOption,
    plan_order,
    read_order,
    read_planning,
)
from chalkbeam.cli.options.display import DisplayOption, WindowOption
from chalkbeam.cli.options.garment import UnitsOption

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from calibration.refusal import Phrase
    from chalkbeam.orders.order_of_work import Stop
    from chalkbeam.orders.sheet import RunSheet
    from chalkbeam.placement.loading import Collar
    from chalkbeam.record.progress import Progress
    from chalkbeam.record.resume import Left
    from chalkbeam.record.store import Run, Store
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.host import Tell
    from chalkbeam.station.ready_imprint import ImprintPreparer


def run_order(
    sheet: SheetArgument,
    rig: Annotated[
        list[str] | None,
        typer.Option(help="Rig file or name; the default one without. Repeat for more platens."),
    ] = None,
    operator: Annotated[str, typer.Option(help="Who is at the press, for the record.")] = "",
    unit: SheetUnitOption = None,
    artwork: ArtworkOption = None,
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
    record: Annotated[Path | None, typer.Option(help="The record; the shop's own without.")] = None,
    collar: Annotated[
        str, typer.Option(help="Where the collar points: away, towards, left or right.")
    ] = "away",
    on_top: Annotated[
        bool, typer.Option("--on-top", help="Garments lie on the platen with both layers.")
    ] = False,
    display: DisplayOption = None,
    window: WindowOption = False,
    no_display: Annotated[
        bool, typer.Option("--no-display", help="No second window for the operator.")
    ] = False,
    units: UnitsOption = Unit.INCH,
    # What these were called in the version before; they work for one more.
    anew: Annotated[bool, typer.Option("--anew", hidden=True)] = False,
    as_begun: Annotated[bool, typer.Option("--as-begun", hidden=True)] = False,
    no_board: Annotated[bool, typer.Option("--no-board", hidden=True)] = False,
) -> None:
    """Work through an order at the press: load, lay, press, next; goes on where it was left."""
    print("Getting ready: rig, order and record …", file=sys.stderr, flush=True)
    from calibration.files import resolved
    from calibration.rig import library
    from chalkbeam.cli.cautions import AT_THE_PRESS
    from chalkbeam.orders.problems import told
    from chalkbeam.placement.loading import COLLARS
    from chalkbeam.record.resume import absent_artwork, check_unchanged
    from chalkbeam.record.session import open_session
    from chalkbeam.record.store import Store, record_file
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.host import run_in_window
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from chalkbeam.station.words import summary
    from overlay.window.run import choose_display

    new_run, as_recorded = new_run or anew, as_recorded or as_begun
    no_display = no_display or no_board
    pointing = next((known for known in COLLARS if known == collar), None)
    if pointing is None:
        raise Refusal(f"A collar cannot point “{collar}”: write {', '.join(COLLARS)}.")
    wanted: list[str | None] = [*rig] if rig else [None]
    rigs = [library.open_rig(each) for each in wanted]
    preparer = ImprintPreparer(rigs, pointing, not on_top)
    if as_recorded and (new_run or again is not None):
        raise Refusal(
            "--as-recorded goes on with a run, --new-run and --again begin one: give one only."
        )
    path = record or record_file()
    digest = _digest(sheet, as_recorded)
    left = None if new_run or again is not None else _unfinished(path, sheet, digest)
    if as_recorded and left is None:
        raise Refusal(
            f"There is no unfinished run of {sheet} to go on with: leave --as-recorded out."
        )
    order = None
    if left is None or not (as_recorded or left.run.digest == digest):
        order = _read(sheet, unit, artwork, units, pointing, not on_top, anyway, left)
        digest = order.digest
        if left is not None:
            check_unchanged(left, order.pieces)
    if left is not None:
        read_planning(left.pieces, times, first)  # refused as for a new run
        if artwork is not None and not artwork.is_dir():
            raise Refusal(f"There is no folder “{artwork}” of artwork: correct --artwork.")
        given = {
            "--times": times, "--first": first, "--as-listed": as_listed, "--anyway": anyway,
        }  # fmt: skip
        if order is None:  # else the sheet was read with them, to be compared
            given |= {"--unit": unit, "--artwork": artwork}
        idle = ", ".join(name for name, value in given.items() if value)
    number = None if window else choose_display(rigs[0].projector.size, display)
    with Store(path) as store:
        earlier = None if again is None else store.run(again)
        planned = None
        left_out = left.left_out if left is not None else told(order.left_out) if order else ()
        brought: dict[str, str] = {}
        if left is None:
            assert order is not None  # read for a new run
            planned = plan_order(order, times, first, as_listed)
            if earlier is not None:
                brought = _brought_back(store, earlier, planned.stops)
                begun = earlier.begun[:16].replace("T", " ")
                print(
                    f"A reorder: {len(brought)} of {len(planned.stops)} imprints come back as "
                    f"they were pressed in the run begun {begun} UTC."
                )
            for note in order.notes:
                print(f"Note: {note}", file=sys.stderr)
        else:
            print(f"Going on with the run {left}.")
            if idle:
                print(
                    f"Without effect: {idle}. The run was planned when it began; --new-run begins "
                    "another.",
                    file=sys.stderr,
                )
            if not operator and left.operator:
                operator = left.operator
                print(f"At the press: {operator}, as before; --operator names another.")
        for sentence in left_out:
            print(f"Left out of the run: {sentence}", file=sys.stderr)
        print(AT_THE_PRESS, file=sys.stderr)

        output = FrameCache()
        beside = not no_display and (number is None or _several_displays())

        def prepare(tell: Tell) -> Callable[[], StationController]:
            if left is not None:
                later = absent_artwork(left.still_open)
            elif anyway:
                later = absent_artwork(planned.stops if planned else ())
            elif order is not None:
                apart = ImprintPreparer(rigs, pointing, not on_top)  # a preparer serves one thread
                later = _place_ahead(order, apart, units, brought, tell)
            return lambda: begin(later)

        def begin(later: tuple[str, ...]) -> StationController:
            for sentence in later:
                print(f"To be skipped for now: {sentence}", file=sys.stderr)
            run = None if left is None else left.run
            if planned is not None:
                run = store.begin(
                    planned, title=sheet.stem, sheet=resolved(sheet), digest=digest,
                    earlier=None if earlier is None else earlier.id,
                )  # fmt: skip
            assert run is not None  # begun just now, or left unfinished
            session = open_session(
                store, run, operator=operator, rig=rigs[0].name, calibration=rigs[0].calibration_id
            )
            if planned is not None:
                session.leave_out(left_out)
            return StationController(
                session, preparer, output, unit=units, counting=not beside, known=digest
            )

        controller = run_in_window(
            prepare, output, rigs[0], number, beside=beside,
            say=lambda sentence: print(sentence, file=sys.stderr),
        )  # fmt: skip
        if controller is None:
            print("Left before anything was shown: nothing has changed.")
            return
        progress = controller.session.progress
        lines = summary(progress) if progress.stop is None else _so_far(progress)
        if left_out:
            where = "; ".join(dict.fromkeys(each.split(":")[0] for each in left_out))
            print(f"Not in this run, as they could not be read: {where}.")
        print("; ".join(lines) + f". See chalkbeam report {controller.session.run.id[:8]}.")
        # Last: where it cannot be written, what was done is said all the same.
        controller.session.close()


def _read(
    sheet: Path,
    unit: Unit | None,
    artwork: Path | None,
    units: Unit,
    collar: Collar,
    threaded: bool,
    anyway: bool,
    left: Left | None,
) -> RunSheet:
    """Return the order; where it cannot be read, say everything that is wrong with it.

    Artwork may be missing if the order is begun `anyway`, or may be gone on with (`left`); begun
    anyway, it is without the rows that cannot be read.
    """
    from chalkbeam.orders.precheck import on_file
    from chalkbeam.orders.problems import SheetRefusal
    from chalkbeam.record.resume import CHOICE, unfinished

    absent = anyway or left is not None
    readable = anyway and left is None
    try:
        return read_order(sheet, unit, artwork, absent=absent, readable=readable)
    except SheetRefusal as refusal:
        if left is not None:
            raise Refusal(f"{refusal}\n{unfinished(left)}. ", *CHOICE) from None
    try:
        return read_order(sheet, unit, artwork, on_file(collar, threaded), units, absent)
    except SheetRefusal as refusal:
        if not absent and _readable(sheet, unit, artwork):
            raise SheetRefusal(sheet, refusal.problems, ANYWAY) from None
        raise


def _readable(sheet: Path, unit: Unit | None, artwork: Path | None) -> bool:
    """Whether some of the order can be read, without artwork that is missing."""
    try:
        read_order(sheet, unit, artwork, absent=True, readable=True)
    except Refusal:
        return False
    return True


ANYWAY = (
    "Correct the sheet, or begin all the same with --anyway: rows that cannot be read are then "
    "left out."
)


def _digest(sheet: Path, as_recorded: bool) -> str:
    """Return the digest of the sheet; empty for one that is gone and not wanted."""
    from chalkbeam.basics.spreadsheets import digest_of

    try:
        return digest_of(sheet)
    except Refusal:
        if as_recorded:
            return ""
        raise


def _brought_back(store: Store, earlier: Run, stops: Sequence[Stop]) -> dict[str, str]:
    """Return the locations that a reorder brings back, by imprint id."""
    from chalkbeam.record.reorder import earlier_placements

    found = earlier_placements(earlier.stops, store.events(earlier), stops)
    return {imprint: each.location for imprint, each in found.items()}


def _place_ahead(
    order: RunSheet,
    preparer: ImprintPreparer,
    units: Unit,
    brought: Mapping[str, str],
    tell: Tell,
) -> tuple[str, ...]:
    """Place the whole order before it begins, so that nothing is first met at the press.

    Returns what no rig at hand takes: it waits to be skipped, for its platen may come later.
    `brought` are locations other than the sheet's, by imprint id; `tell` is told how far it is.

    Raises
    ------
    SheetRefusal
        If something can never be pressed as the sheet asks.
    """
    from chalkbeam.orders.precheck import precheck_order
    from chalkbeam.orders.problems import SheetRefusal
    from chalkbeam.station.display import GettingReady
    from chalkbeam.station.precheck_on_rigs import first_rigs

    later: dict[tuple[Phrase, ...], None] = {}
    problems, _ = precheck_order(
        order,
        first_rigs(preparer, later),
        units,
        lambda imprint: brought.get(imprint.id, imprint.location),
        lambda done: tell(GettingReady(order.path.stem, done, len(order.pieces))),
    )
    if problems:
        raise SheetRefusal(order.path, problems, ANYWAY)
    return tuple(advice.told(said) for said in later)


def _unfinished(record: Path, sheet: Path, digest: str) -> Left | None:
    """Return the unfinished run of this sheet; a record is not made for looking."""
    from chalkbeam.record.resume import left_unfinished
    from chalkbeam.record.store import Store

    if not record.is_file():
        return None
    with Store(record) as store:
        return left_unfinished(store, sheet, digest)


def _several_displays() -> bool:
    from overlay.window.run import displays

    return len(displays()) > 1


def _so_far(progress: Progress) -> tuple[str, ...]:
    from chalkbeam.orders.times import format_duration

    left = format_duration(progress.seconds_left())
    return (
        f"{progress.pressed()} of {len(progress.stops)} imprints pressed",
        f"about {left} left: the same command goes on from here",
    )


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("run")(run_order)
