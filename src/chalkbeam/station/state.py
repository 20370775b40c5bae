"""The press-side loop as a pure machine: inputs in, the operator's state and commands out.

What is recorded (which imprint, which step, nudges, outcomes) lives in
`chalkbeam.record.progress`; here lives only what is in the operator's hands at the
moment: a question being answered, a collar being moved, a number being typed. `advance`
never acts itself. It returns commands, and `chalkbeam.station.controller` carries them out, on the
disk first.
"""

from __future__ import annotations

from dataclasses import replace

from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import AFTER_PRESS, UNDER_HEAD, Step
from chalkbeam.record.progress import Progress
from chalkbeam.station.at_load import garment_answered, loaded, scanned
from chalkbeam.station.dwell import dwell_of
from chalkbeam.station.keys import Act, Action, action_for
from chalkbeam.station.press_steps import after_peel, after_press, laid_before
from chalkbeam.station.questions import Answer, answered, ask_pressed, at_step, was_pressed
from chalkbeam.station.values import (
    SCANNED,
    Asking,
    Command,
    CommandKind,
    OperatorState,
    RunView,
    Showing,
)
from chalkbeam.station.words import LIFT, elsewhere_words, finished_words
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Input, Key, Tick

BOUNCE = 0.15
"""A step asked for again within this many seconds is a bouncing pedal."""

SETTLED = 1.0
"""The step key does not say that the press is set within this many seconds of the last step."""

_AFTER_SETTING = frozenset(
    {Act.ON, Act.PRESET, Act.NUDGE, Act.TURN, Act.AS_PLANNED, Act.GARMENT, Act.KEEP_FOR_BATCH}
)
"""What waits until the press is set: its light does."""

LASTS = {
    Step.PREPRESS: "the pre-press",
    Step.PRESS: "the dwell",
    Step.PEEL: "the cooling",
    Step.SECOND: "the second press",
}
"""What a step waits for."""

PRESSED_ALREADY = "it is pressed already: go on with it, or X if it is spoiled"
BESIDE = "leave it lying: lay this one too, both are pressed at once"
_LAID_NO_MORE = frozenset(
    {Act.BACK, Act.UNDO, Act.REDO, Act.JUMP, Act.SKIP, Act.SPOIL, Act.PRESET, Act.GARMENT}
)
"""After these nobody can say what still lies on the garment."""


def advance(state: OperatorState, view: RunView, happened: Input) -> Answer:
    """Return the state after an input, and what is to be done with the run."""
    match happened:
        case Closed():
            return replace(state, over=True), ()
        case DisplayLost(sentence):
            return replace(state, trouble=f"{sentence} {HELD}", held=()), ()
        case DisplayBack():
            return replace(state, trouble="", leaving=False), ()
        case Tick():
            return _release(state, view, happened.at)
        case Key() if state.trouble:
            return _in_the_dark(state, happened), ()
        case Key():
            return _key(state, view, happened)
        case _:
            return state, ()


HELD = "No step is taken in the dark; Escape twice ends."


def _in_the_dark(state: OperatorState, key: Key) -> OperatorState:
    """Take no step whose light nobody sees: only leaving is possible."""
    action = action_for(key)
    act = action.act if action is not None else None
    if act is Act.LEAVE_NOW or (act is Act.LEAVE and state.leaving):
        return replace(state, over=True)
    return replace(state, leaving=act is Act.LEAVE)


def _key(state: OperatorState, view: RunView, key: Key) -> Answer:
    """Tell a scanner's characters from the operator's keys."""
    in_scan = bool(state.held) and key.at - state.held[-1].at <= SCANNED
    if key.name == "return" and in_scan and len(state.held) > 1:
        text = "".join(each.text for each in state.held)
        confirmed = scanned(state, view, text, key.at)
        if confirmed is not None:
            return confirmed
        return _go_to(replace(state, held=(), asking=None, typed=""), view, text)
    if in_scan and key.text:
        return replace(state, held=(*state.held, key)), ()
    state, commands = _release(state, view, None)
    scannable = bool(key.text) and key.name != "space" and not key.control and not key.repeated
    if scannable and state.asking is not Asking.JUMP and view.mode.allows(Act.JUMP):
        return replace(state, held=(key,)), commands
    after, more = _typed(state, view, key)
    return after, (*commands, *more)


