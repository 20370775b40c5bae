"""The times that the transfer's sheet asks for, as they run down: under the head, and cooling."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from chalkbeam.record.events import Step
from chalkbeam.record.progress import Progress


@dataclass(frozen=True)
class Dwell:
    """A time that runs, or has run out while its step goes on.

    Attributes
    ----------
    since : float
        When it began, s on the monotonic clock.
    seconds : float
        How long it lasts.
    """

    since: float
    seconds: float

    @property
    def ends(self) -> float:
        """When it is over, s on the monotonic clock."""
        return self.since + self.seconds

    def left(self, at: float) -> float:
        """Return the seconds until it is over; 0 from then on."""
        return max(0.0, self.ends - at)

    def next_count(self, at: float) -> float | None:
        """Return when the whole seconds left change next; None once it is over."""
        left = whole_seconds(self.ends, at)
        return self.ends - left + 1 if left else None


def whole_seconds(ends: float, at: float) -> int:
    """Return the whole seconds until a dwell is over, as they are counted down."""
    return max(0, math.ceil(ends - at - 1e-6))


def dwell_of(progress: Progress, since: float | None) -> Dwell | None:
    """Return the time that runs at the current step; None if none does.

    `since` is when the press closed; None if nobody saw it.
    """
    index = progress.at.index
    if index is None:
        return None
    if progress.at.step is Step.PEEL:
        waits = progress.waits(index)
        return Dwell(waits.since, waits.wait) if waits is not None and waits.wait else None
    seconds = _seconds_under_head(progress, index)
    return None if seconds is None or since is None else Dwell(since, seconds)


def _seconds_under_head(progress: Progress, index: int) -> float | None:
    press = progress.stops[index].imprint.press
    match progress.at.step:
        case Step.PREPRESS:
            asked = progress.prepress(index)
            return None if asked is None else asked.prepress_dwell
        case Step.PRESS:
            return press.dwell
        case Step.SECOND:
            return press.second_dwell
        case _:
            return None


def cooling_ends(progress: Progress) -> tuple[float, ...]:
    """Return when each garment that was put aside has cooled, s on the monotonic clock."""
    found = (progress.waits(index) for index in progress.aside())
    return tuple(
        each.cools_until for each in found if each is not None and each.cools_until is not None
    )


class Bell:
    """Tells the end of each time once."""

    def __init__(self) -> None:
        self._rung: tuple[float, ...] = ()

    def due(self, ends: Sequence[float]) -> float | None:
        """Return when it rings next, s on the monotonic clock; None if it does not."""
        return min((each for each in ends if each not in self._rung), default=None)

    def rings(self, ends: Sequence[float], at: float) -> bool:
        """Whether it rings now."""
        due = self.due(ends)
        if due is None or at < due:
            return False
        self._rung = tuple(each for each in ends if each <= at)
        return True
