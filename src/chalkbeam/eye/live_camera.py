"""The live camera of a press: what its driver holds still, and pictures as they come."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal

U8 = NDArray[np.uint8]

_MISSES = 5
_SYSTEM = {"linux": cv2.CAP_V4L2, "darwin": cv2.CAP_AVFOUNDATION, "win32": cv2.CAP_DSHOW}


class Capture(Protocol):
    """What is used of OpenCV's camera."""

    def set(self, prop: int, value: float) -> bool:
        """Ask for a setting."""

    def get(self, prop: int) -> float:
        """Return a setting."""

    def read(self) -> tuple[bool, U8 | None]:
        """Return whether a picture came, and it."""

    def release(self) -> None:
        """Let go of it."""


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
    """A camera that is opened again whenever it has been unplugged and comes back.

    Parameters
    ----------
    name : str
    reopen : callable
        Opens its driver; None while there is none.
    size : (int, int)
        Of its pictures, px.
    clock : callable
        Seconds; monotonic.

    Raises
    ------
    Refusal
        If it cannot be opened, or has no pictures of that size.
    """

    def __init__(
        self,
        name: str,
        reopen: Callable[[], Capture | None],
        size: tuple[int, int],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name, self.size = name, size
        self._reopen, self._clock = reopen, clock
        self._capture: Capture | None = None
        self.held = Held(False, False)
        self.read()

    @property
    def words(self) -> str:
        """What the operator should know of it."""
        return self.held.words

    def lit(self, frame: U8 | None, at: float) -> None:
        """Hear what the projector shows: a real camera sees it."""

    def read(self) -> LivePicture:
        """Return the next picture; raises as `LiveSource`."""
        if self._capture is None:
            self._capture = self._reopen()
            if self._capture is None:
                raise Refusal(
                    f"{self.name} cannot be opened: plug it in, close other programs that use it, "
                    "or give another number (0 is the first)."
                )
            self.held = hold(self._capture)
        for _ in range(_MISSES):
            good, image = self._capture.read()
            if good and image is not None:
                return LivePicture(self._whole(np.asarray(image, np.uint8)), self._clock())
        self.close()
        raise Refusal(
            f"{self.name} brings no pictures: go on with the keys, which work as ever; plug it in "
            "again, and it goes on by itself."
        )

    def close(self) -> None:
        """Let go of its driver."""
        if self._capture is not None:
            self._capture.release()
        self._capture = None

    def _whole(self, image: U8) -> U8:
        height, width = image.shape[:2]
        if (width, height) == self.size:
            return image
        self.close()
        raise Refusal(
            f"{self.name} brings pictures of {width} x {height} and the rig's eye was fitted with "
            f"{self.size[0]} x {self.size[1]}: use that camera, or fit the eye anew."
        )


@contextmanager
def open_live(number: int, size: tuple[int, int]) -> Iterator[LiveCamera]:
    """Open a camera by number for pictures of the size that the rig's eye was fitted with.

    Raises
    ------
    Refusal
        If there is none, something else holds it, or it has no such size.
    """

    def reopen() -> Capture | None:
        capture = cv2.VideoCapture(number, _SYSTEM.get(sys.platform, cv2.CAP_ANY))
        if not capture.isOpened():
            capture.release()
            return None
        capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, size[0])
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, size[1])
        capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)
        return cast(Capture, capture)

    level = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    camera = None
    try:
        camera = LiveCamera(f"Camera {number}", reopen, size)
        yield camera
    finally:
        if camera is not None:
            camera.close()
        cv2.utils.logging.setLogLevel(level)
