"""A camera's pictures on their way into the window's thread, one at a time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal
from chalkbeam.eye.live_camera import LivePicture, LiveSource
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_by_platen import EyeByPlaten
from overlay.window.inputs import Input, Told

U8 = NDArray[np.uint8]

_AGAIN = 1.0
"""A camera that brings nothing is asked again after so long, s."""


@dataclass(frozen=True)
class EyeSource:
    """A camera, and what goes by it.

    Attributes
    ----------
    camera : LiveSource
    begin : callable
        Makes the eye for a controller; it is given what posts an input to the station, too.
    """

    camera: LiveSource
    begin: Callable[[StationController, Callable[[Input], None]], EyeByPlaten]


class EyeInWindow:
    """An eye that is told of pictures in the window's thread.

    Parameters
    ----------
    source : EyeSource
    """

    def __init__(self, source: EyeSource) -> None:
        self._source = source
        self._eye: EyeByPlaten | None = None
        self._post: Callable[[Input], None] = lambda happened: None
        self._taken = threading.Event()
        self._over = threading.Event()
        self._frame: U8 | None = None
        self._lost = False

    def listen(self, post: Callable[[Input], None]) -> None:
        """Take what passes an input on to the window's thread."""
        self._post = post

    def begin(self, controller: StationController) -> None:
        """Begin to watch."""
        self._eye = self._source.begin(controller, self._post)
        threading.Thread(target=self._film, daemon=True, name="eye").start()

    def close(self) -> None:
        """Stop watching."""
        self._over.set()
        self._taken.set()

    def take(self, happened: Input) -> bool:
        """Take an input if it is a picture or the want of one; return whether it was."""
        match happened:
            case Told(LivePicture(image=image, at=at)) if self._eye is not None:
                self._taken.set()
                if self._lost:
                    self._lost = False
                    self._eye.back()
                self._eye.look(image, at)
            case Told(Refusal() as refusal) if self._eye is not None:
                self._lost = True
                self._eye.failed(str(refusal), time.monotonic())
            case _:
                return False
        return True

    def notice(self) -> None:
        """Let the eye see where the run stands."""
        if self._eye is not None:
            self._eye.notice(time.monotonic())

    def frame(self, scene: Callable[[], U8 | None]) -> U8 | None:
        """Return what is to be lit."""
        self._frame = scene() if self._eye is None else self._eye.frame(scene)
        return self._frame

    def shown(self) -> None:
        """Say that the last frame is up."""
        now = time.monotonic()
        self._source.camera.lit(self._frame, now)
        if self._eye is not None:
            self._eye.shown(self._frame, now)

    def _film(self) -> None:
        while not self._over.is_set():
            try:
                picture = self._source.camera.read()
            except Refusal as refusal:
                self._post(Told(refusal))
                self._over.wait(_AGAIN)
                continue
            self._taken.clear()
            self._post(Told(picture))
            self._taken.wait()
