"""Where pictures come from: a camera, or a recording of one to try things out with."""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal

_WISHED = (1920, 1080)
"""What a camera is asked for; it gives the nearest it has."""

_WARM_UP = 8
"""Pictures a camera needs to find its exposure."""

_MISSES = 5
"""Pictures in a row that a camera may fail to bring."""

_PICTURES = {".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp"}
_PICTURES_A_SECOND = 2.0
"""Of a numbered sequence, whose files carry no time of their own."""

_SYSTEM = {
    "linux": cv2.CAP_V4L2,
    "darwin": cv2.CAP_AVFOUNDATION,
    "win32": cv2.CAP_DSHOW,
}
"""The way to cameras on each system; asked by name, no other is tried and complained of."""


@dataclass(frozen=True, eq=False)
class CameraFrame:
    """One picture.

    Attributes
    ----------
    image : ndarray, shape (height, width, 3), uint8
        BGR.
    at : float
        When, seconds; the start is arbitrary.
    """

    image: NDArray[np.uint8]
    at: float


class FrameSource(Protocol):
    """A source of pictures, one after another."""

    @property
    def name(self) -> str:
        """What it is called in a sentence: "Camera 0"."""

    def read(self) -> CameraFrame | None:
        """Return the next picture, or None when a recording has ended.

        Raises
        ------
        Refusal
            If a camera brings no more.
        """


@contextmanager
def open_source(text: str) -> Iterator[FrameSource]:
    """Open a camera by number, a video file, or numbered pictures (`view-%02d.png`).

    Raises
    ------
    Refusal
        If there is none, or something else holds it.
    """
    # The library would complain on the terminal at length, next to our one sentence.
    level = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    capture = None
    try:
        if re.fullmatch(r"\s*[0-9]{1,4}\s*", text):
            capture = _camera(int(text))
            yield _Camera(f"Camera {int(text)}", capture)
        else:
            capture = _recording(text)
            yield _Recording(Path(text).name, capture, _rate(text, capture))
    finally:
        if capture is not None:
            capture.release()
        cv2.utils.logging.setLogLevel(level)


def _camera(number: int) -> cv2.VideoCapture:
    capture = cv2.VideoCapture(number, _SYSTEM.get(sys.platform, cv2.CAP_ANY))
    if not capture.isOpened():
        raise Refusal(
            f"Camera {number} cannot be opened: plug it in, close other programs that use it, or "
            "give another number (0 is the first)."
        )
    # Compressed, or the cable carries only a few pictures a second of that size.
    capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
    capture.set(cv2.CAP_PROP_FRAME_WIDTH, _WISHED[0])
    capture.set(cv2.CAP_PROP_FRAME_HEIGHT, _WISHED[1])
    capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)
    return capture


def _recording(text: str) -> cv2.VideoCapture:
    path = Path(text)
    if "%" not in text and not path.is_file():
        raise Refusal(
            f"There is no camera or recording “{text}”: give a camera's number, such as 0, a "
            "video file, or numbered pictures as view-%02d.png."
        )
    capture = cv2.VideoCapture(text, cv2.CAP_IMAGES if "%" in text else cv2.CAP_ANY)
    if not capture.isOpened():
        raise Refusal(f"“{text}” cannot be played: give a video file or pictures numbered from 0.")
    return capture


def _rate(text: str, capture: cv2.VideoCapture) -> float:
    if Path(text).suffix.lower() in _PICTURES:
        return _PICTURES_A_SECOND
    rate = float(capture.get(cv2.CAP_PROP_FPS))
    return rate if 0 < rate < 1000 else 30.0


class _Camera:
    """A camera that is watched live."""

    def __init__(self, name: str, capture: cv2.VideoCapture) -> None:
        self.name = name
        self._capture = capture
        self._warm = False

    def read(self) -> CameraFrame | None:
        """Return the newest picture."""
        if not self._warm:
            for _ in range(_WARM_UP):
                self._capture.grab()
            self._warm = True
        for _ in range(_MISSES):
            good, image = self._capture.read()
            if good:
                return CameraFrame(np.asarray(image, np.uint8), time.monotonic())
        raise Refusal(
            f"{self.name} brings no pictures: plug it in again, close other programs that use it, "
            "and start once more."
        )


class _Recording:
    """A recording that is watched picture by picture, however long each takes."""

    def __init__(self, name: str, capture: cv2.VideoCapture, rate: float) -> None:
        self.name = name
        self._capture = capture
        self._rate = rate
        self._count = 0

    def read(self) -> CameraFrame | None:
        """Return the next picture, or None at the end."""
        good, image = self._capture.read()
        if not good:
            return None
        self._count += 1
        return CameraFrame(np.asarray(image, np.uint8), self._count / self._rate)
