"""What follows from what the camera sees; the rest of the step machine is in `steps`."""

from __future__ import annotations

from dataclasses import replace

from chalkbeam.eye.closing import NOT_CLOSED, NOT_WATCHED, UNCHECKED, Closing
from chalkbeam.eye.knowing import EyeState, Lying, Transfer
from chalkbeam.eye.sights import (
    AskPressed,
    CountPress,
    Flash,
    FlashKind,
    Say,
    Seen,
    Sight,
    StopFlash,
    TakeStep,
    Wishes,
)

LINGERS = 4.0
"""What crosses the platen's edge is a hand that is about to go, until so long after, s."""

SETTLES = 1.5
"""Where no garment is known to lie, what crosses it may be the garment after so long, s."""


AGAIN = 12.0
"""Closing once more on a pressed piece lasts no longer, s. Common practice, no source."""

Answer = tuple[EyeState, Wishes]

TAKEN_OFF = "The garment was taken off: lay it again, its light follows."
A_HAND = "Something lies over the platen's edge: take it away, or go on with the keys."


def seen(state: EyeState, seen: Seen) -> Answer:
    """Return the state after the camera saw something, and what is wished."""
    if state.blind:
        return state, ()
    sight, at = seen.sight, seen.at
    if not seen.moves and state.still is None:
        state = replace(state, still=at)
    if sight not in (Sight.MOVING, Sight.EMPTY) and _may_be_gone(state, sight, at):
        return replace(state, looked=True, flash=FlashKind.EMPTY), (Flash(FlashKind.EMPTY),)
    match sight:
        case Sight.MOVING:
            return _moving(state, at)
        case Sight.COVERED:
            return _covered(state, at)
        case Sight.EMPTY:
            return _empty(state, at, seen.still)
        case Sight.CLOTH:
            return _cloth(state, at)
        case _:
            return _on_the_garment(state, sight, at)


def _stopped(state: EyeState) -> Answer:
    """Stop what is flashed or read: something moved."""
    wishes: Wishes = (StopFlash(),) if state.flash is not None else ()
    return replace(state.unread, stirred=True, looked=False, still=None), wishes


def _may_be_gone(state: EyeState, sight: Sight, at: float) -> bool:
    """Tell whether a pressed piece may have been taken off unseen, in another shadow say."""
    lasts = AGAIN if sight is Sight.COVERED else SETTLES
    waits = state.lying is Lying.DONE and state.run.step == "load" and not state.run.idle
    return waits and not state.looked and state.flash is None and _since(state, at) >= lasts


def _since(state: EyeState, at: float) -> float:
    return 0.0 if state.still is None else at - state.still


def _moving(state: EyeState, at: float) -> Answer:
    state, wishes = _stopped(state)
    if state.lying is Lying.ASKEW:
        state = replace(state, lying=Lying.UNREAD)  # it is being moved as it was told
    if state.closing is not None:
        state = replace(state, closing=state.closing.stirred(at))
    return state, wishes


def _covered(state: EyeState, at: float) -> Answer:
    closing = state.closing or Closing(at, None)
    state = replace(state, closing=closing.resting(at))
    run = state.run
    if run.idle or run.step == "load" or state.flash is not None:
        return state, ()
    if run.step == "lay" and state.transfer not in (Transfer.NONE, Transfer.NOTHING):
        return state, (TakeStep("press", at),)  # without one it only smooths the garment
    if state.lying is not Lying.KNOWN or state.looked or _since(state, at) < SETTLES:
        return state, ()
    # It may be no press but a shadow.
    return replace(state, looked=True, flash=FlashKind.LOOK), (Flash(FlashKind.LOOK),)


def _opened(state: EyeState, at: float, lies: bool) -> Answer:
    """See to a closing that is over; `lies` if something lies on the garment."""
    closing, run = state.closing, state.run
    if closing is None or run.idle:
        return state, ()
    closing = closing.stirred(at)
    state = replace(state, closing=None)
    pressed = closing.may_be_press(run, at)
    if run.step != "press":
        if state.lying is Lying.KNOWN:
            # It was smoothed; whether that moved it is seen with the transfer.
            state = replace(state, transfer=Transfer.NONE)
        if not pressed or state.lying in (Lying.NONE, Lying.DONE):
            return state, ()
        # Without a transfer it was smoothed for long: that is asked if the piece goes as it is.
        state = replace(state, doubt=UNCHECKED if closing.whole else NOT_WATCHED)
        return _asks(state, state.doubt) if lies else (state, ())
    if closing.whole and pressed and state.transfer is Transfer.GOOD:
        done = replace(state, lying=Lying.DONE, transfer=Transfer.NONE)
        if state.flash is not None:
            return done, (CountPress(closing.longest),)
        # At once, while it lies still: nobody waits for the print to be measured.
        looks = replace(done, flash=FlashKind.PRINT)
        return looks, (CountPress(closing.longest), Flash(FlashKind.PRINT))
    if pressed:
        return _asks(state, UNCHECKED if closing.whole else NOT_WATCHED)
    return _asks(state, closing.short_words(run)) if closing.whole else (state, ())


