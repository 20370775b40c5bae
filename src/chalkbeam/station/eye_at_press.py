"""The press's camera at work with the station: what it sees becomes steps, light and record.

One object, told of everything in the window's thread: pictures (`look`), what is up (`shown`), and
that a key may have changed the run (`notice`). It answers what to show (`frame`). Only reading a
burst runs elsewhere, through `submit`. Nothing here takes a step back, and whatever goes wrong with
the camera ends in a sentence with the keys as they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst, burst_frames
from chalkbeam.eye.camera import BANDED, BurstTaker, DelayTimer, Lag
from chalkbeam.eye.colour import FLASHES
from chalkbeam.eye.drift import check_dots
from chalkbeam.eye.instead import instead_of
from chalkbeam.eye.read import PieceRead, read_piece
from chalkbeam.eye.sights import (
    AskPressed,
    Blinded,
    Confirmed,
    CountPress,
    EmptyRead,
    EyeEvent,
    Flash,
    FlashKind,
    GarmentRead,
    Moved,
    Remember,
    RunAt,
    Say,
    Seen,
    SeesAgain,
    Sight,
    StopFlash,
    TakeStep,
    TransferRead,
    Wish,
)
from chalkbeam.eye.steps import EyeState, follow
from chalkbeam.eye.transfer import USUAL_TOLERANCE, Target, Tolerance
from chalkbeam.eye.values import RigSeen, TransferSeen
from chalkbeam.eye.watch import PressWatch
from chalkbeam.light.transfer_sign import TransferSign
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.pictures import PictureFolder
from chalkbeam.station.controller import StationController
from chalkbeam.station.following import Follow, follow_garment, shift_to, wanted_print
from chalkbeam.station.values import Command, CommandKind, Showing
from chalkbeam.station.words import unseen_words

U8 = NDArray[np.uint8]

Read = Callable[..., PieceRead]
"""As `chalkbeam.eye.read.read_piece`."""

CheckBare = Callable[[Rig, Burst], RigSeen]
"""As `chalkbeam.eye.drift.check_dots`."""

Submit = Callable[[Callable[[], Any]], "Future[Any]"]
"""Has something worked out elsewhere."""

CLEAR = "Clear the platen, so that the camera learns how it looks bare."
GARMENT_MOVED = "The garment has been moved since it was laid: lay the transfer by the light anew."

_SHORT = ("dark", "white", "dots")
"""Of a burst, for an empty platen that is known: enough to tell drift."""

_UNREAD = ("pattern", "dots")
"""Of a burst, where garment and transfer are read."""

_MOVED = 3.5, math.radians(1.2)
"""So much further than where it was read a garment has been moved, mm and radians: more than two
readings of one garment differ."""

_AGAIN = 20.0
"""Where the camera did not see the light it is timed once more after so long, s."""


@dataclass(frozen=True)
class EyeOptions:
    """What the shop chooses.

    Attributes
    ----------
    tolerance : Tolerance
        How far off a transfer may lie and be pressed.
    pictures : PictureFolder or None
        Where a picture of each press is kept; None: nowhere.
    """

    tolerance: Tolerance = USUAL_TOLERANCE
    pictures: PictureFolder | None = None


class EyeAtPress:
    """The press's camera at work.

    Parameters
    ----------
    controller : StationController
    rig : Rig
        With its eye; imprints of other rigs are left to the keys.
    submit : callable
        Has a burst read elsewhere.
    options : EyeOptions
    read, check : callable
        What reads bursts; a rehearsal brings its own.

    Attributes
    ----------
    state : EyeState
    questions : int
        How often it had to ask.
    """

    def __init__(
        self,
        controller: StationController,
        rig: Rig,
        submit: Submit,
        options: EyeOptions | None = None,
        *,
        read: Read = read_piece,
        check: CheckBare = check_dots,
    ) -> None:
        self.controller, self.rig, self.watch = controller, rig, PressWatch(rig)
        self.options = options or EyeOptions()
        self.state = EyeState()
        self.questions = 0
        self._submit, self._read, self._check = submit, read, check
        self._frames = burst_frames(rig)
        self._timer: DelayTimer | None = DelayTimer()
        self._time_again: float | None = None
        self._lag = Lag(0.0, self.watch.delay, 0.1)
        self._white = next(each.image for each in self._frames if each.name == "white")
        self._dark = next(each.image for each in self._frames if each.name == "dark")
        self._taker: BurstTaker | None = None
        self._kind = FlashKind.EMPTY
        self._pending: tuple[FlashKind, Future[Any]] | None = None
        self._bare: Burst | None = None
        self._piece: PieceRead | None = None
        self._transfer: TransferSeen | None = None
        self._drift: RigSeen | None = None
        self._follow: Follow | None = None
        self._proposed: Shift | None = None
        self._collared_before = ""
        self._laid: U8 | None = None
        self._seconds: float | None = None
        self._run = RunAt()
        self._by_eye = False
        self._asked_clear = False
        controller.seen = self._seen_of_press
        controller.say(eye=CLEAR)
        self.notice(0.0)

    # -- the light -------------------------------------------------------------------------

    @property
    def flashing(self) -> bool:
        """Whether light of its own is to be shown."""
        return self._taker is not None or self._timer is not None

    def frame(self, scene: Callable[[], U8 | None]) -> U8 | None:
        """Return what to show: light of its own, or what `scene` gives."""
        if self._timer is not None:
            return self._white if self._timer.white else self._dark
        return self._taker.frame if self._taker is not None else scene()

    def shown(self, frame: U8 | None, at: float) -> None:
        """Say that a frame is up, s on the monotonic clock; the same one may be told again."""
        self.watch.lit_by(frame, at)
        if self._timer is not None:
            self._timer.shown(at)
        elif self._taker is not None and frame is self._taker.frame:
            self._taker.shown(at)

    # -- the camera ------------------------------------------------------------------------

    def look(self, picture: U8, at: float) -> None:
        """Take a picture from the camera, as it came at a time."""
        if self._timer is None and self._time_again is not None and at >= self._time_again:
            self._timer, self._time_again = DelayTimer(), None
        if self._timer is not None:
            self._time(picture, at)
            return
        if self._taker is not None:
            self._take(picture, at)
            return
        if self._time_again is not None:
            return
        self._collect(at)
        glance = self.watch.look(picture, at)
        if glance.fault:
            self._tell(Blinded(glance.fault, at))
            return
        if glance.sight is None:
            if self._bare is None and glance.still and self._pending is None:
                self._flash(FlashKind.EMPTY)
            return
        if self.state.blind:
            self._tell(SeesAgain(at))
        if glance.sight in (Sight.SHEET, Sight.LOADED) and self._run.step != "load":
            self._laid = picture
        if self._bare is not None:
            self._tell(Seen(glance.sight, at, glance.still))

    def failed(self, why: str, at: float) -> None:
        """Say that the camera brings no pictures."""
        self._stop()
        if self._timer is not None:
            self._timer, self._time_again = None, at + _AGAIN
        self._tell(Blinded(why, at))

    def _time(self, picture: U8, at: float) -> None:
        assert self._timer is not None
        self._timer.take(picture, at)
        if not self._timer.done:
            return
        if self._timer.lag is None:
            self._tell(Blinded(self._timer.trouble, at))
            self._timer, self._time_again = None, at + _AGAIN
            return
        self._lag, self.watch.delay = self._timer.lag, self._timer.lag.late
        if self._timer.banded:
            self.controller.say(eye=BANDED)
        self._timer = None
        if self.state.blind:
            self._tell(SeesAgain(at))

    def _take(self, picture: U8, at: float) -> None:
        assert self._taker is not None
        self._taker.take(picture, at)
        if self._taker.stopped:
            self._taker = None
            self._tell(Seen(Sight.MOVING, at))
        elif (burst := self._taker.burst) is not None:
            self._taker = None
            self._begin_reading(burst)

    # -- flashes ---------------------------------------------------------------------------

    def _flash(self, kind: FlashKind) -> None:
        wanted = self._frames
        if kind is FlashKind.EMPTY and self._bare is not None:
            wanted = tuple(each for each in wanted if each.name in _SHORT)
        elif kind is not FlashKind.EMPTY:
            without = _UNREAD + (FLASHES if kind is FlashKind.TRANSFER else ())
            wanted = tuple(each for each in wanted if each.name not in without)
        self._kind = kind
        self._taker = BurstTaker(wanted, self._lag, self.watch.moved_between)

    def _stop(self) -> None:
        self._taker = self._pending = None

    def _begin_reading(self, burst: Burst) -> None:
        kind = self._kind
        job: Callable[[], Any] | None = None
        if kind is FlashKind.EMPTY:
            job = lambda: (burst, self._check(self.rig, burst))  # noqa: E731
        elif self._bare is not None:
            job = self._reading(kind, burst, self._bare)
        self._pending = kind, self._submit(job or (lambda: None))

    def _reading(
        self, kind: FlashKind, burst: Burst, bare: Burst
    ) -> Callable[[], PieceRead] | None:
        """Return what reads a burst of the current imprint."""
        controller = self.controller
        ready, stop = controller.readiness.ready, controller.session.progress.stop
        if ready is None or stop is None:
            return None
        placement, loading = ready.choice.placement, ready.choice.loading
        wanted = lies = None
        if kind is FlashKind.TRANSFER:
            try:
                laid = ready.choice.laid(controller.scene().nudge)
                wanted, lies = wanted_print(laid, stop.imprint), loading.platen_from_garment
            except Refusal:
                return None
        garment, face = placement.garment, placement.location.face
        usual, tolerance = ready.planned.platen_from_garment, self.options.tolerance
        read, rig = self._read, self.rig
        return lambda: read(
            rig, burst, bare, garment, face, wanted=wanted, usual=usual, lies=lies,
            others=instead_of(garment, face), tolerance=tolerance,
        )  # fmt: skip

    def _collect(self, at: float) -> None:
        """Take what was read meanwhile."""
        if self._pending is None or not self._pending[1].done():
            return
        (kind, job), self._pending = self._pending, None
        try:
            result = job.result()
        except Refusal as refusal:
            self.controller.say(eye=str(refusal))
            result = None
        if kind is FlashKind.EMPTY:
            self._take_empty(result, at)
        elif kind is FlashKind.GARMENT:
            self._take_garment(result, at)
        else:
            self._take_transfer(result, at)

    def _take_empty(self, result: tuple[Burst, RigSeen] | None, at: float) -> None:
        if result is not None:
            burst, seen = result
            self._drift = seen
            if self._bare is None:
                if seen.verdict == "cannot see":
                    self.controller.say(eye=f"{CLEAR} {seen.why}")
                    return
                self._bare = burst
                self.watch.remember_bare()
                self._tell(Seen(Sight.EMPTY, at, still=False))
            self.controller.say(eye=seen.why if seen.verdict == "moved" else "")
        self._tell(EmptyRead(at))

    def _take_garment(self, piece: PieceRead | None, at: float) -> None:
        controller, ready = self.controller, self.controller.readiness.ready
        if self.state.flash is not FlashKind.GARMENT:
            return  # it was stopped meanwhile
        if piece is None or ready is None:
            self._tell(GarmentRead(False, at))
            return
        self._piece, self._transfer = piece, None
        found = follow_garment(piece, ready, controller.readiness)
        self._follow = found
        fits = found.sure and found.shift is not None
        if fits:
            try:
                controller.saw(found.cloth)
                controller.handle(Command(CommandKind.COLLAR, shift=found.shift or Shift()))
            except Refusal as refusal:
                found, fits = replace(found, words=str(refusal)), False
        elif found.shift is not None and controller.state.moving is None:
            self._proposed, self._collared_before = found.shift, self._collared()
            controller.say(moving=found.shift)
        controller.say(eye=found.words)
        self._tell(GarmentRead(fits, at))

    def _take_transfer(self, piece: PieceRead | None, at: float) -> None:
        if self.state.flash is not FlashKind.TRANSFER:
            return
        seen = None if piece is None else piece.reading.transfer
        if seen is None:
            self._tell(TransferRead("cannot see", at))
            return
        self._transfer = seen
        if piece is not None and self._has_moved(piece):
            self.controller.say(eye=GARMENT_MOVED, sign=None)
            self._tell(TransferRead("move", at))
            return
        sign = TransferSign(seen.verdict == "good", seen.off, seen.turned or 0.0)
        self.controller.say(eye=seen.why, sign=None if seen.verdict == "cannot see" else sign)
        self._tell(TransferRead(seen.verdict, at))

    def _has_moved(self, piece: PieceRead) -> bool:
        """Let the light follow a garment that was moved after it was read."""
        ready, found = self.controller.readiness.ready, piece.found.platen_from_garment
        if ready is None or found is None or not piece.reading.garment.sure:
            return False
        shift = shift_to(piece.lies, found)
        if shift.length <= _MOVED[0] and abs(shift.angle) <= _MOVED[1]:
            return False
        follows = follow_garment(piece, ready, self.controller.readiness)
        if follows.sure and follows.shift is not None:
            self.controller.handle(Command(CommandKind.COLLAR, shift=follows.shift))
        return True

    # -- the run ---------------------------------------------------------------------------

    def notice(self, at: float) -> None:
        """See where the run stands: a person may have taken it elsewhere."""
        moving = self.controller.state.moving
        confirmed = False
        if self._proposed is not None and moving != self._proposed:
            confirmed = moving is None and self._collared() != self._collared_before
            if moving is None:
                self._proposed = None
        run = self._run_at()
        if run == self._run and not confirmed:
            return
        elsewhere = (run.imprint, run.step) != (self._run.imprint, self._run.step)
        if elsewhere:
            self._proposed = None
            self.controller.say(
                sign=None, eye="" if not self._by_eye else self.controller.state.eye
            )
            self._aim()
        self._run = run
        self._tell(Moved(run, self._by_eye, at))
        if confirmed:
            self._tell(Confirmed(at))

    def _collared(self) -> str:
        """Return the id of the last act if it said where a collar is."""
        event = self.controller.session.progress.undoable
        return event.id if event is not None and event.kind is Kind.COLLARED else ""

    def _run_at(self) -> RunAt:
        controller = self.controller
        progress, state = controller.session.progress, controller.state
        if progress.stop is None:
            return RunAt()
        moving = state.moving is not None and state.moving != self._proposed
        idle = (
            progress.paused or state.asking is not None or moving or state.dark
            or bool(state.trouble) or state.showing is not Showing.WORK
            or controller.readiness.ready is None or controller.readiness.rig is not self.rig
        )  # fmt: skip
        imprint = progress.stop.imprint
        return RunAt(imprint.id, progress.at.step.value, imprint.press.dwell, idle)

    def _aim(self) -> None:
        """Tell the watch where a transfer is to lie."""
        ready = self.controller.readiness.ready
        if ready is None:
            self.watch.aims_at(None)
            return
        choice = ready.choice
        pose = choice.loading.platen_from_garment @ choice.placement.garment_from_art
        self.watch.aims_at(Target(
            "", np.zeros((1, 1), np.bool_), (choice.placement.artwork.ink.width,
            choice.placement.artwork.ink.height), choice.placement.artwork.sheet, pose,
        ).corners())  # fmt: skip

    def _tell(self, happened: EyeEvent) -> None:
        self.state, wishes = follow(self.state, happened)
        for wish in wishes:
            try:
                self._grant(wish, happened.at)
            except Refusal as refusal:
                self.controller.say(eye=str(refusal))
                return
        if isinstance(happened, Seen) and happened.sight is Sight.MOVING:
            self._withdraw()

    def _withdraw(self) -> None:
        """Take a proposal back that nobody has touched: what it was about moves."""
        if self._proposed is not None and self.controller.state.moving == self._proposed:
            self._proposed = None
            self.controller.say(moving=None, eye="")
        if self.controller.state.sign is not None:
            self.controller.say(sign=None)

    def _grant(self, wish: Wish, at: float) -> None:
        controller = self.controller
        match wish:
            case Flash(kind):
                self._flash(kind)
            case StopFlash():
                self._stop()
            case Remember():
                self.watch.remember_loaded()
            case Say(words):
                controller.say(eye=words)
            case TakeStep(step, since):
                self._act(Command(CommandKind.STEP, step=Step(step)), at)
                if since is not None:
                    controller.say(pressing_since=since)
            case CountPress(seconds):
                self._seconds = seconds
                self._act(Command(CommandKind.PRESS), at)
                controller.say(eye="")
            case AskPressed(why):
                self.questions += 1
                asked = unseen_words(controller.session.progress)
                controller.say(said=f"{asked} ({why})", sure=True)

    def _act(self, command: Command, at: float) -> None:
        """Carry a command out as the eye's own."""
        self._by_eye = True
        try:
            self.controller.handle(command)
            self.notice(at)
        finally:
            self._by_eye = False

    # -- the record ------------------------------------------------------------------------

    def _seen_of_press(self) -> Mapping[str, Any] | None:
        """Return what goes on record with a press."""
        seen: dict[str, Any] = {}
        if self._piece is not None:
            seen["garment"] = self._piece.reading.garment.plain()
            colour = self._piece.reading.colour
            seen["colour"] = None if colour is None else colour.plain()
        if self._follow is not None:
            seen["height_mm"] = self._follow.cloth.height
        if self._transfer is not None:
            seen["transfer"] = self._transfer.plain()
        if self._seconds is not None:
            seen["closed_s"] = round(self._seconds, 1)
        if self._drift is not None:
            seen["rig"] = self._drift.plain()
        folder, stop = self.options.pictures, self.controller.session.progress.stop
        if folder is not None and self._laid is not None and stop is not None:
            name = f"{self.controller.session.run.id[:8]}-{stop.imprint.id}"
            kept = folder.keep(name, self._laid)
            if kept:
                seen["picture"] = kept
        self._seconds = self._laid = self._transfer = None
        return seen or None
