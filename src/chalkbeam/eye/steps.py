"""Which step of the work the eye sees: a pure machine, sights in, wishes out.

It holds no clock, no picture and no run: times come with what is seen, the run's step is told
(`RunAt`), and what it wishes is carried out elsewhere, on record first. Three rules shape it:

- It only ever goes on, and only from the step that it was told: what a person took stays taken.
- A press is counted once its whole closing was seen, from covered platen to cloth again, and each
  closing counts for one imprint. Anything less is a question.
- Whatever moves stops a flash; what was measured before is then measured again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

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
    Wishes,
)
from chalkbeam.eye.values import TransferVerdict

LEAST_CLOSED = 3.0
"""Without a dwell on the sheet the platen must be covered so long for a press to have closed, s:
a sheet that is smoothed down or somebody leaning over covers it for less. Common practice, no
source."""

EARLY = 1.0
"""A closing may seem so much shorter than its dwell, s: the head is seen to rest only once it has
been still for a while."""

LINGERS = 4.0
"""What crosses the platen's edge is a hand that is about to go, until so long after, s."""


class Lying(Enum):
    """What is known of the garment on the platen."""

    NONE = "none"
    UNREAD = "unread"
    READING = "reading"
    UNSURE = "unsure"
    KNOWN = "known"
    DONE = "done"
    """Pressed, or there since before anybody looked: it must go before the next one counts."""


class Transfer(Enum):
    """What is known of the transfer on the garment."""

    NONE = "none"
    READING = "reading"
    GOOD = "good"
    DOUBTFUL = "doubtful"
    """To be moved, or not to be seen."""


@dataclass(frozen=True)
class Closing:
    """The platen is or was covered.

    Attributes
    ----------
    first : float
        When first, s.
    since : float or None
        Since when without a break; None while something moves.
    longest : float
        Longest stretch without a break that is over, s.
    whole : bool
        Whether the camera could be gone by all the while.
    """

    first: float
    since: float | None
    longest: float = 0.0
    whole: bool = True

    def stirred(self, at: float) -> Closing:
        """Return it with its stretch ended."""
        if self.since is None:
            return self
        return replace(self, since=None, longest=max(self.longest, at - self.since))

    def resting(self, at: float) -> Closing:
        """Return it with a stretch that runs."""
        return self if self.since is not None else replace(self, since=at)


_NOWHERE = RunAt()


@dataclass(frozen=True)
class EyeState:
    """Where the eye is with the work.

    Attributes
    ----------
    run : RunAt
    lying : Lying
    transfer : Transfer
    stirred : bool
        Whether anything moved since the transfer was measured.
    closing : Closing or None
    flash : FlashKind or None
        Which one runs or is being read.
    asked : bool
        Whether the question about this press is out.
    checked : bool
        Whether the empty platen was looked at since it became empty.
    blind : str
        Why the camera cannot be gone by; empty if it can.
    reaching : float or None
        Since when something comes in over the edge.
    told : bool
        Whether that was said.
    unlaid : float
        Longest closing over the loaded garment without a transfer seen on it, s.
    """

    run: RunAt = _NOWHERE
    lying: Lying = Lying.DONE
    transfer: Transfer = Transfer.NONE
    stirred: bool = False
    closing: Closing | None = None
    flash: FlashKind | None = None
    asked: bool = False
    checked: bool = False
    blind: str = ""
    reaching: float | None = None
    told: bool = False
    unlaid: float = 0.0


Answer = tuple[EyeState, Wishes]

TAKEN_OFF = "The garment was taken off: lay it again, its light follows."
A_HAND = "Something lies over the platen's edge: take it away, or go on with the keys."
SHORT = "the press was seen closed for {0:.0f} s of {1:.0f}"
UNCHECKED = "its transfer was not seen to lie right"
NOT_WATCHED = "the camera did not see all of it"
NOT_CLOSED = "the press was not seen to close"


