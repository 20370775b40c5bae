"""A press, its worker and its fixed camera in software, live: to try a shift without hardware."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Generator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.model.eye import Eye
from calibration.model.pinhole import Pinhole
from calibration.rig.file import Rig
from chalkbeam.eye.live_camera import LivePicture
from chalkbeam.simulator.press.film import Film, FilmedBy
from chalkbeam.simulator.press.reader import StageReader
from chalkbeam.simulator.press.stage import Stage
from chalkbeam.simulator.press.work import PressWorker
from chalkbeam.simulator.rig.optics import look_at
from chalkbeam.station.controller import StationController
from overlay.window.inputs import Key

_SIZE = (960, 540)
_FILM = (480, 270)
_RATE = 15.0
_STANDS = (820.0, 380.0, 760.0)  # mm: to the right of the press and behind it
_ACROSS = 0.8  # focal length over the picture's width


def with_simulated_eye(rig: Rig) -> Rig:
    """Return a rig with a camera beside the press that is exactly known."""
    width, height = _SIZE
    rx, ry, rz = look_at(_STANDS, (0.0, 0.0, 0.0))
    turned = Pinhole(_ACROSS * width, (width - 1) / 2, (height - 1) / 2, rx=rx, ry=ry, rz=rz)
    tx, ty, tz = (float(value) for value in -turned.rotation @ np.array(_STANDS))
    camera = replace(turned, tx=tx, ty=ty, tz=tz)
    none = tuple((0.0,) * 15 for _ in range(15)), tuple((0.0,) * 20 for _ in range(15))
    return replace(rig, eye=Eye(camera, _SIZE, *none, 0.1, 100, 100, ("It is simulated.",)))


class SimulatedPress:
    """A live source of pictures of a press at which somebody works through the order.

    Parameters
    ----------
    rigs : sequence of Rig
        Those of its platens, each with its eye.
    seed : int
    """

    words = "The camera, the press and whoever works at it are simulated."

    def __init__(self, rigs: Sequence[Rig], seed: int = 1) -> None:
        by = FilmedBy(size=_FILM)
        self._films = [
            (rig, Film(rig.eye.camera, rig.eye.size, rig.projector, rig.face, by, seed))
            for rig in rigs
            if rig.eye is not None
        ]
        self._film = self._films[0][1]
        self._controller: StationController | None = None
        self._frame: NDArray[np.uint8] | None = None
        self._rng = np.random.default_rng(seed)
        self._worker: PressWorker | None = None
        self._work: Generator[tuple[Stage, float], None, None] | None = None
        self._stage, self._until, self._next = Stage(), -math.inf, 0.0
        self.reader = StageReader(lambda: self._stage, self._rng)

    def begin(
        self,
        controller: StationController,
        give: Callable[[Key], object],
        begins: Callable[[], bool],
    ) -> None:
        """Let somebody begin to work before a station."""
        self._controller = controller
        self._worker = PressWorker(controller, give, self._rng, begins=begins)
        self._work = self._worker.work()

    def lit(self, frame: NDArray[np.uint8] | None, at: float) -> None:
        """Light a frame."""
        self._frame = frame
        self._film.show(frame, at)

    def _change_platens(self, now: float) -> None:
        """Film the platen that the worker says is on."""
        assert self._controller is not None
        if self._controller.view().to_see_to:
            return
        rig = self._controller.readiness.rig
        film = next((film for each, film in self._films if each is rig), self._film)
        if film is not self._film:
            self._film = film
            film.show(self._frame, now)

    def read(self) -> LivePicture:
        """Return the next picture, when its time has come."""
        now = time.monotonic()
        self._next = max(self._next + 1 / _RATE, now)
        time.sleep(self._next - now)
        now = time.monotonic()
        if self._worker is not None and self._work is not None and now >= self._until:
            self._worker.now = now
            self._stage, lasting = next(self._work, (Stage(), math.inf))
            self._until = now + lasting
            self._change_platens(now)
            self._film.stage(self._stage, now)
        return LivePicture(self._film.picture(now), now)
