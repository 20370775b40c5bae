"""The press's camera at work with the station: what it sees becomes steps, light and record.

One object, told of everything in the window's thread: pictures (`look`), what is up (`shown`), and
that a key may have changed the run (`notice`). It answers what to show (`frame`). Only reading a
burst runs elsewhere, through `submit`. Nothing here takes a step back, and whatever goes wrong with
the camera ends in a sentence with the keys as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.eye.camera import BANDED
from chalkbeam.eye.knowing import EyeState, Transfer
from chalkbeam.eye.sights import (
    AskPressed,
    Blinded,
    Confirmed,
    CountPress,
    EyeEvent,
    Flash,
    FlashKind,
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
from chalkbeam.eye.steps import follow
from chalkbeam.eye.transfer import USUAL_TOLERANCE, Tolerance
from chalkbeam.eye.watch import PressWatch
from chalkbeam.record.events import Step
from chalkbeam.record.pictures import PictureFolder
from chalkbeam.station.at_load import ask_garment
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_findings import CLEAR, EyeFindings
from chalkbeam.station.eye_light import Disturbed, EyeLight, Timed, Untimed
from chalkbeam.station.eye_reader import BurstReader, RealReader
from chalkbeam.station.eye_reading import EyeReading, Submit
from chalkbeam.station.eye_record import SeenAtPress
from chalkbeam.station.eye_work import (
    printed_before,
    run_at,
    target_corners,
)
from chalkbeam.station.press_steps import after_load, after_press
from chalkbeam.station.state import BESIDE
from chalkbeam.station.values import Command, CommandKind
from chalkbeam.station.words import unseen_words

U8 = NDArray[np.uint8]

PREPRESS = "Close the press for the pre-press; the step key goes on after it."


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
    reader : BurstReader
        What reads bursts; a rehearsal brings its own.

    Attributes
    ----------
    state : EyeState
    questions : int
        How often it had to ask whether something was pressed.
    """

    def __init__(
        self,
        controller: StationController,
        rig: Rig,
        submit: Submit,
        options: EyeOptions | None = None,
        *,
        reader: BurstReader | None = None,
    ) -> None:
        self.controller, self.rig, self.watch = controller, rig, PressWatch(rig)
        self.options = options or EyeOptions()
        self.state = EyeState()
        self.questions = 0
        self._light = EyeLight(rig, self.watch.moved_between)
        self._reading = EyeReading(
            rig, self._light, self.watch, submit, reader or RealReader(), controller,
            self.options.tolerance,
        )  # fmt: skip
        self._seen = SeenAtPress()
        self._findings = EyeFindings(controller, self.watch, self._reading, self._seen)
        self._laid: U8 | None = None
        self._run = RunAt()
        self._by_eye = False
        controller.seen = self._seen_of_press
        controller.say(eye=CLEAR)
        self.notice(0.0)

    # -- the light -------------------------------------------------------------------------

    @property
    def flashing(self) -> bool:
        """Whether light of its own is to be shown."""
        return self._light.shows

    @property
    def tells(self) -> bool:
        """Whether a burst under way, if any, lacks nothing that its answer waits for."""
        return self._light.tells

    @property
    def reads(self) -> FlashKind:
        """What the last burst was to tell; a transfer with its garment counts as the garment."""
        return FlashKind.GARMENT if self._reading.whole else self._reading.kind

    def frame(self, scene: Callable[[], U8 | None]) -> U8 | None:
        """Return what to show: light of its own, or what `scene` gives."""
        return self._light.frame if self._light.shows else scene()

    def shown(self, frame: U8 | None, at: float) -> None:
        """Say that a frame is up, s on the monotonic clock; the same one may be told again."""
        self.watch.lit_by(frame, at)
        self._light.shown(frame, at)

    # -- the camera ------------------------------------------------------------------------

    def look(self, picture: U8, at: float) -> None:
        """Take a picture from the camera, as it came at a time."""
        flashed = self._light.shows
        match self._light.take(picture, at):
            case Timed(lag, banded):
                self.watch.delay = lag.late
                if banded:
                    self.controller.say(eye=BANDED)
                if self.state.blind:
                    self._tell(SeesAgain(at))
            case Untimed(why):
                self._tell(Blinded(why, at))
            case Disturbed():
                self._reading.stop()
                self._tell(Seen(Sight.MOVING, at))
        if flashed or self._light.shows or self._light.waits:
            return
        self._collect(at)
        glance = self.watch.look(picture, at)
        if glance.fault:
            self._tell(Blinded(glance.fault, at))
            return
        if glance.sight is None:
            if self._reading.bare is None and glance.still and not self._reading.runs:
                self._flash(FlashKind.EMPTY)
            return
        if self.state.blind:
            self._tell(SeesAgain(at))
        if glance.sight in (Sight.SHEET, Sight.LOADED) and self._run.step != "load":
            self._laid = picture
        if self._reading.bare is not None:
            self._tell(Seen(glance.sight, at, glance.still))

    def failed(self, why: str, at: float) -> None:
        """Say that the camera brings no pictures."""
        self._reading.stop()
        self._light.failed(at)
        self._tell(Blinded(why, at))

    def back(self) -> None:
        """Say that the camera brings pictures again: it is timed anew."""
        self._light.time_anew()

    def leave(self) -> None:
        """End it: another platen is put on."""
        self._reading.stop()

    # -- flashes ---------------------------------------------------------------------------

    def _flash(self, kind: FlashKind) -> None:
        self._reading.flash(kind)
        if kind is FlashKind.GARMENT:
            self._findings.withdraw()
        elif kind is FlashKind.TRANSFER:
            self.controller.say(sign=None)

    def _collect(self, at: float) -> None:
        """Take what was read meanwhile."""
        job, kind = self._reading.take_print(), FlashKind.PRINT
        if job is None:
            job, kind = self._reading.take(), self._reading.kind
        if job is None:
            return
        try:
            result = job.result()
        except Refusal as refusal:
            if kind is not FlashKind.PRINT:
                self.controller.say(eye=str(refusal))
            result = None
        happened: tuple[EyeEvent | None, ...] = ()
        if kind is FlashKind.EMPTY:
            happened = self._findings.empty(result, at)
        elif kind is FlashKind.PRINT:
            happened = (self._findings.printed(result, at),)
        elif kind is FlashKind.LOOK:
            happened = (self._findings.look(result, at),)
        elif self.state.flash is kind:  # else it was stopped meanwhile
            take = self._findings.garment if kind is FlashKind.GARMENT else self._findings.laid
            happened = (take(result, at),)
        for each in happened:
            if each is not None:
                self._tell(each)
        if isinstance(happened[-1] if happened else None, TransferRead):
            self._lay_beside(at)

    def _lay_beside(self, at: float) -> None:
        """Go on to what is pressed once with what lies right now, as the step key would."""
        if self.state.transfer is not Transfer.GOOD:
            return
        controller = self.controller
        index, stop = controller.view().with_next, controller.session.progress.stop
        if index is None or stop is None or self._run.idle:
            return
        command = Command(CommandKind.JUMP, index=index, step=Step.LAY)
        try:
            self._act(command, at, laid=stop.imprint.id, said=BESIDE)
        except Refusal as refusal:
            controller.say(eye=str(refusal))

    # -- the run ---------------------------------------------------------------------------

    def notice(self, at: float) -> None:
        """See where the run stands: a person may have taken it elsewhere."""
        controller = self.controller
        confirmed = self._findings.answered()
        run = run_at(controller, self.rig, self._findings.proposed)
        if run == self._run and not confirmed:
            return
        if (run.imprint, run.step) != (self._run.imprint, self._run.step):
            self._findings.proposed = None
            controller.say(sign=None, eye="" if not self._by_eye else controller.state.eye)
            ready = controller.readiness.ready
            corners = None if ready is None else target_corners(ready)
            self.watch.aims_at(corners, but=printed_before(controller))
        self._run = run
        self._tell(Moved(run, self._by_eye, at))
        if confirmed:
            self._tell(Confirmed(at))

    def _tell(self, happened: EyeEvent) -> None:
        self.state, wishes = follow(self.state, happened)
        for wish in wishes:
            try:
                self._grant(wish, happened.at)
            except Refusal as refusal:
                self.controller.say(eye=str(refusal))
                return
        if not isinstance(happened, Seen):
            return
        if happened.sight is Sight.EMPTY:
            self._findings.withdraw()
            self._reading.alone = None
        sign = self.controller.state.sign
        if sign is not None and (happened.sight is Sight.EMPTY or (sign.good and happened.moves)):
            self.controller.say(sign=None)  # an arrow stays: it is what one moves by

    def _grant(self, wish: Wish, at: float) -> None:
        controller = self.controller
        match wish:
            case Flash(kind):
                self._flash(kind)
            case StopFlash():
                self._reading.stop()
            case Remember():
                self.watch.remember_loaded()
            case Say(words):
                controller.say(eye=words)
            case TakeStep("lay") if controller.view().to_confirm:
                looks = ask_garment(controller.state, controller.view())
                controller.say(asking=looks.asking, question=looks.question)
            case TakeStep("lay") if self._prepress_first():
                self._act(Command(CommandKind.STEP, step=Step.PREPRESS), at)
                controller.say(eye=PREPRESS, pressing_since=at)
            case TakeStep(step, since):
                self._act(Command(CommandKind.STEP, step=Step(step)), at)
                if since is not None:
                    controller.say(pressing_since=since)
            case CountPress(seconds):
                self._seen.seconds = seconds
                self._reading.presses()
                progress = controller.session.progress
                self._act(after_press(controller.state, progress), at)
                controller.say(eye="")
            case AskPressed(why):
                self.questions += 1
                asked = unseen_words(controller.session.progress)
                controller.say(said=f"{asked} ({why})", sure=True)

    def _prepress_first(self) -> bool:
        """Whether the garment is to be pre-pressed before the transfer is laid."""
        progress = self.controller.session.progress
        return progress.at.step is Step.LOAD and after_load(progress) is Step.PREPRESS

    def _act(self, command: Command, at: float, **said: str) -> None:
        """Carry a command out as the eye's own, and change what is shown with it."""
        self._by_eye = True
        try:
            self.controller.handle(command)
            self.controller.say(**said)
            self.notice(at)
        finally:
            self._by_eye = False

    def _seen_of_press(self) -> Mapping[str, Any] | None:
        """Return what goes on record with a press."""
        seen = self._seen.plain()
        folder, stop = self.options.pictures, self.controller.session.progress.stop
        if folder is not None and self._laid is not None and stop is not None:
            name = f"{self.controller.session.run.id[:8]}-{stop.imprint.id}"
            kept = folder.keep(name, self._laid)
            if kept:
                seen["picture"] = kept
        self._laid = None
        return seen or None
