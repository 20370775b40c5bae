"""The live camera of a press: what its driver holds still, how late its pictures come, bursts.

A picture counts only if it came no sooner after a frame was shown than the measured delay: what
comes earlier may still show the light before.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal
from chalkbeam.eye.burst import Burst, BurstFrame

U8 = NDArray[np.uint8]

SETTLES = 0.4
"""A light is held so long before it is timed, s: longer than any camera here is late."""

_ROUNDS = 3
_SLOWEST = 2.0  # s
_LEAST_RISE = 6.0  # codes by which white must show
_BANDS = 0.04  # share by which a colour may differ along the rows from picture to picture
_MISSES = 5
_SYSTEM = {"linux": cv2.CAP_V4L2, "darwin": cv2.CAP_AVFOUNDATION, "win32": cv2.CAP_DSHOW}

UNSEEN = (
    "The camera does not see the projector's light: see that it looks at the platen and that the "
    "projector shows this window."
)
BANDED = (
    "The projector's colours show as bands in the camera's picture: set the camera to a longer "
    "exposure, 1/60 s or more."
)


class Capture(Protocol):
    """What is used of OpenCV's camera."""

    def set(self, prop: int, value: float) -> bool:
        """Ask for a setting."""

    def get(self, prop: int) -> float:
        """Return a setting."""

    def read(self) -> tuple[bool, U8 | None]:
        """Return whether a picture came, and it."""


@dataclass(frozen=True)
class Held:
    """What the driver holds still.

    Attributes
    ----------
    exposure, white_balance : bool
    """

    exposure: bool
    white_balance: bool

    @property
    def words(self) -> str:
        """What it means for the operator; empty if all is held."""
        loose = [
            name
            for name, held in (("exposure", self.exposure), ("white balance", self.white_balance))
            if not held
        ]
        if not loose:
            return ""
        return (
            f"The camera keeps changing its {' and '.join(loose)}: set it by hand in its own "
            "program if it can be; what is seen beside the light makes up for some of it."
        )


def hold(capture: Capture) -> Held:
    """Lock exposure and white balance where the driver lets us; read back whether it did."""
    level = capture.get(cv2.CAP_PROP_EXPOSURE)
    exposure = False
    for manual in (1.0, 0.25):  # V4L2's word for it, and the other systems'
        capture.set(cv2.CAP_PROP_AUTO_EXPOSURE, manual)
        if abs(capture.get(cv2.CAP_PROP_AUTO_EXPOSURE) - manual) < 1e-3:
            capture.set(cv2.CAP_PROP_EXPOSURE, level)
            exposure = abs(capture.get(cv2.CAP_PROP_EXPOSURE) - level) <= 0.05 * abs(level)
            break
    capture.set(cv2.CAP_PROP_AUTO_WB, 0.0)
    return Held(exposure, capture.get(cv2.CAP_PROP_AUTO_WB) == 0.0)


@dataclass(frozen=True, eq=False)
class LivePicture:
    """A picture as it came.

    Attributes
    ----------
    image : ndarray, shape (height, width, 3), uint8, BGR
    at : float
        When, s on the monotonic clock.
    """

    image: U8
    at: float


class LiveSource(Protocol):
    """A camera that is watched live."""

    @property
    def words(self) -> str:
        """What the operator should know of it; may be empty."""

    def lit(self, frame: U8 | None, at: float) -> None:
        """Hear what the projector shows: for cameras in software."""

    def read(self) -> LivePicture:
        """Return the next picture, waiting for it.

        Raises
        ------
        Refusal
            If none comes.
        """


class LiveCamera:
    """A camera by an open capture.

    Parameters
    ----------
    name : str
    capture : Capture
    clock : callable
        Seconds; monotonic.
    """

    def __init__(
        self, name: str, capture: Capture, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.name = name
        self._capture, self._clock = capture, clock
        self.held = hold(capture)

    @property
    def words(self) -> str:
        """What the operator should know of it."""
        return self.held.words

    def lit(self, frame: U8 | None, at: float) -> None:
        """Hear what the projector shows: a real camera sees it."""

    def read(self) -> LivePicture:
        """Return the next picture; raises as `LiveSource`."""
        for _ in range(_MISSES):
            good, image = self._capture.read()
            if good and image is not None:
                return LivePicture(np.asarray(image, np.uint8), self._clock())
        raise Refusal(
            f"{self.name} brings no pictures: go on with the keys, which work as ever; plug it in "
            "again and start once more to have it back."
        )


@contextmanager
def open_live(number: int, size: tuple[int, int]) -> Iterator[LiveCamera]:
    """Open a camera by number for pictures of the size that the rig's eye was fitted with.

    Raises
    ------
    Refusal
        If there is none, something else holds it, or it has no such size.
    """
    level = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    capture = cv2.VideoCapture(number, _SYSTEM.get(sys.platform, cv2.CAP_ANY))
    try:
        if not capture.isOpened():
            raise Refusal(
                f"Camera {number} cannot be opened: plug it in, close other programs that use it, "
                "or give another number (0 is the first)."
            )
        capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, size[0])
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, size[1])
        capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)
        camera = LiveCamera(f"Camera {number}", cast(Capture, capture))
        height, width = camera.read().image.shape[:2]
        if (width, height) != size:
            raise Refusal(
                f"Camera {number} brings pictures of {width} x {height} and the rig's eye was "
                f"fitted with {size[0]} x {size[1]}: use that camera, or fit the eye anew."
            )
        yield camera
    finally:
        capture.release()
        cv2.utils.logging.setLogLevel(level)


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