def _asks(state: EyeState, why: str) -> Answer:
    """Ask whether the imprint was pressed, once, in the press step, where a key says yes."""
    if state.asked:
        return state, ()
    steps = {"load": ("lay", "press"), "lay": ("press",)}.get(state.run.step, ())
    state = replace(state, asked=True, doubt="")
    return state, (*(TakeStep(step) for step in steps), AskPressed(why))


def _empty(state: EyeState, at: float, still: bool) -> Answer:
    if not still:
        state, stopped = _stopped(state)
        state, wishes = _emptied(state, at)
        return state, (*stopped, *wishes)
    state, wishes = _emptied(state, at)
    if wishes and not isinstance(wishes[-1], Say):
        return state, wishes
    if state.checked or state.flash is not None or state.run.idle:
        return state, wishes
    return replace(state, flash=FlashKind.EMPTY), (*wishes, Flash(FlashKind.EMPTY))


def _emptied(state: EyeState, at: float) -> Answer:
    """Take note that nothing lies on the platen."""
    state, wishes = _opened(state, at, lies=False)
    run, was = state.run, state.lying
    gone = was is not Lying.NONE
    state = replace(
        state,
        lying=Lying.NONE,
        transfer=Transfer.NONE,
        checked=state.checked and not gone,
    )
    if wishes or run.idle or not gone or not run.imprint:
        return state, wishes
    if run.step == "press":
        return _asks(state, NOT_CLOSED)
    if state.doubt:
        return _asks(state, state.doubt)
    return state, (Say(TAKEN_OFF),) if run.step == "lay" and was is Lying.KNOWN else ()


def _cloth(state: EyeState, at: float) -> Answer:
    """Something lies on the platen that was not remembered: measure it, unless it is done."""
    state, wishes = _opened(state, at, lies=False)
    if wishes or state.run.idle or not state.run.imprint or state.run.step == "press":
        return state, wishes
    if state.lying is Lying.NONE:
        state = replace(state, lying=Lying.UNREAD)
    return _measure(state)


def _measure(state: EyeState) -> Answer:
    if state.lying is not Lying.UNREAD or state.flash is not None:
        return state, ()
    state = replace(state, lying=Lying.READING, flash=FlashKind.GARMENT)
    return state, (Flash(FlashKind.GARMENT),)


def _reaches(state: EyeState, at: float) -> Answer:
    """See to what comes in over the platen's edge: a hand is about to go."""
    unread = state.lying in (Lying.NONE, Lying.UNREAD, Lying.UNSURE)
    if _since(state, at) < (SETTLES if unread else LINGERS):
        return state, ()
    if unread:
        if state.looked:
            return state, ()
        # A small garment, or one that was moved and reaches over the edge itself.
        return _measure(replace(state, lying=Lying.UNREAD, looked=True))
    wishes: Wishes = () if state.told else (Say(A_HAND),)
    state = replace(state, told=True)
    if state.run.step != "lay" or state.lying is not Lying.KNOWN:
        return state, wishes
    state, looks = _look_for_transfer(state)  # or no more than a shadow
    return state, (*wishes, *looks)


def _on_the_garment(state: EyeState, sight: Sight, at: float) -> Answer:
    """See to the remembered garment, with or without something on it."""
    lies = sight in (Sight.SHEET, Sight.REACHING)
    state, wishes = _opened(state, at, lies)
    if wishes or state.run.idle or not state.run.imprint or state.run.step == "press":
        return state, wishes
    if sight is Sight.REACHING:
        return _reaches(state, at)
    if state.told:
        state, wishes = replace(state, told=False), (Say(""),)
    if state.lying is Lying.UNSURE and sight is not Sight.LOADED:
        state = replace(state, lying=Lying.UNREAD)  # it was moved since
    if state.lying is Lying.UNREAD:
        state, more = _measure(state)
        return state, (*wishes, *more)
    if state.run.step != "lay" or state.lying is not Lying.KNOWN:
        return state, wishes
    if sight is not Sight.SHEET:
        settled = state.transfer is Transfer.READING or (
            state.transfer is not Transfer.NONE and not state.stirred
        )
        return (state if settled else replace(state, transfer=Transfer.NONE)), wishes
    state, looks = _look_for_transfer(state)
    return state, (*wishes, *looks)


def _look_for_transfer(state: EyeState) -> Answer:
    """Have the transfer measured unless it was and nothing moved since."""
    fresh = state.transfer is Transfer.NONE or (
        state.stirred and state.transfer is not Transfer.READING
    )
    if not fresh or state.flash is not None:
        return state, ()
    state = replace(
        state, transfer=Transfer.READING, flash=FlashKind.TRANSFER, stirred=False, looked=True
    )
    return state, (Flash(FlashKind.TRANSFER),)
