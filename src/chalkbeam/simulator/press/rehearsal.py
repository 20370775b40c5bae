"""A shift rehearsed: a worker, a film and a station, stepped through time together.

Time goes by the camera's pictures and by nothing else: what the program itself takes to look at one
does not count, and reading a burst takes the seconds that are stated for it (`StatedError`), as
measured of the real readers, from the last picture on that its answer waits for. While bursts are
shown the eye looks at every picture; in between at every third, as on a computer that has other
things to do.

Bursts are shown and filmed like everything, and what changed is taken from their pictures; where
garment and transfer lie is taken from the stage with a stated error: the film is too coarse to be
measured to half a millimetre. How well real bursts are read is measured elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.eye.sights import FlashKind
from chalkbeam.simulator.press.film import Film
from chalkbeam.simulator.press.reader import StageReader
from chalkbeam.simulator.press.stage import Stage
from chalkbeam.simulator.press.work import PressWorker
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_at_press import EyeAtPress, EyeOptions
from chalkbeam.station.frames import FrameCache

RATE = 30.0
"""Pictures of the camera a second."""

_SHOWS = 0.5 / RATE  # s from a picture to the light that follows from it
_SKIPS = 3  # pictures of which the eye sees one while nothing is flashed


class Rehearsal:
    """Time, stepped: what is lit is filmed, what is filmed is looked at, the worker goes on.

    Parameters
    ----------
    controller : StationController
    output : FrameCache
        The controller's.
    film : Film
    rig : Rig
    worker : PressWorker
    seed : int
    options : EyeOptions, optional
    reader : callable, optional
        Makes what reads bursts, given what tells the stage; a `StageReader` without it.

    Attributes
    ----------
    eye : EyeAtPress
    at : float
        The time, s.
    """

    def __init__(
        self,
        controller: StationController,
        output: FrameCache,
        film: Film,
        rig: Rig,
        worker: PressWorker,
        *,
        seed: int = 1,
        options: EyeOptions | None = None,
        reader: Callable[[Callable[[], Stage]], StageReader] | None = None,
    ) -> None:
        self.film, self.worker = film, worker
        self._controller, self._output = controller, output
        self.stage, self.at = Stage(), 0.0
        self._asked: list[tuple[Callable[[], Any], Future[Any]]] = []
        self._jobs: list[tuple[float, Any, Future[Any]]] = []
        self._told = 0.0
        made = reader or (lambda stage: StageReader(stage, np.random.default_rng(seed)))
        self.reader = made(lambda: self.stage)
        self.eye = EyeAtPress(controller, rig, self._submit, options, reader=self.reader)
        worker.begins = lambda: self.eye.watch.knows_bare
        self._work = worker.work()

    def run(self, seconds: float = math.inf) -> None:
        """Go on until the worker is done, or for so long."""
        end = self.at + seconds
        for stage, lasting in self._work:
            self.stage = stage
            self.film.stage(stage, self.at)
            until = self.at + lasting
            while self.at < until:
                self.step()
            if self.at >= end:
                return

    def step(self) -> None:
        """Go on by one picture of the camera."""
        self.at += (1 if self.eye.flashing else _SKIPS) / RATE
        self.worker.now = self.at
        for due, told, future in self._jobs:
            if self.at >= due and not future.done():
                future.set_result(told)
        self._jobs = [each for each in self._jobs if not each[2].done()]
        self.eye.look(self.film.picture(self.at), self.at)
        if not self.eye.tells:
            self._told = self.at
        if not self.eye.flashing:
            self._read()
        self.eye.notice(self.at)
        frame, up = self.eye.frame(self._scene), self.at + _SHOWS
        self.film.show(frame, up)
        self.eye.shown(frame, up)

    def _scene(self) -> NDArray[np.uint8] | None:
        return self._output.frame(self._controller.scene(self.at))

    def _submit(self, job: Callable[[], Any]) -> Future[Any]:
        future: Future[Any] = Future()
        self._asked.append((job, future))
        return future

    def _read(self) -> None:
        """Read what was filmed: what a burst shows is what lies there now, whenever it is read."""
        garment, transfer = self.reader.error.seconds
        lasts = {FlashKind.GARMENT: garment, FlashKind.TRANSFER: transfer}
        seconds = lasts.get(self.eye.reads, transfer)
        for job, future in self._asked:
            try:
                told = job()
            except Refusal as refusal:  # cut short
                future.set_exception(refusal)
            else:
                self._jobs.append((max(self.at, self._told + seconds), told, future))
        self._asked = []
