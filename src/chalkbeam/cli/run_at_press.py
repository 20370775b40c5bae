"""An order at the press, as `chalkbeam run` and the page begin it."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli import advice
from chalkbeam.cli.options.length import read_length
from chalkbeam.cli.options.loading import read_collar
from chalkbeam.cli.options.order import plan_order, read_order, read_planning
from chalkbeam.orders.settings import Degrees

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from multiprocessing.connection import Connection

    from calibration.refusal import Phrase
    from chalkbeam.orders.order_of_work import Stop
    from chalkbeam.orders.sheet import RunSheet
    from chalkbeam.placement.loading import Collar
    from chalkbeam.record.progress import Progress
    from chalkbeam.record.resume import Left
    from chalkbeam.record.store import Run, Store
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.host import Beside, Tell
    from chalkbeam.station.ready_imprint import ImprintPreparer


@dataclass(frozen=True)
class RunOptions:
    """What is asked for; each as the option of `chalkbeam run` of its name.

    But `of_page`: an order of the page, which is known by its place; a copy is another order. And
    `title`: what it is called; empty for the sheet's name.
    """

    sheet: Path
    rig: tuple[str, ...] = ()
    operator: str = ""
    unit: Unit | None = None
    artwork: Path | None = None
    times: str = ""
    first: str = ""
    as_listed: bool = False
    new_run: bool = False
    as_recorded: bool = False
    take_changes: bool = False
    only_spoiled: bool = False
    anyway: bool = False
    again: str | None = None
    record: Path | None = None
    collar: str | None = None
    overhang: str | None = None
    aside: str | None = None
    on_top: bool = False
    display: int | None = None
    window: bool = False
    units: Unit = Unit.INCH
    degrees: Degrees = Degrees.AS_WRITTEN
    eye: str | None = None
    tolerance: str = "2 mm"
    turn_tolerance: float = 1.0
    pictures: bool = True
    ticks: str | None = None
    platens: tuple[str, ...] = ()
    of_page: bool = False
    title: str = ""


OpenBeside = Callable[[int | None], "Beside | None"]
"""Opens what the operator looks at beside the light, given the light's display; or nothing."""


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