def follow(state: EyeState, happened: EyeEvent) -> Answer:
    """Return the state after something happened, and what is wished."""
    match happened:
        case Moved():
            return _moved(state, happened)
        case Blinded(why):
            return _blinded(state, why)
        case SeesAgain():
            return replace(state, blind=""), (Say(""),) if state.blind else ()
        case GarmentRead(fits):
            return _garment_read(state, fits)
        case Confirmed():
            return _known(replace(state, flash=None))
        case TransferRead(verdict):
            return _transfer_read(state, verdict)
        case EmptyRead():
            ended = state.flash is FlashKind.EMPTY
            return replace(state, flash=None if ended else state.flash, checked=True), ()
        case Seen():
            return _seen(state, happened)


# -- the run ----------------------------------------------------------------------------------


def _moved(state: EyeState, moved: Moved) -> Answer:
    """Take up where the run stands now."""
    before, run = state.run, moved.run
    state = replace(state, run=run)
    if (run.imprint, run.step) == (before.imprint, before.step):
        return state, ()
    if run.imprint != before.imprint:
        state = replace(state, unlaid=0.0)
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
    if run.step == "load" and state.lying in (Lying.KNOWN, Lying.READING, Lying.UNSURE):
        state = replace(state, lying=Lying.UNREAD)
    return state, wishes


def _blinded(state: EyeState, why: str) -> Answer:
    """Leave everything to the keys until the camera can be gone by again."""
    if why == state.blind:
        return state, ()
    wishes: tuple[Wish, ...] = (Say(why),)
    if state.flash is not None:
        wishes = (StopFlash(), *wishes)
    closing = state.closing
    if closing is not None:
        closing = replace(closing, since=None, whole=False)
    elif state.run.step == "press":
        closing = Closing(0.0, None, whole=False)
    state = _unread(replace(state, blind=why, closing=closing))
    return state, wishes


def _unread(state: EyeState) -> EyeState:
    """Return the state with whatever was being read to be read again."""
    lying, transfer = state.lying, state.transfer
    return replace(
        state,
        flash=None,
        lying=Lying.UNREAD if lying is Lying.READING else lying,
        transfer=Transfer.NONE if transfer is Transfer.READING else transfer,
    )


# -- what was read ----------------------------------------------------------------------------


def _garment_read(state: EyeState, fits: bool) -> Answer:
    if state.flash is not FlashKind.GARMENT:
        return state, ()  # it was stopped meanwhile
    if state.lying is not Lying.READING:
        return replace(state, flash=None), ()
    state = replace(state, flash=None, lying=Lying.UNSURE)
    return _known(state) if fits else (state, (Remember(),))


def _known(state: EyeState) -> Answer:
    """Take it that the garment's place is known; on to the transfer if that is next."""
    state = replace(state, lying=Lying.KNOWN)
    on = state.run.step == "load" and state.run.imprint
    return state, (Remember(), TakeStep("lay")) if on else (Remember(),)


def _transfer_read(state: EyeState, verdict: TransferVerdict) -> Answer:
    if state.flash is not FlashKind.TRANSFER:
        return state, ()
    if state.transfer is not Transfer.READING:
        return replace(state, flash=None), ()
    good = verdict == "good"
    transfer = Transfer.GOOD if good else Transfer.DOUBTFUL
    return replace(state, flash=None, transfer=transfer, stirred=False), ()


# -- what is seen -----------------------------------------------------------------------------


def _seen(state: EyeState, seen: Seen) -> Answer:
    if state.blind:
        return state, ()
    sight, at = seen.sight, seen.at
    if sight is not Sight.REACHING:
        state = replace(state, reaching=None)
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
    return replace(_unread(state), stirred=True), wishes


def _moving(state: EyeState, at: float) -> Answer:
    state, wishes = _stopped(state)
    if state.lying is Lying.UNSURE:
        state = replace(state, lying=Lying.UNREAD)
    if state.closing is not None:
        state = replace(state, closing=state.closing.stirred(at))
    return state, wishes


