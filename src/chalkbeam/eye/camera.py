"""How late a camera's pictures come, and bursts taken with it.

A picture counts only if it came no sooner after a frame was shown than the measured delay: what
comes earlier may still show the light before. Lights are changed as pictures come, so pictures come
about as long after a light in a burst as they did when the camera was timed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.rig.eye import eye_of
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.coming import ComingPictures
from chalkbeam.eye.flashes import BurstFrame

U8 = NDArray[np.uint8]
F64 = NDArray[np.float64]

SETTLES = 0.4
"""A light is held so long before it is timed, s: longer than any camera here is late."""

_ROUNDS = 4
_SLOWEST = 2.0  # s
_LEAST_RISE = 6.0  # codes by which white must show
_CELLS = (64, 36)  # across and down: what the light is looked for in
_STRIPS = 6  # of the picture, from top to bottom: a rolling shutter exposes one after the other
_BARELY, _WHOLLY = 0.1, 0.93  # of white's rise: less shows nothing of it, more it alone
_NOISE = 1.0  # codes
_JITTER = 0.1  # of the time from picture to picture: what came then comes so much off that again
_SPARE = 0.3  # of the time from picture to picture, by which one may come late
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
        """How long a light is held so that a picture shows it alone, s."""
        return self.late - self.early + _SPARE * self.interval


class DelayTimer:
    """Times how late pictures come, by flashes of white.

    Show `white` or darkness, tell when it is up (`shown`), and give it pictures until `done`.

    Parameters
    ----------
    where : ndarray, shape (36, 64), bool, optional
        Cells of the picture in which the light is looked for (`platen_cells`); all without.

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

    def __init__(self, where: NDArray[np.bool_] | None = None) -> None:
        self._where = np.ones(_CELLS[::-1], dtype=bool) if where is None else where
        self.white = False
        self.lag: Lag | None = None
        self.trouble, self.banded = "", False
        self._up: float | None = None
        self._dark: U8 | None = None
        self._before: U8 | None = None
        self._rounds: list[list[tuple[float, F64]]] = []
        self._seen: float | None = None
        self._gaps: list[float] = []
        self._last = 0.0

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
            self._gaps.append(at - self._last)
        self._last = at
        if self.done or self._up is None:
            return
        since, before = at - self._up, self._before
        self._before = picture
        if not self.white:
            if since >= SETTLES:
                self._dark, self._seen = picture, None
                self.white, self._up = True, None
                self._rounds.append([])
            return
        assert self._dark is not None
        rise = _rise(self._dark, picture, self._where)
        self._rounds[-1].append((since, rise))
        if self._seen is None:
            if rise.max() >= _LEAST_RISE:
                self._seen = since
            elif since > _SLOWEST:
                self.trouble = UNSEEN
        elif since >= self._seen + SETTLES:
            self.banded = self.banded or (before is not None and banded(before, picture))
            if len(self._rounds) == _ROUNDS:
                self.lag = _lag(self._rounds, float(np.median(self._gaps)))
            else:
                self.white, self._up = False, None


def platen_cells(rig: Rig) -> NDArray[np.bool_]:
    """Return in which cells of the picture of a rig's eye its platen lies, shape (36, 64)."""
    eye, face = eye_of(rig), rig.face
    flat = np.array([[x, y, 0.0] for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    seen = eye.camera.project(flat * (face.width / 2, face.depth / 2, 0.0))
    cells = np.zeros(_CELLS[::-1], np.uint8)
    at = (seen + 0.5) * np.divide(_CELLS, eye.size) - 0.5
    cv2.fillConvexPoly(cells, np.rint(at).astype(np.int32), 1)
    return cells.astype(bool) if cells.any() else np.ones_like(cells, dtype=bool)


def _rise(dark: U8, picture: U8, where: NDArray[np.bool_]) -> F64:
    """Return by how many codes the brighter part of each strip became brighter.

    A strip of which no cell is looked at became no brighter.
    """
    a, b = (cv2.resize(each, _CELLS, interpolation=cv2.INTER_AREA) for each in (dark, picture))
    more = b.max(axis=2).astype(np.float64) - a.max(axis=2)
    strips = zip(more.reshape(_STRIPS, -1), where.reshape(_STRIPS, -1), strict=True)
    return np.array([np.percentile(s[w], 75) if w.any() else 0.0 for s, w in strips])


def _lag(rounds: list[list[tuple[float, F64]]], interval: float) -> Lag:
    """Return how late pictures come: none of the rounds came later or sooner."""
    whole = np.max([rise for each in rounds for _, rise in each], axis=0)
    lit = whole >= _LEAST_RISE
    last_dark, first_white = [], []
    for each in rounds:
        nothing = [bool((r <= _BARELY * whole + _NOISE)[lit].all()) for _, r in each]
        alone = [bool((r >= _WHOLLY * whole - _NOISE)[lit].all()) for _, r in each]
        begins = nothing.index(False)
        last_dark.append(each[begins - 1][0] if begins else each[0][0] - interval)
        first_white.append(each[alone.index(True)][0] if True in alone else each[-1][0])
    off = _JITTER * interval
    return Lag(max(0.0, min(last_dark) + off), max(first_white) - off, interval)


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
    picture surely shows it alone. A light whose picture was missed is shown again, for longer.

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
    coming : Burst
        What is taken; whoever reads a picture of it waits until that is there.
    spare : float
        By how much longer lights were held in the end, s.
    """

    def __init__(
        self,
        frames: Sequence[BurstFrame],
        lag: Lag,
        moved: Callable[[U8, U8], bool],
        where: str = "the camera",
        spare: float = 0.0,
    ) -> None:
        self._frames = tuple(frames)
        self._lag, self._moved, self.spare = lag, moved, spare
        self._coming = ComingPictures([each.name for each in self._frames])
        self.coming = Burst(where, self._coming)
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
    def whole(self) -> bool:
        """Whether all has been taken and nothing moved."""
        return not self.stopped and len(self._taken) > len(self._frames)

    def lacks(self, *names: str) -> bool:
        """Tell whether one of these pictures has not been taken yet."""
        return self._coming.lacks(*names)

    def stop(self) -> None:
        """Take no more."""
        self.stopped = True
        self._coming.stop()

    def shown(self, at: float) -> None:
        """Say that `frame` is up."""
        if self._waits and self._queue:
            self._up.append((self._queue.pop(0), at))
            self._waits = False

    def take(self, picture: U8, at: float) -> None:
        """Take a picture for the light that it surely shows, if any."""
        if self.stopped or not self._up:
            return
        last = len(self._frames)
        for place, (light, up) in enumerate(self._up):
            after = self._up[place + 1][1] if place + 1 < len(self._up) else np.inf
            alone = up + self._lag.late <= at < after + self._lag.early
            if alone and light not in self._taken:
                self._taken[light] = picture
                if light < last:
                    self._coming.put(self._frames[light].name, picture)
        if 0 in self._taken and last in self._taken and self._moved(*self._ends):
            self.stop()
        hold = self._lag.hold + self.spare
        if self._waits or at < self._up[-1][1] + hold:
            return
        if not self._queue and at >= self._up[-1][1] + self._lag.late + hold:
            # Missed ones once more, and the last one after them.
            self._taken.pop(last, None)
            self._queue = [k for k in range(last + 1) if k not in self._taken]
            self.spare += self._lag.interval
        self._waits = bool(self._queue)

    @property
    def _ends(self) -> tuple[U8, U8]:
        return self._taken[0], self._taken[len(self._frames)]

    def _image(self, light: int) -> U8:
        return self._frames[light % len(self._frames)].image
