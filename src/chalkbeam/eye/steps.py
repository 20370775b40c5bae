"""Which step of the work the eye sees: a pure machine, sights in, wishes out.

It holds no clock, no picture and no run: times come with what is seen, the run's step is told
(`RunAt`), and what it wishes is carried out elsewhere, on record first. Three rules shape it:

- It only ever goes on, and only from the step that it was told: what a person took stays taken.
- A press is counted once its whole closing was seen, from covered platen to cloth again, and each
  closing counts for one imprint. Anything less is a question.
- Whatever moves stops a flash; what was measured before is then measured again.
"""

from __future__ import annotations

from dataclasses import replace

from chalkbeam.eye.closing import Closing
from chalkbeam.eye.knowing import EyeState, Lying, Transfer
from chalkbeam.eye.seeing import Answer, seen
from chalkbeam.eye.sights import (
    Blinded,
    Confirmed,
    EmptyRead,
    EyeEvent,
    FlashKind,
    GarmentRead,
    Hidden,
    Moved,
    NotHidden,
    NothingLies,
    PrintRead,
    Remember,
    Say,
    Seen,
    SeesAgain,
    StopFlash,
    TakeStep,
    TransferRead,
    Wish,
    Wishes,
)
from chalkbeam.eye.values import TransferVerdict


def follow(state: EyeState, happened: EyeEvent) -> Answer:
    """Return the state after something happened, and what is wished."""
    match happened:
        case Moved():
            return _moved(state, happened)
        case Blinded(why):
            return _blinded(state, why, happened.at)
        case SeesAgain():
            return replace(state, blind=""), (Say(""),) if state.blind else ()
        case GarmentRead():
            return _garment_read(state, happened)
        case Confirmed():
            return _known(replace(state, flash=None))
        case TransferRead(verdict):
            return _transfer_read(state, verdict)
        case PrintRead():
            return (replace(state, flash=None) if state.flash is FlashKind.PRINT else state), ()
        case NothingLies():
            return _nothing_lies(state)
        case Hidden():
            return state.unread, ()
        case NotHidden():
            return replace(state.unread, closing=None), ()
        case EmptyRead():
            return _empty_read(state, happened.other)
        case Seen():
            return seen(state, happened)


# -- the run ----------------------------------------------------------------------------------


def _moved(state: EyeState, moved: Moved) -> Answer:
    """Take up where the run stands now."""
    before, run = state.run, moved.run
    state = replace(state, run=run)
    if (run.imprint, run.step) == (before.imprint, before.step):
        return state, ()
    if run.imprint != before.imprint:
        state = replace(state, doubt="")
    if moved.by_eye and (before.step, run.step) == ("lay", "lay"):
        # What was laid stays, to be pressed with this one.
        return replace(state, transfer=Transfer.NONE), (Remember(),)
    if moved.by_eye:
        stays = run.step == "lay" and state.lying is Lying.DONE
        return (replace(state, lying=Lying.KNOWN) if stays else state), ()
    # A person did: what was under way is theirs now.
    wishes: Wishes = (StopFlash(),) if state.flash not in (None, FlashKind.EMPTY) else ()
    if wishes:
        state = replace(state, flash=None)
    state = replace(state, asked=False)
    if run.step == "press" and (before.imprint, before.step) == (run.imprint, "lay"):
        # They say that it lies right. A closing that runs already is this one's.
        return replace(state, transfer=Transfer.GOOD), wishes
    # Any other closing was theirs to count: it is never counted again.
    state = replace(state, transfer=Transfer.NONE, closing=None)
    if before.step == "press" and run.step != "press" and state.lying is not Lying.NONE:
        went_back = run.imprint == before.imprint
        state = replace(state, lying=Lying.KNOWN if went_back else Lying.DONE)
    if run.step == "lay":
        known = state.lying is Lying.KNOWN
        return replace(state, lying=Lying.KNOWN), wishes if known else (*wishes, Remember())
    if run.step == "load" and state.lying in (
        Lying.KNOWN,
        Lying.READING,
        Lying.UNSURE,
        Lying.ASKEW,
    ):
        state = replace(state, lying=Lying.UNREAD)
    return state, wishes


def _blinded(state: EyeState, why: str, at: float) -> Answer:
    """Leave everything to the keys until the camera can be gone by again."""
    if why == state.blind:
        return state, ()
    wishes: tuple[Wish, ...] = (Say(why),)
    if state.flash is not None:
        wishes = (StopFlash(), *wishes)
    closing = state.closing
    if closing is not None:
        closing = closing.unseen()
    elif state.lying is not Lying.NONE and state.run.imprint:
        closing = Closing(at, None, whole=False)
    state = replace(state, blind=why, closing=closing).unread
    return state, wishes


# -- what was read ----------------------------------------------------------------------------


def _garment_read(state: EyeState, read: GarmentRead) -> Answer:
    if state.flash is not FlashKind.GARMENT:
        return state, ()  # it was stopped meanwhile
    if state.lying is not Lying.READING:
        return replace(state, flash=None), ()
    if read.fits:
        return _known(replace(state, flash=None))
    lying = Lying.UNSURE if read.proposed else Lying.ASKEW
    return replace(state, flash=None, lying=lying), (Remember(),)


def _known(state: EyeState) -> Answer:
    """Take it that the garment's place is known; on to the transfer if that is next."""
    state = replace(state, lying=Lying.KNOWN)
    on = state.run.step == "load" and state.run.imprint
    return state, (Remember(), TakeStep("lay")) if on else (Remember(),)


def _empty_read(state: EyeState, other: bool) -> Answer:
    ended = state.flash is FlashKind.EMPTY
    state = replace(state, flash=None if ended else state.flash, checked=True)
    if other and ended and state.lying is Lying.DONE and state.run.step == "load":
        state = replace(state, lying=Lying.UNREAD)  # nobody saw the pressed one go
    return state, ()


def _transfer_read(state: EyeState, verdict: TransferVerdict) -> Answer:
    if state.flash is not FlashKind.TRANSFER:
        return state, ()
    if state.transfer is not Transfer.READING:
        return replace(state, flash=None), ()
    good = verdict == "good"
    transfer = Transfer.GOOD if good else Transfer.DOUBTFUL
    # What can be read is not hidden by a closed press.
    return replace(state, flash=None, transfer=transfer, stirred=False, closing=None), ()


def _nothing_lies(state: EyeState) -> Answer:
    """Take it that what was flashed for does not lie there."""
    if state.flash is FlashKind.GARMENT and state.lying is Lying.READING:
        return replace(state, flash=None, lying=Lying.NONE), ()
    if state.flash is FlashKind.TRANSFER and state.transfer is Transfer.READING:
        nothing = replace(state, flash=None, transfer=Transfer.NOTHING, stirred=False)
        return replace(nothing, closing=None), ()
    return state, ()
