"""`chalkbeam crosses`: rigs without a camera, by crosses of light moved on to marks by hand.

Exit 0: done. 1: the light has moved, or the operator left before the end. 2: bad input.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, parse_length, parse_platen, parse_resolution
from chalkbeam.cli.advice import told
from chalkbeam.cli.commands.rig_platens import keep_found, platen_face
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.display import DisplayOption, WindowOption
from chalkbeam.cli.options.garment import UnitsOption
from chalkbeam.cli.options.rig import (
    FaceOption,
    LensOption,
    NameOption,
    NewRigOption,
    OutOption,
    PlatenHeightOption,
    PlatenSizeOption,
    ReportOption,
    ResolutionOption,
    RigOption,
    ThrowOption,
    ToleranceOption,
    UpToOption,
    check_place,
    read_height,
    read_lens,
    read_platen_height,
    read_positive,
    read_throw,
    rig_name,
)
from chalkbeam.cli.show_rig import save_new_rig, write_renewed

if TYPE_CHECKING:
    from collections.abc import Callable

    from calibration.geometry import PlatenFace
    from calibration.model.uncertainty import Worst
    from calibration.rig.file import Rig
    from calibration.solve.fit import Solution
    from calibration.solve.values import Cross
    from chalkbeam.setup.crosses.saved import SavedCrosses
    from chalkbeam.setup.crosses.state import CrossState, Solver
    from overlay.window.inputs import Input

    Solve = Callable[[tuple[Cross, ...]], Solution]
    Judge = Callable[[Solution], tuple[Worst, ...]]

InsetOption = Annotated[str, typer.Option(help="How far the marks stand off the platen's edges.")]

CountOption = Annotated[int, typer.Option(help="How many crosses, 3 to 9; more are surer.")]

crosses_app = typer.Typer(
    no_args_is_help=True,
    help="Rigs without a camera: move crosses of light on to marks on the platen.",
)


@crosses_app.command("new")
def new(
    platen: FaceOption,
    size: ResolutionOption,
    count: Annotated[int, typer.Option(help="How many crosses, 4 to 9; more are surer.")] = 9,
    inset: InsetOption = "25mm",
    out: NewRigOption = None,
    name: NameOption = None,
    report: ReportOption = None,
    lens: LensOption = None,
    throw: ThrowOption = None,
    tolerance: ToleranceOption = "1mm",
    up_to: UpToOption = "4mm",
    display: DisplayOption = None,
    window: WindowOption = False,
    units: UnitsOption = Unit.INCH,
    start_over: Annotated[
        bool, typer.Option("--start-over", help="Set all crosses again, also those saved before.")
    ] = False,
    as_json: JsonOption = False,
    anew: Annotated[bool, typer.Option("--anew", hidden=True)] = False,  # former name
) -> None:
    """Make a rig without photos: set a cross on each mark, with arrow keys or the mouse."""
    import numpy as np

    from calibration.geometry import PlatenFace
    from calibration.rig import by_hand, library
    from calibration.rig.file import Rig
    from calibration.solve.values import Stated
    from chalkbeam.setup.crosses.saved import SavedCrosses
    from chalkbeam.setup.crosses.state import CrossState

    face = PlatenFace(*parse_platen(platen))
    pixels = parse_resolution(size)
    top = read_height(up_to)
    stated = Stated(
        throw=None if throw is None else read_throw(throw),
        lens=None if lens is None else read_lens(lens),
        tolerance=read_positive(tolerance, "--tolerance"),
        heights=(0.0, top) if top else (0.0,),
    )
    check_place(out, report)
    marks = by_hand.suggested_points(face, count, _inset(inset, face.width, face.depth))

    def solve(crosses: tuple[Cross, ...]) -> Solution:
        places = np.array([cross.point for cross in crosses])
        lights = np.array([cross.pixel for cross in crosses])
        return by_hand.solve_by_hand(places, lights, face, pixels, stated)

    saved = SavedCrosses.for_rig(out if out is not None else library.place(rig_name(name, out)))
    state = CrossState(face, pixels, marks)
    if not (start_over or anew):
        state = saved.resume(state)
    solution = _set_crosses(
        state, _solver(solve, _refusing_judge(face)), display, window, units, saved
    )
    save_new_rig(Rig.of(solution, rig_name(name, out), face), out, report, as_json)
    saved.delete()


@crosses_app.command("touch-up")
def touch_up(
    rig: RigOption = None,
    count: CountOption = 3,
    inset: InsetOption = "25mm",
    out: OutOption = None,
    display: DisplayOption = None,
    window: WindowOption = False,
    units: UnitsOption = Unit.INCH,
    as_json: JsonOption = False,
) -> None:
    """Take out the mean laying error of the cards: a few crosses moved on to their marks."""
    from calibration.rig import by_hand, library

    place, press = library.find(rig), library.open_rig(rig)

    solver = _solver(partial(by_hand.touch_up, press), _refusing_judge(press.face))
    solution = _solve_few(press, count, inset, solver, display, window, units)
    write_renewed(press, solution, out or place, as_json)


@crosses_app.command("check")
def check(
    rig: RigOption = None,
    count: CountOption = 3,
    inset: InsetOption = "25mm",
    display: DisplayOption = None,
    window: WindowOption = False,
    units: UnitsOption = Unit.INCH,
    repair: Annotated[
        bool, typer.Option("--repair", help="Bring the rig up to date if only bumped.")
    ] = False,
    out: OutOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell by a few crosses whether the light still lands where it did: 0 unchanged, 1 moved."""
    from calibration.rig import drift, library

    place, press = library.find(rig), library.open_rig(rig)

    examined, plain = _refusing_judge(press.face), _bounds_judge(press.face)

    def judge(now: Solution) -> tuple[Worst, ...]:
        # Whether the changed rig can be trusted matters only where it is to be written.
        moved = drift.compare(press, now).verdict is drift.DriftVerdict.MOVED
        return examined(now) if repair and moved else plain(now)

    solver = _solver(partial(drift.solve_bumped, press, ()), judge)
    now = _solve_few(press, count, inset, solver, display, window, units)
    found = drift.compare(press, now)
    if repair and found.verdict is drift.DriftVerdict.MOVED:
        write_renewed(press, now, out or place, as_json)
        return
    print(json.dumps({"verdict": found.verdict.value}) if as_json else found.sentence)
    if found.verdict is not drift.DriftVerdict.UNCHANGED:
        raise typer.Exit(1)


