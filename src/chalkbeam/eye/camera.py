"""How late a camera's pictures come, and bursts taken with it.

A picture counts only if it came no sooner after a frame was shown than the measured delay: what
comes earlier may still show the light before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.eye.burst import Burst
from chalkbeam.eye.flashes import BurstFrame

U8 = NDArray[np.uint8]

SETTLES = 0.4
"""A light is held so long before it is timed, s: longer than any camera here is late."""

_ROUNDS = 3
_SLOWEST = 2.0  # s
_LEAST_RISE = 6.0  # codes by which white must show
_BANDS = 0.04  # share by which a colour may differ along the rows from picture to picture

UNSEEN = (
    "The camera does not see the projector's light: see that it looks at the platen and that the "
    "projector shows this window."
)
BANDED = (
    "The projector's colours show as bands in the camera's picture: set the camera to a longer "
    "exposure, 1/60 s or more."
)


@dataclass(frozen=True)
class Lag:
    """How late pictures come.

    Attributes
    ----------
    early, late : float
        A picture that comes sooner than `early` after a light shows nothing of it, one that comes
        `late` shows it alone, s.
    interval : float
        From picture to picture, s.
    """

    early: float
    late: float
    interval: float

    @property
    def hold(self) -> float:
        """How long a light is held so that one picture shows it alone, s."""
        return self.late - self.early + 1.2 * self.interval


class DelayTimer:
    """Times how late pictures come, by flashes of white.

    Show `white` or darkness, tell when it is up (`shown`), and give it pictures until `done`.

    Attributes
    ----------
    white : bool
        What to show now.
    lag : Lag or None
    trouble : str
        Why nothing could be timed.
    banded : bool
        Whether a colour wheel shows.
    """

    def __init__(self) -> None:
        self.white = False
        self.lag: Lag | None = None
        self.trouble, self.banded = "", False
        self._up: float | None = None
        self._dark: U8 | None = None
        self._times: list[float] = []
        self._whites: list[U8] = []
        self._last = self._interval = 0.0

    @property
    def done(self) -> bool:
        """Whether it is over, well or not."""
        return self.lag is not None or bool(self.trouble)

    def shown(self, at: float) -> None:
        """Say that what is to be shown is up."""
        if self._up is None:
            self._up = at

    def take(self, picture: U8, at: float) -> None:
        """Look at a picture."""
        if self._last:
            self._interval = max(self._interval, min(at - self._last, 0.25))
        self._last = at
        if self.done or self._up is None:
            return
        since = at - self._up
        if not self.white:
            if since >= SETTLES:
                self._dark, self.white, self._up = picture, True, None
            return
        assert self._dark is not None
        if len(self._times) < _ROUNDS and not self._whites:
            # The light comes up within a picture or two: half of it is when it came.
            if _rise(self._dark, picture) >= _LEAST_RISE:
                self._times.append(since)
                self._whites.append(picture)
            elif since > _SLOWEST:
                self.trouble = UNSEEN
            return
        if since < self._times[-1] + SETTLES:
            self._whites = [*self._whites[-1:], picture]
            return
        self.banded = self.banded or banded(self._whites[0], self._whites[-1])
        self._whites = []
        if len(self._times) == _ROUNDS:
            step = self._interval
            early = max(0.0, min(self._times) - step)
            self.lag = Lag(early, max(self._times) + step, step)
        else:
            self.white, self._up = False, None


def _rise(dark: U8, picture: U8) -> float:
    """Return by how many codes the brighter half of what changed became brighter."""
    a, b = (cv2.resize(each, (64, 36), interpolation=cv2.INTER_AREA) for each in (dark, picture))
    return float(np.percentile(b.max(axis=2).astype(float) - a.max(axis=2), 75))


def banded(one: U8, other: U8) -> bool:
    """Tell whether colours stand in bands that move from picture to picture under one light."""
    rows = []
    for picture in (one, other):
        linear = (picture.astype(np.float32) / 255) ** 2.2
        rows.append(linear.mean(axis=1) + 1e-3)
    ratio = rows[0] / rows[1]
    ratio /= np.median(ratio, axis=0)
    tall = max(3, len(ratio) // 40 | 1)
    smooth = cv2.blur(np.ascontiguousarray(ratio), (1, tall))
    return bool(float(smooth.std(axis=0).max()) > _BANDS)


class BurstTaker:
    """Takes the pictures of a burst, one light after the other; movement stops it.

    Lights follow one another faster than their pictures come: each is held just so long that one
    picture surely shows it alone. A light whose picture was missed is shown again.

    Parameters
    ----------
    frames : sequence of BurstFrame
        The first one is shown once more at the end, to see that nothing moved.
    lag : Lag
    moved : callable
        Whether anything moved between two pictures under one light.
    where : str
        What the burst is called in sentences.

    Attributes
    ----------
    stopped : bool
        Whether something moved.
    """

    def __init__(
        self,
        frames: Sequence[BurstFrame],
        lag: Lag,
        moved: Callable[[U8, U8], bool],
        where: str = "the camera",
    ) -> None:
        self._frames = tuple(frames)
        self._lag, self._moved, self._where = lag, moved, where
        self._queue = [*range(len(self._frames)), len(self._frames)]
        self._up: list[tuple[int, float]] = []
        self._waits = True
        self._taken: dict[int, U8] = {}
        self.stopped = False

    @property
    def frame(self) -> U8:
        """What is to be shown now."""
        return self._image(self._queue[0] if self._waits and self._queue else self._up[-1][0])

    @property
    def burst(self) -> Burst | None:
        """The burst once it is whole and nothing moved."""
        if self.stopped or len(self._taken) <= len(self._frames):
            return None
        pictures = {each.name: self._taken[k] for k, each in enumerate(self._frames)}
        return Burst(self._where, pictures)

    def shown(self, at: float) -> None:
        """Say that `frame` is up."""
        if self._waits and self._queue:
            self._up.append((self._queue.pop(0), at))
            self._waits = False

    def take(self, picture: U8, at: float) -> None:
        """Take a picture for the light that it surely shows, if any."""
        if self.stopped or not self._up:
            return
        for place, (light, up) in enumerate(self._up):
            after = self._up[place + 1][1] if place + 1 < len(self._up) else np.inf
            alone = up + self._lag.late <= at < after + self._lag.early
            if alone and light not in self._taken:
                self._taken[light] = picture
        last = len(self._frames)
        if 0 in self._taken and last in self._taken:
            self.stopped = self._moved(self._taken[0], self._taken[last])
        if self._waits or at < self._up[-1][1] + self._lag.hold:
            return
        if not self._queue and at >= self._up[-1][1] + self._lag.late + self._lag.hold:
            # Missed ones once more, and the last one after them.
            self._taken.pop(last, None)
            self._queue = [k for k in range(last + 1) if k not in self._taken]
        self._waits = bool(self._queue)

    def _image(self, light: int) -> U8:
        return self._frames[light % len(self._frames)].image
