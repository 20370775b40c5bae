"""The press-side loop as a pure machine: inputs in, the operator's desk and orders out.

What is recorded (which imprint, which step, nudges, outcomes) lives in
`chalkbeam.runs.progress`; here lives only what is in the operator's hands at the
moment: a question being answered, a collar being moved, a number being typed. `advance`
never acts itself. It returns commands, and `chalkbeam.press_side` carries them out, on the
disk first.
"""

from __future__ import annotations

from dataclasses import replace

from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.record.progress import Progress
from chalkbeam.station.keys import Act, Action, action_for
from chalkbeam.station.single import View
from chalkbeam.station.values import (
    ANSWERS,
    FRESH,
    SCANNED,
    YES_NO,
    Asking,
    Command,
    Desk,
    Order,
    Standing,
)
from chalkbeam.station.words import elsewhere_words, unseen_words
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Input, Key, Tick

BOUNCE = 0.15
"""A step asked for again within this many seconds is a bouncing pedal."""


Answer = tuple[Desk, tuple[Command, ...]]


def advance(desk: Desk, standing: Standing, happened: Input) -> Answer:
    """Return the desk after an input, and what is to be done with the run."""
    match happened:
        case Closed():
            return replace(desk, over=True), ()
        case DisplayLost(sentence):
            return replace(desk, trouble=f"{sentence} {HELD}", held=()), ()
        case DisplayBack():
            return replace(desk, trouble="", leaving=False), ()
        case Tick():
            return _release(desk, standing, happened.at)
        case Key() if desk.trouble:
            return _in_the_dark(desk, happened), ()
        case Key():
            return _key(desk, standing, happened)
        case _:
            return desk, ()


HELD = "No step is taken in the dark; Escape twice ends."


def _in_the_dark(desk: Desk, key: Key) -> Desk:
    """Take no step whose light nobody sees: only leaving is possible."""
    action = action_for(key)
    act = action.act if action is not None else None
    if act is Act.LEAVE_NOW or (act is Act.LEAVE and desk.leaving):
        return replace(desk, over=True)
    return replace(desk, leaving=act is Act.LEAVE)


def _key(desk: Desk, standing: Standing, key: Key) -> Answer:
    """Tell a scanner's characters from the operator's keys."""
    in_scan = bool(desk.held) and key.at - desk.held[-1].at <= SCANNED
    if key.name == "return" and in_scan and len(desk.held) > 1:
        text = "".join(each.text for each in desk.held)
        return _go_to(replace(desk, held=(), asking=None, typed=""), standing, text)
    if in_scan and key.text:
        return replace(desk, held=(*desk.held, key)), ()
    desk, commands = _release(desk, standing, None)
    scannable = bool(key.text) and key.name != "space" and not key.control and not key.repeated
    if scannable and desk.asking is not Asking.JUMP:
        return replace(desk, held=(key,)), commands
    after, more = _typed(desk, standing, key)
    return after, (*commands, *more)


def _release(desk: Desk, standing: Standing, now: float | None) -> Answer:
    """Let held characters act as keys: those that have waited long enough, or (None) all."""
    if not desk.held or (now is not None and desk.due is not None and now < desk.due):
        return desk, ()
    held, desk = desk.held, replace(desk, held=())
    if len(held) > 1:  # a scan without its end: letting its characters act would do harm
        return replace(desk, said="scan again: its end is missing"), ()
    return _typed(desk, standing, held[0])


def _typed(desk: Desk, standing: Standing, key: Key) -> Answer:
    if desk.asking is Asking.JUMP:
        return _type(desk, standing, key)
    if desk.asking is not None:
        return _answer(desk, desk.asking, key)
    action = action_for(key)
    if action is None:
        return desk, ()
    if action.act is Act.LEAVE_NOW or (action.act is Act.LEAVE and desk.leaving):
        return replace(desk, over=True), ()
    if action.act is Act.LEAVE and desk.moving is not None:
        return replace(desk, moving=None, said=""), ()
    if action.act is Act.LEAVE:
        return replace(desk, leaving=True, said=""), ()
    desk = replace(desk, leaving=False, said="")
    if desk.moving is not None:
        return _move(desk, desk.moving, action)
    return _act(desk, standing, action, key.at)


