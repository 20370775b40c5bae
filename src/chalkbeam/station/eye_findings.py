"""What the press's camera read becomes light, record and an event of the steps.

Each door takes what one kind of burst told, changes what is shown and kept, and returns what has
happened in the words of `eye.steps`; None where there is nothing to tell.
"""

from __future__ import annotations

import math
from dataclasses import replace

from calibration.refusal import Refusal
from chalkbeam.eye.blocks import Mask
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.read import PieceRead
from chalkbeam.eye.seeing import A_HAND
from chalkbeam.eye.sights import (
    EmptyRead,
    EyeEvent,
    GarmentRead,
    Hidden,
    NotHidden,
    NothingLies,
    PrintRead,
    Seen,
    Sight,
    TransferRead,
)
from chalkbeam.eye.values import RigSeen, TransferSeen
from chalkbeam.eye.watch import PressWatch
from chalkbeam.light.transfer_sign import TransferSign
from chalkbeam.placement.shift import Shift
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_reading import EyeReading, LaidRead
from chalkbeam.station.eye_record import SeenAtPress
from chalkbeam.station.eye_work import collared
from chalkbeam.station.following import follow_garment, shift_to
from chalkbeam.station.values import Command, CommandKind, ConfirmedBy

CLEAR = "Clear the platen, so that the camera learns how it looks bare."
GARMENT_MOVED = "The garment has been moved since it was laid: lay the transfer by the light anew."

_MOVED = 3.5, math.radians(1.2)
"""So much further than where it was read a garment has been moved, mm and radians: more than two
readings of one garment differ."""