@crosses_app.command("platen")
def platen(
    name: Annotated[str, typer.Argument(help="What the platen is called: sleeve-5x18in.")],
    height: PlatenHeightOption = None,
    rig: RigOption = None,
    platen: PlatenSizeOption = None,
    count: Annotated[
        int | None, typer.Option(help="How many crosses; without it 3, on a wide platen 4.")
    ] = None,
    inset: InsetOption = "15mm",
    tolerance: ToleranceOption = "1mm",
    out: OutOption = None,
    display: DisplayOption = None,
    window: WindowOption = False,
    units: UnitsOption = Unit.INCH,
    as_json: JsonOption = False,
) -> None:
    """Add a platen to a rig without photos: crosses on marks of it, its height by a ruler."""
    from calibration.rig import library
    from calibration.rig.by_hand import LEAST_CROSSES, suggested_points
    from calibration.rig.platens import crosses_wanted, find_by_crosses, straight_above
    from chalkbeam.setup.crosses.state import CrossState

    place, press = library.find(rig), library.open_rig(rig)
    check_place(out)
    face, high = platen_face(name, platen), read_platen_height(height)
    stated = replace(press.stated, tolerance=read_positive(tolerance, "--tolerance"))
    wanted = crosses_wanted(face) if count is None else count
    marks = suggested_points(
        face, max(wanted, LEAST_CROSSES), _inset(inset, face.width, face.depth)
    )[:wanted]  # fmt: skip

    solve = partial(find_by_crosses, press, face, height=high, stated=stated)
    state = CrossState(face, press.projector.size, marks, straight_above(press, high))
    solution = _set_crosses(state, _solver(solve, _refusing_judge(face)), display, window, units)
    keep_found(press, name, face, solution, out or place, as_json)