def _act(desk: Desk, standing: Standing, action: Action, at: float) -> Answer:
    progress = standing.progress
    if progress.paused:
        if action.act in (Act.PAUSE, Act.ON):
            return desk, (Command(Order.PAUSE),)
        return replace(desk, said="paused: P goes on"), ()
    match action.act:
        case Act.DARK:
            return replace(desk, dark=not desk.dark), ()
        case Act.CHECK | Act.HELP:
            view = View.CHECK if action.act is Act.CHECK else View.HELP
            shown = View.WORK if desk.view is view else view
            return replace(desk, view=shown, dark=False), ()
        case Act.UNDO | Act.REDO:
            order = Order.UNDO if action.act is Act.UNDO else Order.REDO
            return _at_step(desk, None), (Command(order),)
        case Act.PAUSE:
            return desk, (Command(Order.PAUSE),)
        case Act.JUMP:
            return replace(desk, asking=Asking.JUMP, typed=""), ()
        case Act.ON | Act.BACK:
            return _step(desk, standing, action.act, at)
    if progress.stop is None:
        return replace(desk, said="the order is finished: U takes the last act back"), ()
    return _at_stop(desk, standing, action)


def _at_stop(desk: Desk, standing: Standing, action: Action) -> Answer:
    """Do what needs an imprint at hand."""
    progress = standing.progress
    match action.act:
        case Act.SKIP:
            return replace(desk, asking=Asking.SKIP), ()
        case Act.SPOIL:
            return replace(desk, asking=Asking.SPOIL), ()
        case Act.PRESET:
            return _preset(desk, standing, action.number)
        case Act.GARMENT if standing.ready and progress.at.step is not Step.PRESS:
            where = progress.collar(_index(progress)) or Shift()
            return replace(desk, moving=where, view=View.WORK, dark=False), ()
        case Act.NUDGE | Act.TURN if _laying(desk, standing):
            shift = Shift(action.x, action.y, action.angle)
            return desk, (Command(Order.NUDGE, shift=shift),)
        case Act.NUDGE | Act.TURN:
            return replace(desk, said="lines move in the lay step; G moves the garment's"), ()
        case Act.AS_PLANNED if _laying(desk, standing):
            own = _own_nudge(progress)
            if own == Shift():
                return replace(desk, said="nothing was moved here"), ()
            return desk, (Command(Order.NUDGE, shift=_opposite(own)),)
        case Act.KEEP_FOR_BATCH if _laying(desk, standing):
            own = _own_nudge(progress)
            if own == Shift():
                return replace(desk, said="nothing was moved here"), ()
            return replace(desk, said="moved alike from here on"), (
                # In this order: a run killed in between has lost a nudge, not doubled it.
                Command(Order.NUDGE, shift=_opposite(own)),
                Command(Order.NUDGE_BATCH, shift=own),
            )
        case _:
            return desk, ()


def _step(desk: Desk, standing: Standing, act: Act, at: float) -> Answer:
    """Go a step on or back."""
    progress = standing.progress
    if desk.view is not View.WORK or desk.dark:
        return replace(desk, view=View.WORK, dark=False), ()
    if at - desk.stepped_at < BOUNCE:
        return desk, ()
    desk = replace(desk, stepped_at=at)
    if progress.stop is None:
        return replace(desk, said="the order is finished: Escape twice ends"), ()
    if not standing.ready and act is Act.ON:
        return desk, ()
    if act is Act.BACK:
        if progress.at.step is Step.LOAD:
            return replace(desk, said="U takes the last act back"), ()
        before = Step.LOAD if progress.at.step is Step.LAY else Step.LAY
        return _at_step(desk, None), (Command(Order.STEP, step=before),)
    match progress.at.step:
        case Step.LOAD:
            return desk, (Command(Order.STEP, step=Step.LAY),)
        case Step.LAY:
            return _at_step(desk, at), (Command(Order.STEP, step=Step.PRESS),)
        case Step.PRESS:
            if desk.pressing_since is None and not desk.sure:
                return replace(desk, sure=True, said=unseen_words(progress)), ()
            left = dwell_left(desk, standing, at)
            if left > 0 and not desk.sure:
                said = f"{left:.0f} s of the dwell left: once more if it is done"
                return replace(desk, sure=True, said=said), ()
            return _at_step(desk, None), (Command(Order.PRESS),)


def dwell_left(desk: Desk, standing: Standing, at: float) -> float:
    """Return the seconds until the dwell that the sheet gives is over; 0 if none runs."""
    stop = standing.progress.stop
    dwell = stop.imprint.press.dwell if stop is not None else None
    if dwell is None or desk.pressing_since is None:
        return 0.0
    return max(0.0, desk.pressing_since + dwell - at)


def _at_step(desk: Desk, pressing_since: float | None) -> Desk:
    return replace(desk, pressing_since=pressing_since, sure=False)


