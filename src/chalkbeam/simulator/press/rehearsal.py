"""A shift rehearsed: a worker, a film and a station, stepped through time together.

Bursts are shown and filmed like everything, but what is read from them is taken from the stage with
a stated error: the film is too coarse to be measured to half a millimetre. How well real bursts are
read is measured elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.garment import GarmentFound
from chalkbeam.eye.read import PieceRead
from chalkbeam.eye.transfer import Tolerance
from chalkbeam.eye.values import (
    ColourSeen,
    FaceSeen,
    GarmentSeen,
    Reading,
    RigSeen,
    SizeSeen,
    TransferSeen,
)
from chalkbeam.garments import Garment
from chalkbeam.simulator.press.film import Film
from chalkbeam.simulator.press.stage import Stage
from chalkbeam.simulator.press.work import PressWorker
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_at_press import EyeAtPress, EyeOptions
from chalkbeam.station.frames import FrameCache
from overlay.colour.colorimetry import lab_from_linear, srgb_from_linear


@dataclass(frozen=True)
class StatedError:
    """What the analytic reader adds to the truth.

    Attributes
    ----------
    pose : (mm, degrees)
        Of a garment, standard deviation along an axis.
    transfer : (mm, degrees)
    sure : float
        How often a garment is sure.
    seconds : float
        How long reading takes.
    """

    pose: tuple[float, float] = (0.8, 0.25)
    transfer: tuple[float, float] = (0.25, 0.12)
    sure: float = 0.88
    seconds: float = 1.5


class StageReader:
    """Reads the stage with a stated error, in place of a burst.

    Parameters
    ----------
    stage : callable
        What is on the stage now.
    rng : Generator
    error : StatedError
    """

    def __init__(
        self,
        stage: Callable[[], Stage],
        rng: np.random.Generator,
        error: StatedError | None = None,
    ) -> None:
        self._stage, self._rng, self._error = stage, rng, error or StatedError()

    def read(
        self,
        rig: Rig,
        burst: Burst,
        empty: Burst,
        garment: Garment,
        face: str,
        *,
        wanted: Any = None,
        usual: Isometry | None = None,
        lies: Isometry | None = None,
        others: Any = (),
        tolerance: Tolerance | None = None,
    ) -> PieceRead:
        """Return what a reading would be; see `chalkbeam.eye.read.read_piece`."""
        stage, rng = self._stage(), self._rng
        unchanged = RigSeen(0.1, "unchanged")
        pose = lies or usual or Isometry(mirrored=True)
        laid = stage.garment
        if laid is None:
            why = "Nothing lies on the platen: lay the garment on it."
            nothing = GarmentSeen(False, False, why=why)
            size = SizeSeen(None, False, why)
            reading = Reading(nothing, size, None, None, None, unchanged)
            return PieceRead(reading, GarmentFound(nothing, size), pose)
        far, degrees = self._error.pose
        true = laid.platen_from_garment
        found = Isometry(
            true.x + far * float(rng.normal()), true.y + far * float(rng.normal()),
            true.angle + math.radians(degrees * float(rng.normal())), mirrored=True,
        )  # fmt: skip
        sure = bool(rng.random() < self._error.sure)
        size, why = SizeSeen(None, sure), "The collar, the shoulders and the sides agree."
        if laid.garment.size != garment.size:
            sure = False
            words = f"it looks like {laid.garment.size}, the order says {garment.size}"
            size = SizeSeen(None, False, f"Check the piece: {words}.")
        if not sure:
            why = "Not sure where it lies: the collar and the shoulders disagree."
        lies_up: FaceSeen = "front" if face == "front" else "back"
        neck = found.x, found.y
        seen = GarmentSeen(True, sure, neck, found.angle, face=lies_up, why=why)
        linear = np.array([laid.colour])
        colour = ColourSeen(
            "#" + "".join(f"{int(code):02x}" for code in srgb_from_linear(linear)[0]),
            tuple(lab_from_linear(linear)[0]), "the stage",
        )  # fmt: skip
        transfer = None
        if wanted is not None and stage.sheets:
            target = pose @ wanted.garment_from_art
            transfer = self._transfer(stage, target, tolerance or Tolerance())
        reading = Reading(seen, size, None, colour, transfer, unchanged)
        return PieceRead(reading, GarmentFound(seen, size, platen_from_garment=found), pose)

    def _transfer(self, stage: Stage, target: Isometry, within: Tolerance) -> TransferSeen:
        far, degrees = self._error.transfer
        corners = stage.sheets[-1].ink_corners
        middle, along = corners.mean(axis=0), corners[1] - corners[0]
        turned = math.atan2(along[1], along[0]) - target.angle
        off = middle - (target.x, target.y) + far * self._rng.normal(size=2)
        turned = math.remainder(turned, 2 * math.pi) + math.radians(
            degrees * float(self._rng.normal())
        )
        if max(abs(off)) > 40:
            why = "Neither the ink nor its sheet shows: look at it yourself, against the light."
            return TransferSeen(False, False, None, None, "cannot see", why)
        good = float(np.hypot(*off)) <= within.distance and abs(turned) <= within.turn
        why = "It lies right, measured by its ink." if good else "Move it along the arrow."
        place = float(off[0]), float(off[1])
        return TransferSeen(True, True, place, turned, "good" if good else "move", why)


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
    rate : float
        Pictures a second.
    options : EyeOptions, optional
    error : StatedError, optional

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
        rate: float = 12.0,
        options: EyeOptions | None = None,
        error: StatedError | None = None,
    ) -> None:
        self.film, self.worker = film, worker
        self._controller, self._output, self._rate = controller, output, rate
        self.stage, self.at = Stage(), 0.0
        self._jobs: list[tuple[float, Callable[[], Any], Future[Any]]] = []
        self._error = error or StatedError()
        reader = StageReader(lambda: self.stage, np.random.default_rng(seed), self._error)
        self.eye = EyeAtPress(
            controller, rig, self._submit, options, read=reader.read, check=self._check
        )

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
        self.at += 1 / self._rate
        self.worker.now = self.at
        for due, job, future in self._jobs:
            if self.at >= due and not future.done():
                future.set_result(job())
        self._jobs = [each for each in self._jobs if not each[2].done()]
        frame = self.eye.frame(self._scene)
        self.film.show(frame, self.at)
        self.eye.shown(frame, self.at)
        self.eye.look(self.film.picture(self.at), self.at)
        self.eye.notice(self.at)

    def _scene(self) -> NDArray[np.uint8] | None:
        return self._output.frame(self._controller.scene(self.at))

    def _submit(self, job: Callable[[], Any]) -> Future[Any]:
        future: Future[Any] = Future()
        self._jobs.append((self.at + self._error.seconds, job, future))
        return future

    def _check(self, rig: Rig, burst: Burst) -> RigSeen:
        if self.stage.garment is not None:
            return RigSeen(None, "cannot see", "Something lies on the platen.")
        return RigSeen(0.1, "unchanged")
