"""Somebody at the press who works through an order before the camera, and presses no key.

What they do depends on what they see: they wait for the light, move a garment or a transfer as they
are told, close the press for the dwell, and answer by key only what is asked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass, field, replace

import numpy as np

from calibration.geometry import Isometry
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.light.choice import about
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.simulator.press.stage import PAPER, RGB, Arm, LaidGarment, LaidSheet, Stage
from chalkbeam.station.controller import StationController
from chalkbeam.station.following import wanted_print
from overlay.colour.colorimetry import linear_from_srgb
from overlay.window.inputs import Key

Doing = Generator[tuple[Stage, float], None, None]
"""What is on the stage, and for how long, s."""

INK: RGB = (0.55, 0.06, 0.05)
_TRIES = 4
_PATIENCE = 12.0  # s
_TICK = 0.1


@dataclass(frozen=True)
class Habits:
    """How somebody works.

    Attributes
    ----------
    askew : (mm, degrees)
        How far off the planned load garments are laid, standard deviations.
    off : (mm, degrees)
        How far off its target a transfer is laid.
    smooths : float
        How often the press is closed on the bare garment first.
    hasty : float
        How often the press is opened too soon.
    presses_again : float
        How often a pressed piece is pressed a second time before it is taken away.
    lingers : float
        How often a hand stays on the platen for some seconds.
    """

    askew: tuple[float, float] = (9.0, 2.0)
    off: tuple[float, float] = (1.0, 0.5)
    smooths: float = 0.3
    hasty: float = 0.03
    presses_again: float = 0.15
    lingers: float = 0.1


@dataclass
class PressWorker:
    """Somebody at the press.

    Parameters
    ----------
    controller : StationController
        Looked at as its light and display are; keys are given to it only where it asks.
    give : callable
        Gives a key to the station.
    rng : Generator
    habits : Habits

    Attributes
    ----------
    keys : int
        How many were pressed.
    finished : list of str
        Pieces and sides that were taken away, in order.
    pressed : list of str
        Imprints that were pressed for their dwell, in order.
    laid : list of Shift
        How far off its planned load each garment was laid in the end.
    begins : callable
        Whether the first garment may be laid.
    told : list of str
        What the eye said while transfers were laid.
    """

    controller: StationController
    give: Callable[[Key], object]
    rng: np.random.Generator
    habits: Habits = field(default_factory=Habits)
    keys: int = 0
    told: list[str] = field(default_factory=list)
    finished: list[str] = field(default_factory=list)
    pressed: list[str] = field(default_factory=list)
    laid: list[Shift] = field(default_factory=list)
    now: float = 0.0
    begins: Callable[[], bool] = lambda: True

    def work(self) -> Doing:
        """Work through the order."""
        while not self.begins():
            yield Stage(), _TICK
        while (stop := self.controller.session.progress.stop) is not None:
            piece, loading = stop.piece.id, stop.fit.loading
            garment = yield from self._load()
            sheets: tuple[LaidSheet, ...] = ()
            while True:
                sheets = yield from self._press_one(garment, sheets)
                stop = self.controller.session.progress.stop
                at = self.controller.session.progress.at
                if stop is None or at.step is Step.LOAD:
                    break
            yield from self._answered(Stage(garment, sheets))
            self.finished.append(f"{piece}/{loading}")
            yield from self._moves(Stage(garment, sheets), 0.5)
            yield from self._moves(Stage(), 0.5)
            yield Stage(), float(self.rng.uniform(0.6, 2.5))

    # -- the garment -----------------------------------------------------------------------

    def _load(self) -> Generator[tuple[Stage, float], None, LaidGarment]:
        ready, stop = self.controller.readiness.ready, self.controller.session.progress.stop
        assert ready is not None
        assert stop is not None
        far, degrees = self.habits.askew
        planned = ready.planned.platen_from_garment
        spread = far * self.rng.normal(size=2)
        x, y = (float(value) for value in np.clip(spread, -28, 28))
        shift = Shift(x, y, math.radians(degrees * float(self.rng.normal())))
        self.laid.append(shift)
        pose = about(shift, (planned.x, planned.y)) @ planned
        placement = ready.choice.placement
        colour = reflectance(stop.piece.colour or "grey")
        garment = LaidGarment(placement.garment, placement.location.face, colour, pose)
        yield from self._moves(Stage(), 0.4)
        yield from self._moves(Stage(garment), 0.8)
        if self.rng.random() < self.habits.lingers:
            yield Stage(garment, arms=(self._arm(0.0),)), 2.5
            yield from self._moves(Stage(garment), 0.3)
        for _ in range(_TRIES):
            yield from self._until(Stage(garment), lambda: self._step() is not Step.LOAD)
            if self._step() is not Step.LOAD:
                break
            if self.controller.state.moving is not None or "Check the piece" in self._said():
                self._key("space")  # they look, and it is right
                yield Stage(garment), 0.5
                continue
            part = Shift(-0.7 * shift.x, -0.7 * shift.y, -0.7 * shift.angle)
            pose = about(part, (pose.x, pose.y)) @ pose
            shift = self.laid[-1] = shift + part
            garment = replace(garment, platen_from_garment=pose)
            yield from self._moves(Stage(garment), 0.6)
        else:
            self._key("space")
            yield Stage(garment), 0.5
        if self.rng.random() < self.habits.smooths:
            yield from self._closes(garment, (), 3.0)
            yield Stage(garment), 1.5
        return garment

    # -- the transfer ----------------------------------------------------------------------

    def _press_one(
        self, garment: LaidGarment, before: tuple[LaidSheet, ...]
    ) -> Generator[tuple[Stage, float], None, tuple[LaidSheet, ...]]:
        stop = self.controller.session.progress.stop
        assert stop is not None
        imprint, dwell = stop.imprint.id, stop.imprint.press.dwell or 10.0
        far, degrees = self.habits.off
        x, y, turn = (float(value) for value in self.rng.normal(size=3))
        off = Shift(far * x, far * y, math.radians(degrees * turn))
        sheet = self._sheet(off)
        for _ in range(_TRIES):
            sheet = self._sheet(off)
            lying = (*before, sheet)
            hand = sheet.corners.mean(axis=0)
            yield from self._moves(Stage(garment, lying), 0.6, (float(hand[0]), float(hand[1])))
            yield from self._until(Stage(garment, lying), self._judged)
            self.told.append(self._said())
            sign = self.controller.state.sign
            if sign is None or sign.good:
                break
            off = Shift(0.2 * off.x, 0.2 * off.y, 0.2 * off.angle)
        seconds = dwell + float(self.rng.uniform(0.2, 1.5))
        if self.rng.random() < self.habits.hasty:
            yield from self._closes(garment, lying, 0.4 * dwell)
            yield Stage(garment, lying), 1.2
        yield from self._closes(garment, lying, seconds)
        self.pressed.append(imprint)
        yield Stage(garment, lying), 1.0
        yield from self._answered(Stage(garment, lying), imprint)
        printed = (*before, replace(sheet, film=None))
        yield from self._moves(Stage(garment, printed), 0.5)
        if self.rng.random() < self.habits.presses_again and self._step() is Step.LOAD:
            yield from self._closes(garment, printed, 5.0)
        yield Stage(garment, printed), 0.8
        return printed

    def _sheet(self, off: Shift) -> LaidSheet:
        """Return the current imprint's sheet, laid by the light but for a shift."""
        ready, stop = self.controller.readiness.ready, self.controller.session.progress.stop
        assert ready is not None
        assert stop is not None
        choice = ready.choice
        wanted = wanted_print(choice.placement, stop.imprint)
        target = choice.loading.platen_from_garment @ choice.placement.garment_from_art
        pose: Isometry = about(off, (target.x, target.y)) @ target
        box = wanted.artwork.ink
        return LaidSheet(
            pose.apply(wanted.artwork.sheet.corners()), wanted.ink, pose.apply(box.corners()), INK,
            PAPER,
        )  # fmt: skip

    def _judged(self) -> bool:
        state = self.controller.state
        return state.sign is not None or "look at it yourself" in state.eye

    # -- the press -------------------------------------------------------------------------

    def _closes(self, garment: LaidGarment, sheets: tuple[LaidSheet, ...], seconds: float) -> Doing:
        for head in (0.25, 0.5, 0.75):
            yield Stage(garment, sheets, head=head), 0.15
        yield Stage(garment, sheets, head=1.0), seconds
        for head in (0.75, 0.5, 0.25):
            yield Stage(garment, sheets, head=head), 0.12

    def _answered(self, stage: Stage, imprint: str = "") -> Doing:
        """Answer what is asked about a press that was made: yes."""
        if self.controller.state.sure and self._step() is Step.PRESS:
            stop = self.controller.session.progress.stop
            if stop is not None and imprint in ("", stop.imprint.id):
                self._key("space")
                yield stage, 0.5

    def _until(self, stage: Stage, there: Callable[[], bool]) -> Doing:
        waited = 0.0
        while not there() and waited < _PATIENCE:
            yield stage, _TICK
            waited += _TICK
            if self.controller.state.moving is not None:
                return

    def _moves(self, stage: Stage, seconds: float, over: tuple[float, float] = (0.0, 0.0)) -> Doing:
        """Work with an arm over the platen, which moves."""
        for k in range(max(2, round(seconds / 0.15))):
            yield replace(stage, arms=(self._arm(12.0 * k, over),)), 0.15

    def _arm(self, by: float, over: tuple[float, float] = (0.0, 0.0)) -> Arm:
        x, y = over
        return Arm((x + 160.0, -640.0), (x + by + 20.0 * float(self.rng.normal()), y + by))

    def _step(self) -> Step | None:
        progress = self.controller.session.progress
        return None if progress.stop is None else progress.at.step

    def _said(self) -> str:
        return self.controller.state.eye

    def _key(self, name: str) -> None:
        self.keys += 1
        self.give(Key(name, at=self.now))


def reflectance(fabric: str) -> RGB:
    """Return a fabric's reflectance, linear."""
    red, green, blue = (float(v) for v in linear_from_srgb(np.array(find_fabric(fabric).colour)))
    return red, green, blue