def _preset(desk: Desk, standing: Standing, number: int) -> Answer:
    if number > len(standing.locations):
        return replace(desk, said=f"there is no location {number} in this order"), ()
    progress, chosen = standing.progress, standing.locations[number - 1]
    stop, here = progress.stop, progress.location(_index(progress))
    if stop is None or chosen == here:
        return desk, ()
    desk = replace(desk, view=View.WORK, dark=False)
    due = progress.due_at(chosen)
    if due is not None:  # the piece's own imprint goes there: nothing is put elsewhere
        return _at_step(desk, None), (Command(Order.JUMP, index=due),)
    asked = elsewhere_words(stop, chosen, here)
    desk = replace(desk, asking=Asking.PLACE, question=asked, elsewhere=chosen)
    return desk, (Command(Order.TRY, text=chosen),)


def _move(desk: Desk, moving: Shift, action: Action) -> Answer:
    """Move the garment's lines on to the real collar."""
    match action.act:
        case Act.NUDGE | Act.TURN:
            moved = moving + Shift(action.x, action.y, action.angle)
            clean = Shift(round(moved.x, 4), round(moved.y, 4), round(moved.angle, 9))
            return replace(desk, moving=clean), ()
        case Act.AS_PLANNED:
            return replace(desk, moving=Shift()), ()
        case Act.KEEP | Act.ON | Act.KEEP_FOR_BATCH:
            batch = action.act is Act.KEEP_FOR_BATCH
            said = "collar kept for the rest of the batch" if batch else "collar kept"
            order = Order.COLLAR_BATCH if batch else Order.COLLAR
            return replace(desk, moving=None, said=said), (Command(order, shift=moving),)
        case Act.GARMENT:
            return replace(desk, moving=None), ()
        case _:
            return replace(
                desk, said="first keep the collar with Enter, or leave it with Escape"
            ), ()


def _answer(desk: Desk, asking: Asking, key: Key) -> Answer:
    """Take the answer to a question: its number, or Escape, which leaves all as it was."""
    if key.repeated:
        return desk, ()
    if key.name in ("escape", "backspace"):
        return replace(desk, asking=None, reason="", said=""), ()
    answers = ANSWERS[asking]
    if len(key.name) != 1 or key.name not in "123456789"[: len(answers)]:
        return replace(desk, said=f"answer with 1 to {len(answers)}, or Escape"), ()
    chosen = answers[int(key.name) - 1]
    if chosen == YES_NO[1]:
        return replace(desk, asking=None, said=""), ()
    desk = replace(_at_step(desk, None), said="")
    match asking:
        case Asking.PLACE:
            return replace(desk, asking=None), (Command(Order.PRESET, text=desk.elsewhere),)
        case Asking.SKIP:
            return replace(desk, asking=None), (Command(Order.SKIP, text=chosen),)
        case Asking.SPOIL:
            return replace(desk, asking=Asking.FRESH, reason=chosen), ()
        case _:
            command = Command(Order.SPOIL, text=desk.reason, replaced=chosen == FRESH[0])
            return replace(desk, asking=None, reason=""), (command,)


def _type(desk: Desk, standing: Standing, key: Key) -> Answer:
    """Take a piece's number, character by character."""
    match key.name:
        case "escape":
            return replace(desk, asking=None, typed=""), ()
        case "backspace":
            return replace(desk, typed=desk.typed[:-1]), ()
        case "return":
            return _go_to(replace(desk, asking=None, typed=""), standing, desk.typed)
    if key.text and key.text != " " and len(desk.typed) < 40:
        return replace(desk, typed=desk.typed + key.text), ()
    return desk, ()


def _go_to(desk: Desk, standing: Standing, text: str) -> Answer:
    if not text.strip():
        return desk, ()
    index = standing.progress.find(text)
    if index is None:
        return replace(desk, said=f"no piece “{text.strip()}” in this order"), ()
    if standing.progress.paused:
        return replace(desk, said="paused: P goes on"), ()
    desk = replace(_at_step(desk, None), moving=None, view=View.WORK, dark=False, said="")
    return desk, (Command(Order.JUMP, index=index),)


def _laying(desk: Desk, standing: Standing) -> bool:
    at_lay = standing.progress.at.step is Step.LAY and standing.ready
    return at_lay and desk.view is View.WORK and not desk.dark


def _index(progress: Progress) -> int:
    index = progress.at.index
    assert index is not None  # asked only where an imprint is at hand
    return index


def _own_nudge(progress: Progress) -> Shift:
    """Return what was moved for this imprint itself, without what it came with."""
    index = _index(progress)
    whole, carried = progress.nudge(index), progress.carried(index)
    own = whole + _opposite(carried)
    return Shift(round(own.x, 6), round(own.y, 6), round(own.angle, 9))


def _opposite(shift: Shift) -> Shift:
    return Shift(-shift.x, -shift.y, -shift.angle)
