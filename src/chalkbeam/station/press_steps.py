"""Which step of the press comes next: what the transfer's sheet asks for, and nothing else."""

from __future__ import annotations

from chalkbeam.record.events import Step
from chalkbeam.record.progress import Progress
from chalkbeam.station.values import Command, CommandKind, OperatorState

WAITED_OUT = 20.0
"""A carrier that cools no longer than this, s, is waited for beside the press: the next garment
is not loaded and laid in less. Common practice, no source."""


def steps_of(progress: Progress, index: int) -> tuple[Step, ...]:
    """Return the steps that a stop has, as its sheet asks for them."""
    press = progress.stops[index].imprint.press
    steps = [Step.LOAD, Step.LAY, Step.PRESS]
    if press.prepress or progress.prepress(index) is not None:
        steps.insert(1, Step.PREPRESS)
    if press.cooling or press.second:
        steps.append(Step.PEEL)
    if press.second:
        steps.append(Step.SECOND)
    return tuple(steps)


def after_load(progress: Progress) -> Step:
    """Return the step that follows when the garment lies."""
    index = progress.at.index
    asked = None if index is None else progress.prepress(index)
    return Step.LAY if asked is None else Step.PREPRESS


def after_press(state: OperatorState, progress: Progress) -> Command:
    """Return what follows when the press has opened on a transfer."""
    laid = laid_before(state, progress)
    if progress.stop is None:
        return Command(CommandKind.PRESS, text=laid)
    press = progress.stop.imprint.press
    wait = press.cooling_wait
    if press.cooling and (wait is None or wait > WAITED_OUT):
        return Command(CommandKind.ASIDE, text=laid)
    if press.cooling or press.second:
        return Command(CommandKind.STEP, step=Step.PEEL, text=laid)
    return Command(CommandKind.PRESS, text=laid)


def after_peel(state: OperatorState, progress: Progress) -> Command:
    """Return what follows when the carrier is off."""
    if progress.stop is not None and progress.stop.imprint.press.second:
        return Command(CommandKind.STEP, step=Step.SECOND)
    return Command(CommandKind.PRESS, text=laid_before(state, progress))


def laid_before(state: OperatorState, progress: Progress) -> str:
    """Return the id of the imprint that was laid before the current one, to be pressed with it."""
    waits = None if progress.at.index is None else progress.waits(progress.at.index)
    return (waits.laid if waits is not None else "") or state.laid
