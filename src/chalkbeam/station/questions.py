"""The operator's questions and their answers: each has a number, the same everywhere."""

from __future__ import annotations

from dataclasses import replace

from chalkbeam.record.events import AFTER_PRESS, Step
from chalkbeam.station.keys import Act, action_for
from chalkbeam.station.press_steps import after_press, laid_before
from chalkbeam.station.values import (
    ANSWERS,
    FRESH,
    MISSING,
    ONLY_TRANSFER,
    YES_NO,
    Asking,
    Command,
    CommandKind,
    OperatorState,
    RunView,
)
from chalkbeam.station.words import fresh_words, pressed_words, wasted_words
from overlay.window.inputs import Key

Answer = tuple[OperatorState, tuple[Command, ...]]


def at_step(state: OperatorState, pressing_since: float | None) -> OperatorState:
    """Return the state at another step: nobody has said anything of its dwell."""
    return replace(state, pressing_since=pressing_since, sure=False)


def answered(state: OperatorState, view: RunView, asking: Asking, key: Key) -> Answer:
    """Take the answer to a question: its number, or Escape, which leaves all as it was."""
    if key.repeated:
        return state, ()
    if key.name in ("escape", "backspace"):
        return replace(state, asking=None, reason="", said=""), ()
    answers = ANSWERS[asking]
    if len(key.name) != 1 or key.name not in "123456789"[: len(answers)]:
        return replace(state, said=f"answer with 1 to {len(answers)}, or Escape"), ()
    chosen = answers[int(key.name) - 1]
    if chosen == YES_NO[1]:
        return replace(state, asking=None, said=""), ()
    state = replace(at_step(state, None), said="")
    match asking:
        case Asking.PLACE:
            return replace(state, asking=None), (Command(CommandKind.PRESET, text=state.elsewhere),)
        case Asking.SKIP:
            return replace(state, asking=None), (Command(CommandKind.SKIP, text=chosen),)
        case Asking.SPOIL if chosen == ONLY_TRANSFER:
            return _wasted(replace(state, asking=None), view)
        case Asking.SPOIL:
            asked = fresh_words(view.progress)
            return replace(state, asking=Asking.FRESH, reason=chosen, question=asked), ()
        case _:
            command = Command(
                CommandKind.SPOIL, text=state.reason, replaced=chosen == FRESH[0],
                missing=MISSING.get(chosen, ""),
            )  # fmt: skip
            return replace(state, asking=None, reason=""), (command,)


def _wasted(state: OperatorState, view: RunView) -> Answer:
    """Go on with another transfer, where the one at hand is spoiled and not on the garment yet."""
    if view.progress.at.step in (Step.PRESS, *AFTER_PRESS):
        return replace(state, said="it is on the garment: give another reason"), ()
    said = wasted_words(view.progress)
    return replace(state, said=said), (Command(CommandKind.WASTE, text=ONLY_TRANSFER),)


def ask_pressed(
    state: OperatorState, view: RunView, then: tuple[int, Step] | None
) -> OperatorState:
    """Ask whether the press was closed on the current imprint for its step."""
    asked = pressed_words(view.progress)
    return replace(state, asking=Asking.PRESSED, question=asked, then=then, typed="")


def was_pressed(state: OperatorState, view: RunView, key: Key) -> Answer:
    """Take the answer whether the press was closed: its number, or a step on and a step back.

    Escape puts the question by, and once more it leaves: it is asked again then.
    """
    if key.repeated:
        return state, ()
    if key.name == "escape":
        return replace(state, asking=None, then=None, said="", leaving=True), ()
    action = action_for(key)
    act = action.act if action is not None else None
    yes = key.name == "1" or act is Act.ON
    if not yes and key.name != "2" and act is not Act.BACK:
        return replace(state, said="answer with 1 or 2, or Escape"), ()
    command, closes = _said_of_press(state, view, yes)
    then, laid = state.then, state.laid
    state = replace(
        at_step(state, key.at if closes and then is None else None), asking=None, then=None,
        said="", stepped_at=key.at, laid=laid if command.kind is CommandKind.STEP and yes else "",
    )  # fmt: skip
    if then is None:
        return state, (command,)
    jump = Command(CommandKind.JUMP, index=then[0], step=then[1])
    return replace(state, laid=""), ((command, jump) if yes else (jump,))


def _said_of_press(state: OperatorState, view: RunView, yes: bool) -> tuple[Command, bool]:
    """Return what follows from the answer, and whether the press closes with that."""
    progress = view.progress
    match progress.at.step:
        case Step.PREPRESS:
            step = Step.LAY if yes else Step.PREPRESS
            return Command(CommandKind.STEP, step=step), not yes
        case Step.SECOND if yes:
            return Command(CommandKind.PRESS, text=laid_before(state, progress)), False
        case Step.SECOND:
            return Command(CommandKind.STEP, step=Step.PEEL), False
        case _ if yes:
            return after_press(state, progress), False
        case _:
            return Command(CommandKind.STEP, step=Step.LAY), False
