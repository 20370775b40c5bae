"""The time that the transfer's sheet asks for under the closed press, as it runs down."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chalkbeam.record.events import Step
from chalkbeam.record.progress import Progress


@dataclass(frozen=True)
class Dwell:
    """A dwell that runs, or has run out while the press is still closed.

    Attributes
    ----------
    since : float
        When the press step began, s on the monotonic clock.
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
    """Return the dwell of the imprint under the press; None if none runs.

    `since` is when its press step began; None if nobody saw it.
    """
    stop = progress.stop
    if stop is None or since is None or progress.at.step is not Step.PRESS:
        return None
    seconds = stop.imprint.press.dwell
    return None if seconds is None else Dwell(since, seconds)


class Bell:
    """Tells the end of each dwell once."""

    def __init__(self) -> None:
        self._rung: float | None = None

    def due(self, dwell: Dwell | None) -> float | None:
        """Return when it rings next, s on the monotonic clock; None if it does not."""
        return None if dwell is None or dwell.ends == self._rung else dwell.ends

    def rings(self, dwell: Dwell | None, at: float) -> bool:
        """Whether it rings now."""
        due = self.due(dwell)
        if due is None or at < due:
            return False
        self._rung = due
        return True
