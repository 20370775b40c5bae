"""The end of the load step: where the shop asks for it, once the garment is the right one.

Size label and colour are looked at and confirmed by a key, by the piece's scanned code, or by a
camera that is sure of both; once for every garment, before anything is pressed on it.
"""

from __future__ import annotations

from dataclasses import replace

from chalkbeam.record.events import Step
from chalkbeam.station.keys import Act, action_for
from chalkbeam.station.press_steps import after_load
from chalkbeam.station.questions import Answer, at_step
from chalkbeam.station.values import (
    Asking,
    Command,
    CommandKind,
    ConfirmedBy,
    OperatorState,
    RunView,
)
from chalkbeam.station.words import garment_words
from overlay.window.inputs import Key

LOOKED = 1.0
"""The step key does not say that the garment is the right one within this many seconds, s."""


def loaded(state: OperatorState, view: RunView, at: float) -> Answer:
    """Return what follows when the operator says that the garment lies."""
    if view.to_confirm:
        return ask_garment(state, view), ()
    return _goes_on(state, view, at)


def ask_garment(state: OperatorState, view: RunView) -> OperatorState:
    """Ask whether it is the right garment."""
    assert view.progress.stop is not None  # to be confirmed only where there is one
    return replace(state, asking=Asking.GARMENT, question=garment_words(view.progress.stop))


def garment_answered(state: OperatorState, view: RunView, key: Key) -> Answer:
    """Take the answer whether it is the right garment: its number, or a step on and a step back."""
    if key.repeated:
        return state, ()
    action = action_for(key)
    act = action.act if action is not None else None
    if key.name in ("2", "escape") or act is Act.BACK:
        return replace(state, asking=None, said=""), ()
    stepped = act is Act.ON and key.at - state.stepped_at >= LOOKED
    if key.name != "1" and not stepped:
        return replace(state, said="look at the label, then 1, or 2"), ()
    return _confirmed(replace(state, stepped_at=key.at), view, ConfirmedBy.KEY, key.at)


def scanned(state: OperatorState, view: RunView, text: str, at: float) -> Answer | None:
    """Take a scanned code at load: that of the piece in hand confirms it; None for any other."""
    index, stop = view.progress.find(text), view.progress.stop
    if not view.to_confirm or index is None or stop is None:
        return None
    if view.progress.stops[index].piece.id != stop.piece.id:
        return None
    if state.asking is Asking.GARMENT:
        return _confirmed(state, view, ConfirmedBy.SCAN, at)
    confirm = Command(CommandKind.CONFIRM, text=ConfirmedBy.SCAN.value)
    return replace(state, held=(), said="its code fits: lay it"), (confirm,)


def _confirmed(state: OperatorState, view: RunView, by: ConfirmedBy, at: float) -> Answer:
    state, commands = _goes_on(replace(state, held=(), asking=None, said=""), view, at)
    return state, (Command(CommandKind.CONFIRM, text=by.value), *commands)


def _goes_on(state: OperatorState, view: RunView, at: float) -> Answer:
    following = after_load(view.progress) if view.mode.counted else Step.LAY
    closes = at if following is Step.PREPRESS else None
    return at_step(state, closes), (Command(CommandKind.STEP, step=following),)