def _covered(state: EyeState, at: float) -> Answer:
    closing = state.closing or Closing(at, None)
    state = replace(state, closing=closing.resting(at))
    run = state.run
    if run.idle or run.step != "lay" or state.transfer is Transfer.NONE:
        return state, ()  # without a transfer it only smooths the garment
    return state, (TakeStep("press", at),)


def _opened(state: EyeState, at: float) -> Answer:
    """See to a closing that is over."""
    closing, run = state.closing, state.run
    if closing is None or run.idle:
        return state, ()
    closing = closing.stirred(at)
    state = replace(state, closing=None)
    if run.step == "lay" and state.lying is Lying.KNOWN:
        # It was smoothed; whether that moved it is seen with the transfer.
        unlaid = max(state.unlaid, closing.longest)
        return replace(state, transfer=Transfer.NONE, unlaid=unlaid), ()
    if run.step != "press":
        return state, ()
    if not closing.whole:
        why = NOT_WATCHED
    elif closing.longest < _enough(run):
        asked = run.dwell if run.dwell is not None else LEAST_CLOSED
        why = SHORT.format(closing.longest, asked)
    elif state.transfer is not Transfer.GOOD:
        why = UNCHECKED
    else:
        done = replace(state, lying=Lying.DONE, transfer=Transfer.NONE)
        return done, (CountPress(closing.longest),)
    if state.asked:
        return state, ()
    return replace(state, asked=True), (AskPressed(why),)


def _enough(run: RunAt) -> float:
    """Return how long the platen must be covered for a press to count, s."""
    if run.dwell is None:
        return LEAST_CLOSED
    return max(run.dwell - EARLY, min(run.dwell, LEAST_CLOSED))


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
    state, wishes = _opened(state, at)
    run, was = state.run, state.lying
    gone = was is not Lying.NONE
    state = replace(
        state, lying=Lying.NONE, transfer=Transfer.NONE, checked=state.checked and not gone
    )
    if wishes or run.idle or not gone:
        return state, wishes
    if run.step == "press" and not state.asked:
        return replace(state, asked=True), (AskPressed(NOT_CLOSED),)
    if run.step != "lay" or not run.imprint:
        return state, ()
    if state.unlaid >= _enough(run):
        asks = TakeStep("press"), AskPressed(UNCHECKED)
        return replace(state, asked=True, unlaid=0.0), asks
    return state, (Say(TAKEN_OFF),) if was is Lying.KNOWN else ()


def _cloth(state: EyeState, at: float) -> Answer:
    """Something lies on the platen that was not remembered: measure it, unless it is done."""
    state, wishes = _opened(state, at)
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


def _on_the_garment(state: EyeState, sight: Sight, at: float) -> Answer:
    """See to the remembered garment, with or without something on it."""
    state, wishes = _opened(state, at)
    if wishes or state.run.idle or not state.run.imprint or state.run.step == "press":
        return state, wishes
    if sight is Sight.REACHING:
        since = at if state.reaching is None else state.reaching
        late = at - since >= LINGERS and not state.told
        state = replace(state, reaching=since, told=state.told or late)
        return state, (Say(A_HAND),) if late else ()
    if state.told:
        state, wishes = replace(state, told=False), (Say(""),)
    if state.lying is Lying.UNREAD:
        state, more = _measure(state)
        return state, (*wishes, *more)
    if state.run.step != "lay" or state.lying is not Lying.KNOWN:
        return state, wishes
    if sight is Sight.LOADED:
        settled = state.transfer is Transfer.READING or (
            state.transfer is not Transfer.NONE and not state.stirred
        )
        return (state if settled else replace(state, transfer=Transfer.NONE)), wishes
    fresh = state.transfer is Transfer.NONE or (
        state.stirred and state.transfer is not Transfer.READING
    )
    if not fresh or state.flash is not None:
        return state, wishes
    state = replace(state, transfer=Transfer.READING, flash=FlashKind.TRANSFER, stirred=False)
    return state, (*wishes, Flash(FlashKind.TRANSFER))
