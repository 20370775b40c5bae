"""Light for one imprint: load, lay, dark; other locations on keys; nudges. Pure, no window."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.geometry import PlatenFace
from chalkbeam.basics.units import Unit
from chalkbeam.light.choice import Choice
from chalkbeam.light.free_room import grounds
from chalkbeam.light.labels import with_remark
from chalkbeam.light.marks import lay_marks, load_marks
from chalkbeam.light.pages import Page
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.station.help import help_marks, shift_words
from chalkbeam.station.keys import Act, Action, action_for
from chalkbeam.station.values import Showing
from overlay.draw.check_view import check_marks
from overlay.marks import Mark, Role
from overlay.window.inputs import Closed, Input, Key

ACTS = (
    (Act.ON, "next step"),
    (Act.BACK, "step before"),
    (Act.PRESET, "another location"),
    (Act.NUDGE, "move 1 mm (Shift: 0.1)"),
    (Act.TURN, "turn 0.5° (Shift: 0.1°)"),
    (Act.AS_PLANNED, "back to the plan"),
    (Act.DARK, "light off or on"),
    (Act.CHECK, "squares to measure"),
    (Act.HELP, "these keys"),
    (Act.LEAVE, "end (twice)"),
)


STEPS = (Step.LOAD, Step.LAY, Step.PRESS)


@dataclass(frozen=True)
class Session:
    """Where the operator is.

    Attributes
    ----------
    choices : tuple of Choice
        What the number keys choose from.
    nudges : tuple of Shift
        For each choice how far its lay lines were moved.
    chosen : int
        Which choice is lit, from 0.
    step : Step
    showing : Showing
    dark : bool
        Whether the operator has switched the light off.
    leaving : bool
        Whether the next Escape ends.
    over : bool
        Whether to end.
    said : str
        A remark to be shown until the next key.
    """

    choices: tuple[Choice, ...]
    nudges: tuple[Shift, ...]
    chosen: int = 0
    step: Step = Step.LOAD
    showing: Showing = Showing.WORK
    dark: bool = False
    leaving: bool = False
    over: bool = False
    said: str = ""

    @classmethod
    def of(cls, choices: Sequence[Choice], showing: Showing = Showing.WORK) -> Session:
        """Return the session at its start."""
        return cls(tuple(choices), (Shift(),) * len(choices), showing=showing)

    @property
    def choice(self) -> Choice:
        """The location at hand."""
        return self.choices[self.chosen]

    @property
    def nudge(self) -> Shift:
        """How far the lay lines at hand were moved."""
        return self.nudges[self.chosen]


def advance(session: Session, happened: Input) -> Session:
    """Return the session after an input."""
    if isinstance(happened, Closed):
        return replace(session, over=True)
    if not isinstance(happened, Key):
        return session
    action = action_for(happened)
    if action is None:
        return session
    if action.act is Act.LEAVE_NOW or (action.act is Act.LEAVE and session.leaving):
        return replace(session, over=True)
    if action.act is Act.LEAVE:
        return replace(session, leaving=True, said="")
    return _act(replace(session, leaving=False, said=""), action)


def _act(session: Session, action: Action) -> Session:
    match action.act:
        case Act.DARK:
            return replace(session, dark=not session.dark)
        case Act.CHECK | Act.HELP:
            wanted = Showing.CHECK if action.act is Act.CHECK else Showing.HELP
            return replace(
                session, showing=Showing.WORK if session.showing is wanted else wanted, dark=False
            )
        case Act.ON | Act.BACK if session.showing is not Showing.WORK:
            return replace(session, showing=Showing.WORK)
        case Act.ON | Act.BACK:
            by = 1 if action.act is Act.ON else -1
            step = STEPS[(STEPS.index(session.step) + by) % len(STEPS)]
            return replace(session, step=step, dark=False)
        case Act.PRESET:
            return _choose(session, action.number)
        case Act.NUDGE | Act.TURN:
            if session.step is not Step.LAY or session.showing is not Showing.WORK or session.dark:
                return replace(session, said="lines move in the lay step")
            return _nudged(session, session.nudge + Shift(action.x, action.y, action.angle))
        case Act.AS_PLANNED:
            return _nudged(session, Shift())
        case _:
            return session


def _choose(session: Session, number: int) -> Session:
    if number > len(session.choices):
        count = len(session.choices)
        return replace(session, said=f"no location {number}: there {_are(count)}")
    step = Step.LOAD if session.step is Step.PRESS else session.step
    return replace(session, chosen=number - 1, step=step, showing=Showing.WORK, dark=False)


def _are(count: int) -> str:
    return "is 1" if count == 1 else f"are {count}"


def _nudged(session: Session, nudge: Shift) -> Session:
    # Steps of 0.1 mm add up without the dust of binary fractions.
    clean = Shift(round(nudge.x, 4), round(nudge.y, 4), nudge.angle)
    if abs(math.degrees(clean.angle)) < 1e-6:
        clean = replace(clean, angle=0.0)
    nudges = list(session.nudges)
    nudges[session.chosen] = clean
    return replace(session, nudges=tuple(nudges))


@functools.lru_cache(maxsize=8)
def lit(session: Session, face: PlatenFace, title: str, unit: Unit) -> tuple[Mark, ...] | None:
    """Return what is lit; None for darkness.

    Equal sessions get the very same marks, so that nothing is drawn twice.

    Parameters
    ----------
    session : Session
    face : PlatenFace
        Of the rig's platen, for the view with the squares and for the list of keys.
    title : str
        The rig's name.
    unit : Unit
        Unit of the lengths in the lettering.
    """
    height = session.choice.loading.height
    remark = "Escape again: end" if session.leaving else session.said
    if session.showing is Showing.CHECK:
        marks = check_marks(face, title)
        height = 0.0
    elif session.showing is Showing.HELP:
        marks = help_marks(Page.on(session.choice.loading.platen, height), ACTS)
    elif session.dark or session.step is Step.PRESS:
        marks = ()
    else:
        marks = _work(session, unit)
    if remark:
        where = grounds(session.choice.loading.platen, height)
        marks = with_remark(marks, [remark], Role.WARN, where)
    return marks or None


def _work(session: Session, unit: Unit) -> tuple[Mark, ...]:
    choice = session.choice
    which = ""
    if len(session.choices) > 1:
        which = f"location {session.chosen + 1} of {len(session.choices)}"
    if session.step is Step.LOAD:
        which = f"{which}: {choice.placement.location.title}" if which else ""
        return load_marks(choice.placement, choice.loading, note=which, unit=unit)
    words = shift_words(session.nudge)
    note = "\n".join(part for part in (which, f"moved {words}" if words else "") if part)
    return lay_marks(choice.laid(session.nudge), choice.loading, note=note, unit=unit)
