"""The eye's own light: flashes that time how late the camera is, and bursts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.camera import BurstTaker, DelayTimer, Lag, platen_cells
from chalkbeam.eye.flashes import COLOURS, burst_frames

U8 = NDArray[np.uint8]

EMPTY = "dark", "white", "dim", "dots"
"""Of a burst, for an empty platen that is known: enough to tell drift."""

LAID = "dark", "white", "dim"
"""Of a burst, for a transfer on a garment whose surface is known."""

_UNREAD = "pattern", "dots"  # of a burst, where a garment is read

_AGAIN = 20.0
"""Where the camera did not see the light it is timed once more after so long, s."""


@dataclass(frozen=True)
class Timed:
    """It is known how late pictures come."""

    lag: Lag
    banded: bool


@dataclass(frozen=True)
class Untimed:
    """It could not be known: a sentence why."""

    why: str


@dataclass(frozen=True)
class Disturbed:
    """Something moved while a burst was taken: it is no more."""


@dataclass(frozen=True)
class Whole:
    """A burst has been taken whole."""


Outcome = Timed | Untimed | Disturbed | Whole


class EyeLight:
    """Shows light of the eye's own, and takes its pictures.

    Parameters
    ----------
    rig : Rig
        With its eye.
    moved : callable
        Whether anything moved between two pictures under one light.

    Attributes
    ----------
    waits : bool
        Whether the camera did not see the light, and is timed again in a while.
    """

    def __init__(self, rig: Rig, moved: Callable[[U8, U8], bool]) -> None:
        self._frames = {each.name: each for each in burst_frames(rig)}
        self._moved = moved
        self._lag = Lag(0.0, 0.15, 0.1)
        self._platen = platen_cells(rig)
        self._timer: DelayTimer | None = DelayTimer(self._platen)
        self._again: float | None = None
        self._taker: BurstTaker | None = None
        self._spare = 0.0

    @property
    def shows(self) -> bool:
        """Whether light of its own is to be shown."""
        return self._taker is not None or self._timer is not None

    @property
    def tells(self) -> bool:
        """Whether the burst under way, if any, lacks nothing but colour."""
        if self._taker is None:
            return True
        names = [name for name in self._taker.coming.pictures if name not in COLOURS]
        return not self._taker.lacks(*names)

    @property
    def waits(self) -> bool:
        """Whether the camera could not be timed, and is to be timed again in a while."""
        return self._again is not None

    @property
    def frame(self) -> U8:
        """What is to be shown, while `shows`."""
        if self._timer is not None:
            return self._frames["white" if self._timer.white else "dark"].image
        assert self._taker is not None
        return self._taker.frame

    def shown(self, frame: U8 | None, at: float) -> None:
        """Say that a frame is up."""
        if self._timer is not None:
            self._timer.shown(at)
        elif self._taker is not None and frame is self._taker.frame:
            self._taker.shown(at)

    def flash(self, names: tuple[str, ...] = ()) -> Burst:
        """Begin a burst, of some pictures or of all that tell of a garment; return it.

        Its pictures are still to come.
        """
        self.stop()
        chosen = names or tuple(name for name in self._frames if name not in _UNREAD)
        frames = [self._frames[name] for name in chosen]
        self._taker = BurstTaker(frames, self._lag, self._moved, spare=self._spare)
        return self._taker.coming

    def flash_all(self) -> Burst:
        """Begin a whole burst."""
        return self.flash(tuple(self._frames))

    def stop(self) -> None:
        """Stop a burst."""
        if self._taker is not None:
            self._taker.stop()
        self._taker = None

    def failed(self, at: float) -> None:
        """Say that the camera brings no pictures: it is timed anew once it does."""
        self.stop()
        if self._timer is not None:
            self._timer, self._again = None, at + _AGAIN

    def time_anew(self) -> None:
        """Time the camera again: it may be another one by now."""
        self.stop()
        self._again, self._timer = None, DelayTimer(self._platen)

    def take(self, picture: U8, at: float) -> Outcome | None:
        """Take a picture; return what came of it, if anything."""
        if self._timer is None and self._again is not None and at >= self._again:
            self.time_anew()
        if self._timer is not None:
            return self._time(picture, at)
        if self._taker is None:
            return None
        self._taker.take(picture, at)
        taker = self._taker
        if not taker.whole and not taker.stopped:
            return None
        self._taker, self._spare = None, taker.spare
        return Whole() if taker.whole else Disturbed()

    def _time(self, picture: U8, at: float) -> Outcome | None:
        timer = self._timer
        assert timer is not None
        timer.take(picture, at)
        if not timer.done:
            return None
        self._timer = None
        if timer.lag is None:
            self._again = at + _AGAIN
            return Untimed(timer.trouble)
        self._lag, self._spare = timer.lag, 0.0
        return Timed(timer.lag, timer.banded)
