"""An order at the press, as `chalkbeam run` and the page begin it."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from contextlib import nullcontext
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.cli.options.length import read_length
from chalkbeam.cli.options.loading import read_collar
from chalkbeam.cli.options.rig import open_platens

if TYPE_CHECKING:
    from chalkbeam.basics.units import Unit
    from chalkbeam.cli.run_options import RunOptions
    from chalkbeam.record.progress import Progress
    from chalkbeam.record.session import RunSession
    from chalkbeam.record.store import Store
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.host import Beside, Tell

OpenBeside = Callable[[int | None], "Beside | None"]
"""Opens what the operator looks at beside the light, given the light's display; or nothing."""


def run_at_press(asked: RunOptions, open_beside: OpenBeside) -> None:
    """Work through an order; goes on where it was left.

    Raises
    ------
    Refusal
        If anything stands in the way.
    """
    print("Getting ready: rig, order and record …", file=sys.stderr, flush=True)
    from calibration.worker import start_soon

    start_soon("chalkbeam.artwork.svg")  # the order's drawings are wanted in a moment
    from calibration.files import resolved
    from chalkbeam.cli.cautions import AT_THE_PRESS, WITH_TICKS
    from chalkbeam.cli.eyes_asked import EyesAsked
    from chalkbeam.cli.lasers_asked import LasersAsked
    from chalkbeam.cli.options.record import record_path
    from chalkbeam.cli.run_beginning import (
        beginning,
        new_run,
        stock_of,
        to_skip,
        without_effect,
    )
    from chalkbeam.cli.run_shared import SharedRun, queue_for
    from chalkbeam.cli.shared_files import keep_up
    from chalkbeam.cli.shop_defaults import with_shop
    from chalkbeam.orders.shop import fit_on_press
    from chalkbeam.presses.settings import shop_settings
    from chalkbeam.record.session import open_session
    from chalkbeam.record.source import runs_in
    from chalkbeam.record.store import Store
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.host import run_in_window
    from chalkbeam.station.platen_choice import on_the_press
    from chalkbeam.station.ready_imprint import ImprintPreparer
    from chalkbeam.station.words import summary
    from overlay.window.run import choose_display

    address = queue_for(asked)
    if address is not None:
        keep_up(address, asked.press)
    asked = with_shop(asked, shop_settings())
    pointing = read_collar(asked.collar)
    lasers = None
    if asked.ticks is not None:
        lit = {"--rig": asked.rig, "--eye": asked.eye, "--display": asked.display}
        lasers = LasersAsked.of(asked.ticks, asked.platens, lit)
    elif asked.platens:
        raise Refusal("--platen goes with --ticks: a rig knows its platen.")
    wanted: list[str | None] = list(asked.rig) or [None]
    rigs = lasers.rigs() if lasers else open_platens(wanted)
    eyes, watched = None, []
    if asked.eye is not None:
        eyes = EyesAsked(asked.eye, asked.tolerance, asked.turn_tolerance)
        post = len(open_platens(wanted[:1]))
        watched = eyes.fitted(rigs[:post])
        rigs = [*watched, *rigs[post:]]  # on other presses the steps are the keys'
    prepared = functools.partial(
        ImprintPreparer, rigs, pointing, not asked.on_top,
        overhang=read_length(asked.overhang), aside=read_length(asked.aside),
    )  # fmt: skip
    preparer = prepared()
    shared = None if address is None else SharedRun(asked, address, rigs)
    path = record_path(asked.record) if shared is None else shared.path
    if shared is not None:
        begun = shared.beginning(pointing)
    else:
        with runs_in(path) as earlier_runs:
            begun = beginning(asked, earlier_runs, pointing)
    left = begun.left
    idle = without_effect(asked, begun)
    in_window = asked.window or lasers is not None
    number = None if in_window else choose_display(rigs[0].projector.size, asked.display)
    with shared or Store(path) as store:
        # What presses share is planned by the sheet's platens: each has its own.
        planner = prepared()
        choose = on_the_press(planner) if shared is None else fit_on_press
        new = new_run(
            asked, begun, store if shared is None else shared.source(), choose,
            planner.lay if shared is None else None,
        )  # fmt: skip
        stock = stock_of(asked, new.plan.stops if new else left.run.stops if left else ())
        operator = asked.operator
        if left is not None:
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
        for sentence in begun.left_out:
            print(f"Left out of the run: {sentence}", file=sys.stderr)
        print(WITH_TICKS if lasers else AT_THE_PRESS, file=sys.stderr)

        output = FrameCache() if lasers is None else lasers.output
        beside = open_beside(number)

        def prepare(tell: Tell) -> Callable[[], StationController]:
            later = to_skip(asked, begun, new, prepared, tell)
            if lasers is not None:
                stops = new.plan.stops if new else left.run.stops if left else ()
                lasers.aim(stops, prepared())
            return lambda: begin(later)

        def begin(later: tuple[str, ...]) -> StationController:
            for sentence in later:
                print(f"To be skipped for now: {sentence}", file=sys.stderr)
            run = None if left is None else left.run
            if new is not None and shared is not None:
                run = shared.begin(new, begun)
            elif new is not None:
                earlier, done = new.earlier, begun.done
                run = store.begin(
                    new.plan, title=asked.title or asked.sheet.stem, sheet=resolved(asked.sheet),
                    digest=begun.digest, earlier=None if earlier is None else earlier.id,
                    newest=begun.newest, carried=() if done is None else done.acts,
                )  # fmt: skip
            assert run is not None  # begun just now, or left unfinished
            session = open_session(
                store, run, operator=operator, rig=rigs[0].name, calibration=rigs[0].calibration_id
            )
            if new is not None:
                session.leave_out(begun.left_out)
            if stock is not None:
                session.stocked(*stock, words=lambda each: each.words(asked.units))
            if shared is not None:
                shared.joined(session)
            return StationController(
                session, preparer, output, unit=asked.units, degrees=asked.degrees,
                counting=beside is None, known=begun.digest,
                guide=None if lasers is None else lasers.output.guide, confirms=asked.confirm,
                offers=lambda: offers_of(store, session, asked.units),
            )  # fmt: skip

        seen = eyes.open(watched, path if asked.pictures else None) if eyes else nullcontext()
        with seen as source:
            controller = run_in_window(
                prepare, output, rigs[0], number, beside=beside, source=source, queue=shared,
                say=lambda sentence: print(sentence, file=sys.stderr),
            )  # fmt: skip
        if controller is None:
            print("Left before anything was shown: nothing has changed.")
            return
        progress = controller.session.progress
        lines = summary(progress) if progress.stop is None else _so_far(progress)
        if begun.left_out:
            where = "; ".join(dict.fromkeys(each.split(":")[0] for each in begun.left_out))
            print(f"Not in this run, as they could not be read: {where}.")
        print("; ".join(lines) + f". See chalkbeam report {controller.session.run.id[:8]}.")
        for offer in controller.view().offers:
            print(f"{offer} Say so with chalkbeam location keep; location habits lists it.")
        # Last: where it cannot be written, what was done is said all the same.
        controller.session.close()
        for sentence in () if shared is None else shared.ended(controller.session.run):
            print(f"{sentence}.")
        store.look_through()


def offers_of(store: Store, session: RunSession, unit: Unit) -> tuple[str, ...]:
    """Return what the record offers to be kept as the shop's own rule, of what was pressed here."""
    from chalkbeam.record.taste import habit_words, shop_habits

    here = {(stop.piece.style, stop.imprint.location) for stop in session.run.stops}
    return tuple(
        habit_words(each, unit)
        for each in shop_habits(store)
        if (each.group.style, each.group.location) in here
    )


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