def run_at_press(asked: RunOptions, open_beside: OpenBeside) -> None:
    """Work through an order; goes on where it was left.

    Raises
    ------
    Refusal
        If anything stands in the way.
    """
    sheet, operator, units = asked.sheet, asked.operator, asked.units
    print("Getting ready: rig, order and record …", file=sys.stderr, flush=True)
    from calibration.worker import start_soon

    start_soon("chalkbeam.artwork.files")  # the order's drawings are wanted in a moment
    from calibration.files import resolved
    from calibration.rig import library
    from chalkbeam.cli.cautions import AT_THE_PRESS, WITH_TICKS
    from chalkbeam.cli.eyes_asked import EyesAsked
    from chalkbeam.cli.lasers_asked import LasersAsked
    from chalkbeam.cli.run_choices import (
        check_new,
        check_one_choice,
        digest_now,
        seen_before,
        taken_over,
    )
    from chalkbeam.orders.problems import told
    from chalkbeam.record.resume import absent_artwork, check_unchanged, local_time
    from chalkbeam.record.session import open_session
    from chalkbeam.record.store import Store, record_file
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.host import run_in_window
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from chalkbeam.station.words import summary
    from overlay.window.run import choose_display

    pointing = read_collar(asked.collar)
    lasers = None
    if asked.ticks is not None:
        lit = {"--rig": asked.rig, "--eye": asked.eye, "--display": asked.display}
        lasers = LasersAsked.of(asked.ticks, asked.platens, lit)
    elif asked.platens:
        raise Refusal("--platen goes with --ticks: a rig knows its platen.")
    wanted: list[str | None] = list(asked.rig) or [None]
    rigs = lasers.rigs() if lasers else [library.open_rig(each) for each in wanted]
    eyes = None
    if asked.eye is not None:
        eyes = EyesAsked(asked.eye, asked.tolerance, asked.turn_tolerance)
        rigs = [eyes.fitted(each) for each in rigs]
    prepared = functools.partial(
        ImprintPreparer, rigs, pointing, not asked.on_top,
        overhang=read_length(asked.overhang), aside=read_length(asked.aside),
    )  # fmt: skip
    preparer = prepared()
    takes_over = asked.take_changes or asked.only_spoiled
    begins = asked.new_run or asked.again is not None
    check_one_choice(
        asked.as_recorded, asked.new_run, asked.again is not None, asked.take_changes,
        asked.only_spoiled,
    )  # fmt: skip
    path = asked.record or record_file()
    digest = digest_now(sheet, asked.as_recorded)
    newest, left = seen_before(path, sheet, digest, asked.of_page)
    if begins or takes_over:
        left = None
    if asked.as_recorded and left is None:
        raise Refusal(
            f"There is no unfinished run of {sheet} to go on with: leave --as-recorded out."
        )
    if left is None and not begins and not takes_over:
        check_new(path, sheet, digest, None, asked.of_page)
    order, before, done = None, None, None
    if left is None or not (asked.as_recorded or left.run.digest == digest):
        order = _read(asked, pointing, left)
        digest = order.digest
        if left is not None:
            check_unchanged(left, order.pieces)
        elif takes_over:
            before, order, done = taken_over(path, order, asked.only_spoiled)
        elif not begins:
            check_new(path, sheet, digest, order, asked.of_page)
    if left is not None:
        read_planning(left.pieces, asked.times, asked.first)  # refused as for a new run
        if asked.artwork is not None and not asked.artwork.is_dir():
            raise Refusal(f"There is no folder “{asked.artwork}” of artwork: correct --artwork.")
        given = {
            "--times": asked.times, "--first": asked.first, "--as-listed": asked.as_listed,
            "--anyway": asked.anyway,
        }  # fmt: skip
        if order is None:  # else the sheet was read with them, to be compared
            given |= {"--unit": asked.unit, "--artwork": asked.artwork}
        idle = ", ".join(name for name, value in given.items() if value)
    in_window = asked.window or lasers is not None
    number = None if in_window else choose_display(rigs[0].projector.size, asked.display)
    with Store(path) as store:
        earlier = before if asked.again is None else store.run(asked.again)
        planned = None
        left_out = left.left_out if left is not None else told(order.left_out) if order else ()
        brought: dict[str, str] = {}
        if left is None:
            assert order is not None  # read for a new run
            planned = plan_order(order, asked.times, asked.first, asked.as_listed)
            if earlier is not None:
                brought = _brought_back(store, earlier, planned.stops)
            if done is not None and before is not None:
                print(
                    f"Of the run begun {local_time(before.begun)} {done.pressed} imprints stay "
                    f"pressed; {len(planned.stops) - len(done.acts)} are to be done."
                )
                for piece in done.gone:
                    print(f"Pressed, and in the order no more: {piece}.", file=sys.stderr)
            elif earlier is not None:
                print(
                    f"A reorder: {len(brought)} of {len(planned.stops)} imprints come back as "
                    f"they were pressed in the run begun {local_time(earlier.begun)}."
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
        print(WITH_TICKS if lasers else AT_THE_PRESS, file=sys.stderr)

        output = FrameCache() if lasers is None else lasers.output
        beside = open_beside(number)

        def prepare(tell: Tell) -> Callable[[], StationController]:
            if left is not None:
                later = absent_artwork(left.still_open)
            elif asked.anyway:
                later = absent_artwork(planned.stops if planned else ())
            elif order is not None:
                apart = prepared()  # a preparer serves one thread
                called = asked.title or sheet.stem
                later = _place_ahead(order, apart, units, brought, called, tell)
            if lasers is not None:
                stops = planned.stops if planned else left.run.stops if left else ()
                lasers.aim(stops, prepared())
            return lambda: begin(later)

        def begin(later: tuple[str, ...]) -> StationController:
            for sentence in later:
                print(f"To be skipped for now: {sentence}", file=sys.stderr)
            run = None if left is None else left.run
            if planned is not None:
                run = store.begin(
                    planned, title=asked.title or sheet.stem, sheet=resolved(sheet), digest=digest,
                    earlier=None if earlier is None else earlier.id, newest=newest,
                    carried=() if done is None else done.acts,
                )  # fmt: skip
            assert run is not None  # begun just now, or left unfinished
            session = open_session(
                store, run, operator=operator, rig=rigs[0].name, calibration=rigs[0].calibration_id
            )
            if planned is not None:
                session.leave_out(left_out)
            return StationController(
                session, preparer, output, unit=units, degrees=asked.degrees,
                counting=beside is None, known=digest,
                guide=None if lasers is None else lasers.output.guide,
            )  # fmt: skip

        watched = eyes.open(rigs[0], path if asked.pictures else None) if eyes else nullcontext()
        with watched as source:
            controller = run_in_window(
                prepare, output, rigs[0], number, beside=beside, source=source,
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


def _read(asked: RunOptions, collar: Collar | None, left: Left | None) -> RunSheet:
    """Return the order; where it cannot be read, say everything that is wrong with it.

    Artwork may be missing if the order is begun `anyway`, or may be gone on with (`left`); begun
    anyway, it is without the rows that cannot be read.
    """
    from chalkbeam.orders.precheck import on_file
    from chalkbeam.orders.problems import SheetRefusal
    from chalkbeam.record.resume import CHOICE, unfinished

    given = (asked.sheet, asked.unit, asked.artwork)
    absent = asked.anyway or left is not None
    readable = asked.anyway and left is None
    try:
        return read_order(*given, absent=absent, readable=readable)
    except SheetRefusal as refusal:
        if left is not None:
            raise Refusal(f"{refusal}\n{unfinished(left)}. ", *CHOICE) from None
    try:
        return read_order(*given, on_file(collar, not asked.on_top), asked.units, absent)
    except SheetRefusal as refusal:
        if not absent and _readable(*given):
            raise SheetRefusal(asked.sheet, refusal.problems, ANYWAY) from None
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
    called: str,
    tell: Tell,
) -> tuple[str, ...]:
    """Place the whole order before it begins, so that nothing is first met at the press.

    Returns what no rig at hand takes: it waits to be skipped, for its platen may come later.
    `brought` are locations other than the sheet's, by imprint id; `tell` is told how far the
    order, so `called`, is.

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
        lambda done: tell(GettingReady(called, done, len(order.pieces))),
    )
    if problems:
        raise SheetRefusal(order.path, problems, ANYWAY)
    return tuple(advice.told(said) for said in later)


def several_displays() -> bool:
    """Whether there is a display besides the one that light is shown on."""
    from overlay.window.run import displays

    return len(displays()) > 1


def _so_far(progress: Progress) -> tuple[str, ...]:
    from chalkbeam.orders.times import format_duration

    left = format_duration(progress.seconds_left())
    return (
        f"{progress.pressed()} of {len(progress.stops)} imprints pressed",
        f"about {left} left: the same command goes on from here",
    )
