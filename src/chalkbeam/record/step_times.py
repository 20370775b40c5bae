"""How long each step at the press took, by the session's own clock."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from chalkbeam.orders.order_of_work import Stop
from chalkbeam.record.events import Event, Kind, Step
from chalkbeam.record.progress import Progress

SETTING = "set"
"""What the time is called in which the press is set, beside the steps' own names."""

STEP_WORDS = {
    SETTING: "setting the press",
    Step.LOAD.value: "loading",
    Step.PREPRESS.value: "pre-press",
    Step.LAY.value: "laying",
    Step.PRESS.value: "press",
    Step.PEEL.value: "peel",
    Step.SECOND.value: "second press",
}
"""What people call them."""

_ORDER = (SETTING, *(step.value for step in Step))


@dataclass(frozen=True)
class StepTime:
    """A step of an imprint, all attempts summed.

    Attributes
    ----------
    imprint : str
    step : str
        `SETTING`, or as `Step`.
    seconds : float
        Pauses taken out.
    """

    imprint: str
    step: str
    seconds: float


@dataclass(frozen=True)
class Typical:
    """A step over a whole run: how often, its median, and all of it, s."""

    step: str
    count: int
    median: float
    total: float


def step_times(stops: Sequence[Stop], events: Iterable[Event]) -> tuple[StepTime, ...]:
    """Return how long each imprint stood at each step, in the order in which they ended.

    What was taken back counts as well: it took its time. What lies between two sessions does not.
    """
    progress = Progress(stops)
    sums: dict[tuple[str, str], float] = defaultdict(float)
    session, since = "", 0.0
    for event in events:
        here = _standing(progress)
        if event.session == session and here is not None and event.clock > since:
            sums[here] += event.clock - since
        if event.kind is not Kind.NOTED:
            session, since = event.session, event.clock
        progress.apply(event)
    return tuple(StepTime(imprint, step, took) for (imprint, step), took in sums.items())


def _standing(progress: Progress) -> tuple[str, str] | None:
    """Return what the time that passes counts for; None while the run is paused or over."""
    if progress.stop is None or progress.paused:
        return None
    asks = progress.to_set(progress.at) is not None
    return progress.stop.imprint.id, SETTING if asks else progress.at.step.value


def typical_times(times: Iterable[StepTime]) -> tuple[Typical, ...]:
    """Return each step's times summed up, in the order of the work."""
    by_step: dict[str, list[float]] = defaultdict(list)
    for each in times:
        by_step[each.step].append(each.seconds)
    return tuple(
        Typical(step, len(found), statistics.median(found), sum(found))
        for step in _ORDER
        if (found := by_step.get(step))
    )