class EyeFindings:
    """Takes what bursts told.

    Parameters
    ----------
    controller : StationController
    watch : PressWatch
    reading : EyeReading
    seen : SeenAtPress

    Attributes
    ----------
    proposed : Shift or None
        The place that waits for a person's word.
    """

    def __init__(
        self,
        controller: StationController,
        watch: PressWatch,
        reading: EyeReading,
        seen: SeenAtPress,
    ) -> None:
        self._controller, self._watch, self._reading, self._seen = controller, watch, reading, seen
        self.proposed: Shift | None = None
        self._collared_before = ""

    def empty(self, result: tuple[Burst, RigSeen] | None, at: float) -> tuple[EyeEvent, ...]:
        """Take what a burst of what may be the empty platen told."""
        first, other = False, False
        if result is not None:
            burst, seen = result
            self._seen.drift = seen
            if self._reading.bare is None:
                if seen.verdict == "cannot see":
                    self._controller.say(eye=f"{CLEAR} {seen.why}")
                    return ()
                self._reading.bare = burst
                self._watch.remember_bare()
                first = True
            elif self._watch.is_bare(self._watch.changed_between(self._reading.bare, burst)):
                self._watch.remember_bare()  # in another shadow, it may be
            elif self._reading.alone is not None:
                other = self._watch.lies_otherwise(
                    self._watch.changed_between(self._reading.alone, burst)
                )
                if other:
                    self._watch.forget_loaded()
            self._controller.say(eye=seen.why if seen.verdict == "moved" else "")
        begun = (Seen(Sight.EMPTY, at, still=False),) if first else ()
        return (*begun, EmptyRead(at, other))

    def garment(self, result: tuple[Burst, PieceRead] | None, at: float) -> EyeEvent:
        """Take where a garment lies."""
        controller, ready = self._controller, self._controller.readiness.ready
        if result is None or ready is None:
            return GarmentRead(False, at)
        burst, piece = result
        assert self._reading.bare is not None
        if not piece.reading.garment.seen and self._watch.is_bare(
            self._watch.changed_between(self._reading.bare, burst)
        ):
            self._watch.remember_bare()  # as it looks by now, in another shadow
            return NothingLies(at)
        self._reading.alone = burst
        found = follow_garment(piece, ready, controller.readiness)
        self._reading.height = piece.reading.height
        self._seen.piece, self._seen.transfer, self._seen.follow = piece, None, found
        fits = found.sure and found.shift is not None
        if fits:
            try:
                controller.saw(found.cloth)
                controller.handle(Command(CommandKind.COLLAR, shift=found.shift or Shift()))
                if found.right_piece and controller.view().to_confirm:
                    controller.handle(Command(CommandKind.CONFIRM, text=ConfirmedBy.EYE.value))
            except Refusal as refusal:
                found, fits = replace(found, words=str(refusal)), False
        elif found.shift is not None and controller.state.moving is None:
            self.proposed, self._collared_before = found.shift, collared(controller)
            controller.say(moving=found.shift)
        controller.say(eye=found.words)
        return GarmentRead(fits, at, proposed=self.proposed is not None)

    def printed(self, result: tuple[str, TransferSeen] | None, at: float) -> EyeEvent:
        """Take where a pressed print lies; it goes on record if it was seen and still counts."""
        if result is not None:
            imprint, seen = result
            session = self._controller.session
            if seen.off is not None and seen.sure and imprint in session.progress.outcomes:
                far = math.hypot(*seen.off)
                words = f"The print lies {far:.1f} mm off its place, as the camera sees it."
                session.saw_print(imprint, words, seen.plain())
        return PrintRead(at)

    def look(self, changed: Mask | None, at: float) -> EyeEvent:
        """Take whether the garment is hidden indeed."""
        if changed is None or self._watch.hidden(changed):
            return Hidden(at)
        self._watch.relearn_loaded(changed)
        return NotHidden(at)

    def laid(self, laid: LaidRead | None, at: float) -> EyeEvent | None:
        """Take how a transfer lies; None where the garment is to be measured with it."""
        if laid is None:
            return TransferRead("cannot see", at)
        changed = laid.changed
        if changed is not None and self._watch.hidden(changed):
            return Hidden(at)
        elsewhere = changed is not None and self._watch.changed_elsewhere(changed)
        if elsewhere and laid.piece is None:
            self._reading.flash_whole()  # the garment may have been moved: both are measured
            return None
        if changed is not None and not elsewhere:
            self._watch.relearn_loaded(changed)
            if not self._watch.lies_at_target(changed):
                return NothingLies(at)
        if laid.piece is not None and self._has_moved(laid.piece):
            self._reading.alone = None
            self._controller.say(eye=GARMENT_MOVED, sign=None)
            return TransferRead("move", at)
        sure = laid.piece is not None and laid.piece.reading.garment.sure
        if sure:
            self._watch.relearn_loaded(self._watch.target)  # it lies where it was read
        elif changed is not None and elsewhere and self._watch.reaches_in(changed):
            self._controller.say(eye=A_HAND, sign=None)
            return TransferRead("cannot see", at)
        return self._judged(laid.transfer, at)

    def _judged(self, seen: TransferSeen | None, at: float) -> EyeEvent:
        if seen is None:
            return TransferRead("cannot see", at)
        self._seen.transfer = seen
        sign = TransferSign(seen.verdict == "good", seen.off, seen.turned or 0.0)
        shown = sign if seen.verdict in ("good", "move") else None
        self._controller.say(eye=seen.why, sign=shown)
        return TransferRead(seen.verdict, at)

    def _has_moved(self, piece: PieceRead) -> bool:
        """Let the light follow a garment that was moved after it was read."""
        ready, found = self._controller.readiness.ready, piece.found.platen_from_garment
        if ready is None or found is None or not piece.reading.garment.sure:
            return False
        shift = shift_to(piece.lies, found)
        if shift.length <= _MOVED[0] and abs(shift.angle) <= _MOVED[1]:
            return False
        follows = follow_garment(piece, ready, self._controller.readiness)
        if follows.sure and follows.shift is not None:
            self._controller.handle(Command(CommandKind.COLLAR, shift=follows.shift))
        return True

    def answered(self) -> bool:
        """Tell whether a person has just kept the proposed place, or moved it and kept that."""
        moving = self._controller.state.moving
        if self.proposed is None or moving == self.proposed:
            return False
        kept = moving is None and collared(self._controller) != self._collared_before
        if moving is None:
            self.proposed = None
        return kept

    def withdraw(self) -> None:
        """Take a proposal back that nobody has touched: what it was about is gone."""
        if self.proposed is not None and self._controller.state.moving == self.proposed:
            self.proposed = None
            self._controller.say(moving=None, eye="")
