"""What keys ask for, as acts of the session: on record before anything else comes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from chalkbeam.light.choice import Choice
from chalkbeam.record.events import Event, Step
from chalkbeam.record.progress import At
from chalkbeam.record.session import RunSession
from chalkbeam.station.readiness import Readiness
from chalkbeam.station.values import Command, CommandKind
from chalkbeam.station.words import act_words

NOTHING = "nothing to take back"


class Deeds:
    """Carries out commands.

    Parameters
    ----------
    session : RunSession
    readiness : Readiness
        How the current imprint's garment and art lie.
    seen : callable
        What a camera at the press has to put on record with a press; None for nothing.
    """

    def __init__(
        self,
        session: RunSession,
        readiness: Readiness,
        seen: Callable[[], Mapping[str, Any] | None],
    ) -> None:
        self.session, self.readiness, self._seen = session, readiness, seen

    def carry_out(self, command: Command) -> str:
        """Carry out a command; return a remark about it, if any.

        Raises
        ------
        Refusal
            If it cannot be recorded: nothing has changed.
        """
        session, progress = self.session, self.session.progress
        match command.kind:
            case CommandKind.STEP:
                session.step(command.step, command.text)
            case CommandKind.ASIDE:
                stop = progress.stop
                wait = None if stop is None else stop.imprint.press.cooling_wait
                session.put_aside(wait, command.text)
            case CommandKind.PRESS:
                self._press_laid(command.text)
                session.press(
                    self._pose(), load=self._loads_again(), seen=self._seen(), lies=self._lies()
                )
            case CommandKind.NUDGE:
                session.nudge(command.shift)
            case CommandKind.NUDGE_BATCH:
                session.keep_for_batch(command.shift)
            case CommandKind.COLLAR | CommandKind.COLLAR_BATCH:
                batch = command.kind is CommandKind.COLLAR_BATCH
                session.collar(command.shift, rest_of_batch=batch)
            case CommandKind.TRY | CommandKind.PRESET:
                self.readiness.try_at(command.text)
                if command.kind is CommandKind.PRESET:
                    session.preset(command.text)
            case CommandKind.SKIP:
                session.skip(command.text, load=self._loads_again())
            case CommandKind.SPOIL:
                session.spoil(command.text, replaced=command.replaced, missing=command.missing)
            case CommandKind.WASTE:
                session.waste(command.text)
            case CommandKind.UNDO:
                event = progress.undoable
                return undone_words(event) if session.undo() and event else NOTHING
            case CommandKind.REDO:
                event = progress.redoable
                return f"done again: {act_words(event)}" if session.redo() and event else NOTHING
            case CommandKind.JUMP:
                session.jump(command.index, self.step_at(At(command.index, command.step)))
            case CommandKind.PAUSE:
                session.pause()
            case CommandKind.SET_PRESS:
                session.set_press()
            case CommandKind.FIT_PLATEN:
                session.fit_platen()
            case CommandKind.CONFIRM:
                session.confirm(command.text)
        return ""

    def _press_laid(self, imprint: str) -> None:
        """Record as pressed what was laid before the current imprint, if the two go together."""
        progress = self.session.progress
        index, stop = progress.at.index, progress.stop
        if imprint and index and stop is not None and stop.imprint.follows == imprint:
            choice = self.readiness.prepared(index - 1).choice
            self.session.press_laid(index - 1, _pose_of(choice), _lies_of(choice))

    def step_at(self, at: At) -> Step:
        """Return the step to go on with at a stop: *load* wherever the garment is laid again."""
        here = self.session.progress.at.index
        if at.step is not Step.LAY or at.index is None or here is None:
            return at.step
        return at.step if self.readiness.lies_alike(here, at.index) else Step.LOAD

    def _loads_again(self) -> bool:
        """Whether the garment is laid again for what follows though the plan lets it stay."""
        following = self.session.progress.following()
        return self.step_at(following) is not following.step

    def _pose(self) -> dict[str, float] | None:
        """Return the planned pose of the art on the platen, before nudges."""
        ready = self.readiness.ready
        return None if ready is None else _pose_of(ready.choice)

    def _lies(self) -> dict[str, float] | None:
        """Return how the garment lies, for the record."""
        ready = self.readiness.ready
        return None if ready is None else _lies_of(ready.choice)


def undone_words(event: Event) -> str:
    """Return the remark that an act was taken back."""
    return f"undone: {act_words(event)}"


def _pose_of(choice: Choice) -> dict[str, float]:
    """Return the planned pose of the art on the platen."""
    pose = choice.loading.platen_from_garment @ choice.placement.garment_from_art
    return {"x": pose.x, "y": pose.y, "angle": pose.angle}


def _lies_of(choice: Choice) -> dict[str, float]:
    """Return how the garment is turned, and what the shop's own rule has moved on it."""
    garment, placement = choice.placement.garment, choice.placement
    house = placement.location.house(garment.style, garment.age)
    right, down = (0.0, 0.0) if house is None else house.by
    return {"turned": choice.loading.platen_from_garment.angle, "right": right, "down": down}