def _release(state: OperatorState, view: RunView, now: float | None) -> Answer:
    """Let held characters act as keys: those that have waited long enough, or (None) all."""
    if not state.held or (now is not None and state.due is not None and now < state.due):
        return state, ()
    held, state = state.held, replace(state, held=())
    if len(held) > 1:  # a scan without its end: letting its characters act would do harm
        return replace(state, said="scan again: its end is missing"), ()
    return _typed(state, view, held[0])


def _typed(state: OperatorState, view: RunView, key: Key) -> Answer:
    if state.asking is Asking.JUMP:
        return _type(state, view, key)
    if state.asking is Asking.PRESSED:
        return was_pressed(state, view, key)
    if state.asking is Asking.GARMENT:
        return garment_answered(state, view, key)
    if state.asking is not None:
        return answered(state, view, state.asking, key)
    action = action_for(key)
    if action is None or not view.mode.allows(action.act):
        return state, ()
    if action.act is Act.LEAVE_NOW or (action.act is Act.LEAVE and state.leaving):
        return replace(state, over=True), ()
    if action.act is Act.LEAVE and state.moving is not None:
        return replace(state, moving=None, said=""), ()
    if action.act is Act.LEAVE:
        return replace(state, leaving=True, said=""), ()
    state = replace(state, leaving=False, said="")
    if state.moving is not None:
        return _move(state, state.moving, action)
    if view.to_see_to and action.act in _AFTER_SETTING:
        return _set_press(state, view, action, key.at)
    return _act(state, view, action, key.at)


def _set_press(state: OperatorState, view: RunView, action: Action, at: float) -> Answer:
    """Take it that the platen is on, or the press set: by its answer's number, or by the step key.

    The step key says so only after a while.
    """
    if view.progress.paused:
        return _act(state, view, action, at)
    if state.showing is not Showing.WORK or state.dark:
        return replace(state, showing=Showing.WORK, dark=False), ()
    by_step = action.act is Act.ON and at - state.stepped_at >= SETTLED
    if by_step or (action.act is Act.PRESET and action.number == 1):
        fitted = view.to_fit is not None
        kind = CommandKind.FIT_PLATEN if fitted else CommandKind.SET_PRESS
        return replace(state, stepped_at=at), (Command(kind),)
    first = "put the platen on" if view.to_fit is not None else "set the press"
    return replace(state, said=f"first {first}, then 1 or the step key"), ()


def _act(state: OperatorState, view: RunView, action: Action, at: float) -> Answer:
    progress = view.progress
    if progress.paused:
        if action.act in (Act.PAUSE, Act.ON):
            return state, (Command(CommandKind.PAUSE),)
        return replace(state, said="paused: P goes on"), ()
    if action.act in _LAID_NO_MORE:
        state = replace(state, laid="")
    match action.act:
        case Act.DARK:
            return replace(state, dark=not state.dark), ()
        case Act.CHECK | Act.HELP:
            wanted = Showing.CHECK if action.act is Act.CHECK else Showing.HELP
            shown = Showing.WORK if state.showing is wanted else wanted
            return replace(state, showing=shown, dark=False), ()
        case Act.UNDO | Act.REDO:
            kind = CommandKind.UNDO if action.act is Act.UNDO else CommandKind.REDO
            return at_step(state, None), (Command(kind),)
        case Act.PAUSE:
            return state, (Command(CommandKind.PAUSE),)
        case Act.JUMP:
            return replace(state, asking=Asking.JUMP, typed=""), ()
        case Act.ON | Act.BACK:
            return _step(state, view, action.act, at)
    if progress.stop is None:
        return replace(state, said=f"{finished_words(progress)}: U takes the last act back"), ()
    return _at_stop(state, view, action)