def _solve_few(
    press: Rig,
    count: int,
    inset: str,
    solver: Solver,
    display: int | None,
    window: bool,
    units: Unit,
) -> Solution:
    """Let a few crosses of a rig's own map be moved on to marks far apart."""
    from calibration.rig.by_hand import LEAST_CROSSES, suggested_points
    from chalkbeam.setup.crosses.state import CrossState

    by = _inset(inset, press.face.width, press.face.depth)
    # Three corners tell a shift and a turn; whatever else changed wants more.
    marks = suggested_points(press.face, max(count, LEAST_CROSSES) if count >= 3 else count, by)
    state = CrossState(press.face, press.projector.size, marks[:count], press.projector)
    return _set_crosses(state, solver, display, window, units)


def _inset(text: str, width: float, depth: float) -> float:
    inset = parse_length(text)
    if not 0 <= inset < min(width, depth) / 4:
        raise Refusal(f"Marks {text} inside the edges leave too little between them.")
    return inset


def _refusing_judge(face: PlatenFace) -> Judge:
    """Return a judge that refuses what is not sure enough."""
    from calibration.solve.acceptance import examine

    return lambda solution: examine(solution, face)


def _bounds_judge(face: PlatenFace) -> Judge:
    """Return a judge that only works out how sure the result is."""
    from calibration.model.uncertainty import worst

    def judge(now: Solution) -> tuple[Worst, ...]:
        return worst(now.map, now.fit.matrix, now.fit.freedom, face, now.stated.heights)

    return judge


def _solver(solve: Solve, judge: Judge) -> Solver:
    """Return a solver of crosses whose solutions a judge takes or refuses."""
    from chalkbeam.setup.crosses.state import Solved

    def solver(crosses: tuple[Cross, ...]) -> Solved:
        try:
            solution = solve(crosses)
            return Solved(solution, judge(solution))
        except Refusal as refusal:
            return Solved(refused=refusal)

    return solver


def _set_crosses(
    state: CrossState,
    solver: Solver,
    display: int | None,
    window: bool,
    units: Unit,
    saved: SavedCrosses | None = None,
) -> Solution:
    """Open the window until the crosses are set and accepted; return their solution.

    Every cross that is set is written to `saved` before the next one is shown.
    """
    from chalkbeam.cli.cautions import CALIBRATING
    from chalkbeam.setup.crosses.light import frame_of
    from chalkbeam.setup.crosses.state import advance, name_of, ruler_words, solve_all
    from overlay.window.displays import Screen
    from overlay.window.run import choose_display, run

    state = replace(state, unit=units)
    number = None if window else choose_display(state.size, display)
    print(CALIBRATING, file=sys.stderr)
    print("Mark these points on the platen:", file=sys.stderr)
    for place, mark in enumerate(state.marks, start=1):
        where = ruler_words(mark.point, state.face)
        print(f"  {place}  {name_of(mark.point, state.face)}: {where}", file=sys.stderr)
    if state.pixels and saved is not None:
        print(
            f"Going on with {_count(state)} crosses, set before and saved in “{saved.path}”; "
            "--start-over sets all again.",
            file=sys.stderr,
        )
        if len(state.pixels) == len(state.marks):
            state = solve_all(state, solver)

    def update(now: CrossState, happened: Input) -> CrossState:
        then = advance(now, happened, solver)
        elsewhere = then.index != now.index or then.solved is not now.solved
        if saved is not None and elsewhere and then.placed:
            saved.save(then)
        return then

    last = run(
        state,
        Screen(state.size, number, title="Chalkbeam crosses"),
        update=update,
        view=frame_of,
        done=lambda now: now.over,
    )
    if not last.accepted or last.solved is None or last.solved.solution is None:
        refused = last.solved.refused if last.solved is not None else None
        why = told(refused.said) if refused is not None else "Left before the end:"
        print(f"{why} {'No' if refused else 'no'} rig was written.{_saved_words(last, saved)}")
        raise typer.Exit(1)
    return last.solved.solution


def _saved_words(last: CrossState, saved: SavedCrosses | None) -> str:
    """Say which crosses are saved where no rig was made of them."""
    if saved is None or not last.placed:
        return ""
    return f" “{saved.path}” holds {_count(last)} crosses: the same command goes on with them."


def _count(state: CrossState) -> str:
    return f"{len(state.placed)} of {len(state.marks)}"


def register(app: typer.Typer) -> None:
    """Add the group to the program."""
    app.add_typer(crosses_app, name="crosses")
