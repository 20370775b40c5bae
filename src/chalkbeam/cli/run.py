"""`chalkbeam run`: an order at the press, piece by piece, in light.

Exit 0: left or finished. 2: bad input.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.garment import UnitsOption
from chalkbeam.cli.order import (
    ArtworkOption,
    AsListedOption,
    FirstOption,
    SheetArgument,
    SheetUnitOption,
    TimesOption,
    plan_order,
    read_order,
)
from chalkbeam.cli.project import DisplayOption, WindowOption
from chalkbeam.units import Unit

if TYPE_CHECKING:
    from chalkbeam.press_side import PressSide
    from chalkbeam.runs.store import Run, Store


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
    anew: Annotated[
        bool, typer.Option("--anew", help="Begin a new run even if one is unfinished.")
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
    no_board: Annotated[
        bool, typer.Option("--no-board", help="No second window for the operator.")
    ] = False,
    units: UnitsOption = Unit.INCH,
) -> None:
    """Work through an order at the press: load, lay, press, next; goes on where it was left."""
    from calibration import shelf
    from chalkbeam.bench import Bench
    from chalkbeam.cautions import AT_THE_PRESS
    from chalkbeam.loading import COLLARS
    from chalkbeam.press_side import PressSide
    from chalkbeam.runs.sitting import Sitting
    from chalkbeam.runs.store import Store, record_file
    from overlay.window import choose_display

    pointing = next((known for known in COLLARS if known == collar), None)
    if pointing is None:
        raise Refusal(f"A collar cannot point “{collar}”: write {', '.join(COLLARS)}.")
    wanted: list[str | None] = [*rig] if rig else [None]
    rigs = [shelf.open_rig(each) for each in wanted]
    bench = Bench(rigs, pointing, not on_top)
    order = read_order(sheet, unit, artwork)
    number = None if window else choose_display(rigs[0].projector.size, display)
    with Store(record or record_file()) as store:
        run = None if anew or again is not None else _unfinished(store, order.digest)
        if run is None:
            planned = plan_order(order, times, first, as_listed)
            earlier = None if again is None else store.run(again).id
            run = store.begin(
                planned, title=sheet.stem, sheet=sheet.resolve(), digest=order.digest,
                earlier=earlier,
            )  # fmt: skip
        else:
            print(f"Going on with the run begun {run.begun[:16].replace('T', ' ')} UTC.")
        for note in order.notes:
            print(f"Note: {note}", file=sys.stderr)
        print(AT_THE_PRESS, file=sys.stderr)
        sitting = Sitting(
            store, run, operator=operator, rig=rigs[0].name, calibration=rigs[0].calibration_id
        )
        side = PressSide(sitting, bench, units)
        board = not no_board and (number is None or _several_displays())
        _light(side, rigs[0].projector.size, number, board)
        sitting.close()
        lines = side.summary() if sitting.progress.stop is None else _standing(side)
        print("; ".join(lines) + f". See chalkbeam report {run.id[:8]}.")


def _unfinished(store: Store, digest: str) -> Run | None:
    """Return the latest run of this very sheet if it has not been worked to its end."""
    from chalkbeam.runs.progress import Progress

    run = store.latest(digest)
    if run is None:
        return None
    return None if Progress(run.stops, store.events(run)).stop is None else run


def _several_displays() -> bool:
    from overlay.window import displays

    return len(displays()) > 1


def _light(side: PressSide, size: tuple[int, int], number: int | None, board: bool) -> None:
    """Open the windows and work until the operator leaves."""
    from chalkbeam.board import board_of
    from chalkbeam.operator_window import OperatorWindow
    from overlay.screens import Screen
    from overlay.window import beep, run

    operator = OperatorWindow() if board else None
    told, rung = -1, 0.0

    def due(now: PressSide) -> float | None:
        ends = now.dwell_ends() if operator is None else None
        times = [each for each in (now.desk.due, ends) if each is not None and each > rung]
        return min(times, default=None)

    def shown(now: PressSide) -> None:
        nonlocal told, rung
        if operator is None and now.rings(time.monotonic()):
            rung = time.monotonic()
            beep()  # with an operator's display it is that which rings
        if now.changes == told:
            return
        told = now.changes
        now.foresee()
        if operator is not None:
            operator.show(board_of(now))

    try:
        run(
            side,
            Screen(size, number, title="Chalkbeam light"),
            update=lambda now, happened: now.take(happened),
            view=lambda now: now.frame(),
            done=lambda now: now.desk.over,
            due=due,
            shown=shown,
            listen=operator.listen if operator is not None else None,
        )
    finally:
        if operator is not None:
            operator.close()


def _standing(side: PressSide) -> tuple[str, ...]:
    progress = side.sitting.progress
    return (
        f"{progress.pressed()} of {len(progress.stops)} imprints pressed",
        f"about {side.time_left()} left: the same command goes on from here",
    )


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("run")(run_order)