def _at_stop(state: OperatorState, view: RunView, action: Action) -> Answer:
    """Do what needs a current imprint."""
    progress = view.progress
    match action.act:
        case Act.SKIP | Act.PRESET | Act.GARMENT if progress.at.step in AFTER_PRESS:
            return replace(state, said=PRESSED_ALREADY), ()
        case Act.SPOIL:
            return replace(state, asking=Asking.SPOIL), ()
        case Act.PRESET:
            return _preset(state, view, action.number)
        case Act.SKIP:
            return replace(state, asking=Asking.SKIP), ()
        case Act.GARMENT if view.can_light and progress.at.step in (Step.LOAD, Step.LAY):
            where = progress.collar(_index(progress)) or Shift()
            return replace(state, moving=where, showing=Showing.WORK, dark=False), ()
        case Act.NUDGE | Act.TURN if _laying(state, view):
            shift = Shift(action.x, action.y, action.angle)
            return state, (Command(CommandKind.NUDGE, shift=shift),)
        case Act.NUDGE | Act.TURN:
            garment = "; G moves the garment's" if view.mode.allows(Act.GARMENT) else ""
            return replace(state, said=f"lines move in the lay step{garment}"), ()
        case Act.AS_PLANNED if _laying(state, view):
            own = _own_nudge(progress)
            if own == Shift():
                return replace(state, said="nothing was moved here"), ()
            return state, (Command(CommandKind.NUDGE, shift=_opposite(own)),)
        case Act.KEEP_FOR_BATCH if _laying(state, view):
            own = _own_nudge(progress)
            if own == Shift():
                return replace(state, said="nothing was moved here"), ()
            command = Command(CommandKind.NUDGE_BATCH, shift=own)
            return replace(state, said="moved alike from here on"), (command,)
        case _:
            return state, ()


def _step(state: OperatorState, view: RunView, act: Act, at: float) -> Answer:
    """Go a step on or back."""
    progress = view.progress
    if state.showing is not Showing.WORK or state.dark:
        return replace(state, showing=Showing.WORK, dark=False), ()
    if at - state.stepped_at < BOUNCE:
        return state, ()
    state = replace(state, stepped_at=at)
    if progress.stop is None:
        return replace(state, said=f"{finished_words(progress)}: Escape twice ends"), ()
    step = progress.at.step
    # What is pressed is peeled though its artwork has gone missing meanwhile.
    if not view.can_light and act is Act.ON and step not in (Step.PRESS, *AFTER_PRESS):
        return state, ()
    if act is Act.BACK:
        return _back(state, view)
    match step:
        case Step.LOAD:
            return loaded(state, view, at)
        case Step.LAY if view.with_next is not None:
            state = replace(at_step(state, None), laid=progress.stop.imprint.id, said=BESIDE)
            return state, (Command(CommandKind.JUMP, index=view.with_next, step=Step.LAY),)
        case Step.LAY:
            return at_step(state, at), (Command(CommandKind.STEP, step=Step.PRESS),)
        case Step.PRESS if not view.mode.counted:
            return at_step(state, None), (Command(CommandKind.STEP, step=Step.LOAD),)
        case Step.PEEL:
            return _over(state, view, at, after_peel(state, progress))
        case Step.PREPRESS:
            return _over(state, view, at, Command(CommandKind.STEP, step=Step.LAY))
        case Step.PRESS:
            return _over(state, view, at, after_press(state, progress))
        case Step.SECOND:
            pressed = Command(CommandKind.PRESS, text=laid_before(state, progress))
            return _over(state, view, at, pressed)


def _over(state: OperatorState, view: RunView, at: float, command: Command) -> Answer:
    """End a step that lasts: once it was seen to begin and its time is over, or for sure."""
    step = view.progress.at.step
    if step in UNDER_HEAD and state.pressing_since is None and not state.sure:
        return ask_pressed(state, view, None), ()
    dwell = dwell_of(view.progress, state.pressing_since)
    left = 0.0 if dwell is None else dwell.left(at)
    if left > 0 and not state.sure:
        said = f"{left:.0f} s of {LASTS[step]} left: once more if it is done"
        return replace(state, sure=True, said=said), ()
    goes_on = command.kind is CommandKind.STEP
    closes = at if goes_on and command.step in UNDER_HEAD else None
    said = LIFT if step is Step.PREPRESS and dwell is None else ""
    laid = state.laid if goes_on else ""
    return replace(at_step(state, closes), laid=laid, said=said), (command,)


def _back(state: OperatorState, view: RunView) -> Answer:
    before = Step.LOAD
    match view.progress.at.step:
        case Step.LOAD | Step.PEEL if view.mode.counted:
            return replace(state, said="U takes the last act back"), ()
        case Step.LOAD:
            before = Step.PRESS
        case Step.PRESS:
            before = Step.LAY
        case Step.SECOND:
            before = Step.PEEL
        case _:
            pass
    return at_step(state, None), (Command(CommandKind.STEP, step=before),)


