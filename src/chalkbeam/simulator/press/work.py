"""Somebody at the press who works through an order before the camera, and presses no key.

What they do depends on what they see: they wait for the light, move a garment or a transfer as they
are told, close the press for the dwell, and answer by key only what is asked.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Generator
from dataclasses import dataclass, field, replace

import numpy as np

from calibration.geometry import XY, Isometry
from chalkbeam.eye.instead import instead_of
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.light.choice import about
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.simulator.press.habits import NONE, Habits, Mishaps
from chalkbeam.simulator.press.stage import PAPER, RGB, Arm, LaidGarment, LaidSheet, Stage
from chalkbeam.station.controller import StationController
from chalkbeam.station.following import wanted_print
from overlay.colour.colorimetry import linear_from_srgb
from overlay.window.inputs import Key

Doing = Generator[tuple[Stage, float], None, None]
"""What is on the stage, and for how long, s."""

INK: RGB = (0.55, 0.06, 0.05)
ANSWERS = 4.0
"""After a press somebody looks so long whether it is counted or asked about, s."""

_TRIES = 5
_PATIENCE = 25.0  # s: then somebody goes on as they think right
_TICK = 0.1
_MOVES_AS_TOLD = 0.85  # share of what is told: nobody moves a garment to the millimetre
_SWITCHED, _USUAL = 0.65, 1.0


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
    mishaps : Mishaps

    Attributes
    ----------
    keys_for : Counter of str
        How many were pressed, by what for.
    finished : list of str
        Pieces and sides that were taken away, in order.
    pressed : list of str
        Imprints that were pressed for their dwell, in order.
    laid : list of Shift
        How far off its planned load each garment was laid in the end.
    off : list of float
        How far off its target each transfer was pressed, mm.
    begins : callable
        Whether the first garment may be laid.
    happened, noticed : Counter of str
        What went wrong, and of that what the eye said or put right.
    waited : dict of str to list of float
        From a still garment to its light, proposed or sure, from a still transfer to a verdict,
        s.
    """

    controller: StationController
    give: Callable[[Key], object]
    rng: np.random.Generator
    habits: Habits = field(default_factory=Habits)
    mishaps: Mishaps = NONE
    keys_for: Counter[str] = field(default_factory=Counter)
    finished: list[str] = field(default_factory=list)
    pressed: list[str] = field(default_factory=list)
    laid: list[Shift] = field(default_factory=list)
    off: list[float] = field(default_factory=list)
    happened: Counter[str] = field(default_factory=Counter)
    noticed: Counter[str] = field(default_factory=Counter)
    waited: dict[str, list[float]] = field(default_factory=lambda: {"light": [], "verdict": []})
    now: float = 0.0
    begins: Callable[[], bool] = lambda: True
    room: float = _USUAL
    shadow: XY | None = None

    def work(self) -> Doing:
        """Work through the order."""
        for stage, lasting in self._works():
            yield replace(stage, room=self.room, shadow=self.shadow), lasting

    def _works(self) -> Doing:
        while not self.begins():
            yield Stage(), _TICK
        while (stop := self.controller.session.progress.stop) is not None:
            piece, loading = stop.piece.id, stop.fit.loading
            platen = self.controller.view().to_fit is not None
            while self.controller.view().to_see_to:
                yield Stage(), 2.0  # they set the press, and say so
                self._key("1", "press set")
                yield Stage(), 0.5
            while platen and not self.begins():  # another one on: it is looked at first
                yield Stage(), _TICK
            garment = yield from self._load()
            sheets: tuple[LaidSheet, ...] = ()
            while True:
                sheets = yield from self._press_one(garment, sheets)
                stop = self.controller.session.progress.stop
                at = self.controller.session.progress.at
                if stop is None or at.step is Step.LOAD:
                    break
            self.finished.append(f"{piece}/{loading}")
            yield from self._moves(Stage(garment, sheets), 0.5)
            yield from self._moves(Stage(), 0.5)
            yield Stage(), float(self.rng.uniform(0.6, 2.5))
            yield from self._answered(Stage())

    # -- the garment -----------------------------------------------------------------------

    def _load(self) -> Generator[tuple[Stage, float], None, LaidGarment]:
        right = self._right_garment()
        wrong, garment = self._wrong_garment(right)
        yield from self._moves(Stage(), 0.4)
        yield from self._moves(Stage(garment), 0.8)
        if self._chance(self.habits.lingers):
            yield Stage(garment, arms=(self._arm(0.0),)), 2.5
            yield from self._moves(Stage(garment), 0.3)
        if self._chance(self.mishaps.light):
            self.happened["light switched"] += 1
            yield Stage(garment), float(self.rng.uniform(0.3, 3.0))
            self.room = _SWITCHED if self.room == _USUAL else _USUAL
        still: float | None = self.now
        for _ in range(_TRIES):
            before = self._said()

            def told(said: str = before) -> bool:
                return self._lit() or self._new_words(said)

            yield from self._until(Stage(garment), told)
            if still is not None and self._lit():
                self.waited["light"].append(self.now - still)
            if self._step() is not Step.LOAD:
                break
            if wrong and "Check the piece" in self._said():
                self.noticed[wrong] += 1
                yield Stage(garment), self.habits.reacts
                yield from self._moves(Stage(garment), 0.5)
                yield from self._moves(Stage(), 0.5)
                yield Stage(), 1.0
                wrong, garment = "", right
                yield from self._moves(Stage(garment), 0.8)
                still = self.now
            elif self.controller.state.moving is not None:
                yield Stage(garment), 2.0  # they look at the proposed lines, and keep them
                self._key("space", "proposal kept")
                yield Stage(garment), 0.5
                still = None  # its light has come
            else:
                planned = self._planned()
                lies = garment.platen_from_garment
                part = Shift(
                    _MOVES_AS_TOLD * (planned.x - lies.x), _MOVES_AS_TOLD * (planned.y - lies.y),
                    _MOVES_AS_TOLD * math.remainder(planned.angle - lies.angle, 2 * math.pi),
                )  # fmt: skip
                pose = about(part, (lies.x, lies.y)) @ lies
                garment = replace(garment, platen_from_garment=pose)
                yield Stage(garment), self.habits.reacts
                yield from self._moves(Stage(garment), 0.6)
                still = self.now
        else:
            self._key("space", "went on unlit")
            yield Stage(garment), 0.5
        lies, planned = garment.platen_from_garment, self._planned()
        self.laid.append(Shift(lies.x - planned.x, lies.y - planned.y, lies.angle - planned.angle))
        yield Stage(garment), self.habits.reacts
        if self._chance(self.habits.smooths):
            yield from self._closes(Stage(garment), 3.0)
            yield Stage(garment), 0.4
        return garment

    def _planned(self) -> Isometry:
        ready = self.controller.readiness.ready
        assert ready is not None
        return ready.planned.platen_from_garment

    def _right_garment(self) -> LaidGarment:
        ready, stop = self.controller.readiness.ready, self.controller.session.progress.stop
        assert ready is not None
        assert stop is not None
        far, degrees = self.habits.askew
        planned = self._planned()
        spread = far * self.rng.normal(size=2)
        x, y = (float(value) for value in np.clip(spread, -28, 28))
        shift = Shift(x, y, math.radians(degrees * float(self.rng.normal())))
        pose = about(shift, (planned.x, planned.y)) @ planned
        placement = ready.choice.placement
        colour = reflectance(stop.piece.colour or "grey")
        return LaidGarment(placement.garment, placement.location.face, colour, pose)

    def _wrong_garment(self, right: LaidGarment) -> tuple[str, LaidGarment]:
        """Return what is wrong with the piece that is laid first, and it."""
        mishaps, wrong = self.mishaps, ""
        if self._chance(mishaps.wrong_size):
            others = [g for g, face in instead_of(right.garment, right.face) if face == right.face]
            wrong, lies = "wrong size", replace(right, garment=others[0])
        elif self._chance(mishaps.wrong_colour):
            other = "royal" if right.colour != reflectance("royal") else "red"
            wrong, lies = "wrong colour", replace(right, colour=reflectance(other))
        elif self._chance(mishaps.wrong_face):
            wrong = "wrong face"
            lies = replace(right, face="back" if right.face == "front" else "front")
        if not wrong:
            return "", right
        self.happened[wrong] += 1
        return wrong, lies

    # -- the transfer ----------------------------------------------------------------------

    def _press_one(
        self,
        garment: LaidGarment,
        before: tuple[LaidSheet, ...],
        beside: tuple[str, ...] = (),
    ) -> Generator[tuple[Stage, float], None, tuple[LaidSheet, ...]]:
        stop = self.controller.session.progress.stop
        assert stop is not None
        imprint, dwell = stop.imprint.id, stop.imprint.press.dwell or 10.0
        far, degrees = self.habits.off
        x, y, turn = (float(value) for value in self.rng.normal(size=3))
        off = Shift(far * x, far * y, math.radians(degrees * turn))
        askew = self._chance(self.mishaps.far_off)
        if askew:
            self.happened["transfer 4 mm off"] += 1
            way = float(self.rng.uniform(0, 2 * math.pi))
            off = Shift(self.mishaps.far * math.cos(way), self.mishaps.far * math.sin(way), 0.0)
        stage = Stage(garment, before)
        early = self._chance(self.mishaps.early)
        for _ in range(_TRIES):
            stage = Stage(garment, (*before, self._sheet(off)))
            yield from self._lays(stage)
            if early:
                self.happened["closed before it was looked at"] += 1
                break
            if self._chance(self.mishaps.shadow):
                self.happened["shadow moved"] += 1
                middle = float(self.rng.uniform(-150, 150)), float(self.rng.uniform(-150, 150))
                self.shadow = None if self.shadow else middle
            if self._chance(self.mishaps.hand):
                yield from self._hand_stays(stage)
            before_sign, before_said, still = self.controller.state.sign, self._said(), self.now

            def judged(sign: object = before_sign, said: str = before_said) -> bool:
                return self.controller.state.laid == imprint or self._judged(sign, said)

            yield from self._until(stage, judged)
            sign = self.controller.state.sign
            if sign is not None:
                self.waited["verdict"].append(self.now - still)
            if sign is None or sign.good:
                break
            self.noticed["transfer 4 mm off"] += askew
            askew = False
            off = Shift(0.15 * off.x, 0.15 * off.y, 0.15 * off.angle)
            yield stage, self.habits.reacts
        yield stage, self.habits.reacts
        if self.controller.state.laid == imprint:  # the next is pressed with it
            together = (*beside, imprint)
            return (yield from self._press_one(garment, stage.sheets, together))
        if self._chance(self.habits.hasty):
            self.happened["opened too soon"] += 1
            yield from self._closes(stage, 0.4 * dwell)
            yield stage, 1.2
        unseen = self._chance(self.mishaps.unseen)
        self.happened["press not seen"] += unseen
        yield from self._closes(stage, dwell + float(self.rng.uniform(0.2, 1.5)), unseen)
        self.pressed += (*beside, imprint)
        self.off.append(float(np.hypot(off.x, off.y)))
        yield from self._answered(stage, imprint, ANSWERS)
        yield stage, self.habits.peels
        printed = tuple(replace(sheet, film=None) for sheet in stage.sheets)
        yield from self._moves(Stage(garment, printed), 0.5)
        if self._chance(self.habits.presses_again) and self._step() is Step.LOAD:
            yield from self._closes(Stage(garment, printed), 5.0)
        yield Stage(garment, printed), 0.8
        return printed

    def _lays(self, stage: Stage) -> Doing:
        hand = stage.sheets[-1].corners.mean(axis=0)
        yield from self._moves(stage, 0.6, (float(hand[0]), float(hand[1])))

    def _hand_stays(self, stage: Stage) -> Doing:
        self.happened["hand left"] += 1
        left = replace(stage, arms=(self._arm(-40.0),))
        yield from self._until(left, lambda: "lies over" in self._said(), 9.0)
        self.noticed["hand left"] += "lies over" in self._said()
        yield left, self.habits.reacts
        yield from self._moves(stage, 0.3)

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

    # -- the press -------------------------------------------------------------------------

    def _closes(self, stage: Stage, seconds: float, unseen: bool = False) -> Doing:
        covered = replace(stage, capped=unseen)
        for head in (0.25, 0.5, 0.75):
            yield replace(covered, head=head), 0.15
        yield replace(covered, head=1.0), seconds
        for head in (0.75, 0.5, 0.25):
            yield replace(covered, head=head), 0.12

    def _answered(self, stage: Stage, imprint: str = "", patience: float = 0.0) -> Doing:
        """Answer what is asked about a press that was made: yes."""
        progress = self.controller.session.progress

        def there() -> bool:
            done = imprint in progress.outcomes
            return done or (self.controller.state.sure and self._step() is Step.PRESS)

        yield from self._until(stage, there, patience)
        if self.controller.state.sure and self._step() is Step.PRESS:
            stop = progress.stop
            if stop is not None and stop.imprint.id in self.pressed:
                self._key("space", "answer")
                yield stage, 0.5

    # -- seeing and waiting ----------------------------------------------------------------

    def _lit(self) -> bool:
        return self._step() is not Step.LOAD or self.controller.state.moving is not None

    def _new_words(self, before: str) -> bool:
        said = self._said()
        return bool(said) and said != before

    def _judged(self, sign: object, said: str) -> bool:
        now = self.controller.state.sign
        if now is not None:
            return now is not sign
        return self._new_words(said) and "lies over" not in self._said()

    def _until(self, stage: Stage, there: Callable[[], bool], patience: float = _PATIENCE) -> Doing:
        waited = 0.0
        while not there() and waited < patience:
            yield stage, _TICK
            waited += _TICK

    def _moves(self, stage: Stage, seconds: float, over: tuple[float, float] = (0.0, 0.0)) -> Doing:
        """Work with an arm over the platen, which moves."""
        for k in range(max(2, round(seconds / 0.15))):
            yield replace(stage, arms=(self._arm(12.0 * k, over),)), 0.15

    def _arm(self, by: float, over: tuple[float, float] = (0.0, 0.0)) -> Arm:
        x, y = over
        return Arm((x + 160.0, -640.0), (x + by + 20.0 * float(self.rng.normal()), y + by))

    def _chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def _step(self) -> Step | None:
        progress = self.controller.session.progress
        return None if progress.stop is None else progress.at.step

    def _said(self) -> str:
        return self.controller.state.eye

    @property
    def keys(self) -> int:
        """How many keys were pressed."""
        return self.keys_for.total()

    def _key(self, name: str, why: str) -> None:
        self.keys_for[why] += 1
        self.give(Key(name, at=self.now))


def reflectance(fabric: str) -> RGB:
    """Return a fabric's reflectance, linear."""
    red, green, blue = (float(v) for v in linear_from_srgb(np.array(find_fabric(fabric).colour)))
    return red, green, blue