def _preset(state: OperatorState, view: RunView, number: int) -> Answer:
    if number > len(view.locations):
        count = len(view.locations)
        there = "there is 1" if count == 1 else f"there are {count}"
        return replace(state, said=f"no location {number}: {there}"), ()
    progress, chosen = view.progress, view.locations[number - 1]
    stop, here = progress.stop, progress.location(_index(progress))
    if stop is None or chosen == here:
        return state, ()
    state = replace(state, showing=Showing.WORK, dark=False)
    due = progress.due_at(chosen)
    if due is not None:  # the piece's own imprint goes there: nothing is put elsewhere
        # The step stays only where the garment does: on another face, platen or pad it is loaded.
        stays = progress.at.step is Step.LAY and progress.lies_alike(_index(progress), due)
        return _leave_for(state, view, due, Step.LAY if stays else Step.LOAD)
    asked = elsewhere_words(stop, chosen, here)
    state = replace(state, asking=Asking.PLACE, question=asked, elsewhere=chosen)
    return state, (Command(CommandKind.TRY, text=chosen),)


def _move(state: OperatorState, moving: Shift, action: Action) -> Answer:
    """Move the garment's lines on to the real collar."""
    match action.act:
        case Act.NUDGE | Act.TURN:
            moved = moving + Shift(action.x, action.y, action.angle)
            clean = Shift(round(moved.x, 4), round(moved.y, 4), round(moved.angle, 9))
            return replace(state, moving=clean), ()
        case Act.AS_PLANNED:
            return replace(state, moving=Shift()), ()
        case Act.KEEP | Act.ON | Act.KEEP_FOR_BATCH:
            batch = action.act is Act.KEEP_FOR_BATCH
            said = "collar kept for the rest of the batch" if batch else "collar kept"
            kind = CommandKind.COLLAR_BATCH if batch else CommandKind.COLLAR
            return replace(state, moving=None, said=said), (Command(kind, shift=moving),)
        case Act.GARMENT:
            return replace(state, moving=None), ()
        case _:
            return replace(
                state, said="first keep the collar with Enter, or leave it with Escape"
            ), ()


def _type(state: OperatorState, view: RunView, key: Key) -> Answer:
    """Take a piece's number, character by character."""
    match key.name:
        case "escape":
            return replace(state, asking=None, typed=""), ()
        case "backspace":
            return replace(state, typed=state.typed[:-1]), ()
        case "return":
            return _go_to(replace(state, asking=None, typed=""), view, state.typed)
    if key.text and key.text != " " and len(state.typed) < 40:
        return replace(state, typed=state.typed + key.text), ()
    return state, ()


def _go_to(state: OperatorState, view: RunView, text: str) -> Answer:
    if not text.strip():
        return state, ()
    index = view.progress.find(text)
    if index is None:
        return replace(state, said=f"no piece “{text.strip()}” in this order"), ()
    if view.progress.paused:
        return replace(state, said="paused: P goes on"), ()
    if not view.progress.is_mine(index):
        return replace(state, said=f"piece “{text.strip()}” is not at this press"), ()
    state = replace(state, moving=None, showing=Showing.WORK, dark=False, said="", laid="")
    return _leave_for(state, view, index, Step.LOAD)


def _leave_for(state: OperatorState, view: RunView, index: int, step: Step) -> Answer:
    """Go to another stop; from under the press only once it is said whether that was closed."""
    progress = view.progress
    here = progress.at
    same = progress.stop is not None and progress.stops[index].piece.id == progress.stop.piece.id
    if same and here.step in AFTER_PRESS:
        return replace(state, said=PRESSED_ALREADY), ()
    aside = progress.aside_of(index)
    if aside is not None:
        index, step = aside, Step.PEEL
    asks = here.step in (Step.PRESS, Step.SECOND) and view.mode.counted
    if asks and index != here.index:
        return ask_pressed(state, view, (index, step)), ()
    return at_step(state, None), (Command(CommandKind.JUMP, index=index, step=step),)


def _laying(state: OperatorState, view: RunView) -> bool:
    at_lay = view.progress.at.step is Step.LAY and view.can_light
    return at_lay and state.showing is Showing.WORK and not state.dark


def _index(progress: Progress) -> int:
    index = progress.at.index
    assert index is not None  # asked only where there is a current imprint
    return index


def _own_nudge(progress: Progress) -> Shift:
    """Return what was moved for this imprint itself, without what it came with."""
    index = _index(progress)
    whole, carried = progress.nudge(index), progress.carried(index)
    own = whole + _opposite(carried)
    return Shift(round(own.x, 6), round(own.y, 6), round(own.angle, 9))


def _opposite(shift: Shift) -> Shift:
    return Shift(-shift.x, -shift.y, -shift.angle)
