"""What the projector shows at the press: the step at hand, a question, or what is wrong."""

from __future__ import annotations

import functools
from collections.abc import Collection
from dataclasses import dataclass

from calibration.geometry import PlatenFace
from chalkbeam.basics.units import Unit
from chalkbeam.light.choice import Choice, about
from chalkbeam.light.free_room import Ground, grounds
from chalkbeam.light.labels import with_remark
from chalkbeam.light.marks import lay_marks, load_marks
from chalkbeam.light.pages import Page, page_mark
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Fit
from chalkbeam.placement.platens import Platen
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.station.help import help_marks, shift_words
from chalkbeam.station.keys import Act
from chalkbeam.station.ready_imprint import ReadyImprint
from chalkbeam.station.values import ANSWERS, Asking, OperatorState, Showing
from chalkbeam.station.words import piece_lines
from overlay.draw.check_view import check_marks
from overlay.marks import Mark, Role, Text, moved

ACTS = (
    (Act.ON, "next step"),
    (Act.BACK, "step before"),
    (Act.NUDGE, "move 1 mm (Shift: 0.1)"),
    (Act.TURN, "turn 0.5° (Shift: 0.1°)"),
    (Act.AS_PLANNED, "back to the plan"),
    (Act.GARMENT, "the collar is here"),
    (Act.KEEP, "keep it for this piece"),
    (Act.KEEP_FOR_BATCH, "keep it for the batch"),
    (Act.PRESET, "location (asks if new)"),
    (Act.SKIP, "skip"),
    (Act.SPOIL, "spoiled"),
    (Act.UNDO, "undo"),
    (Act.REDO, "redo"),
    (Act.JUMP, "go to a piece"),
    (Act.PAUSE, "pause"),
    (Act.DARK, "light off or on"),
    (Act.CHECK, "squares to measure"),
    (Act.LEAVE, "end (twice)"),
)

CHANGES = {
    "turn": "turn the garment",
    "stack": "next pile of transfers",
    "pile": "next pile of garments",
}
"""What a stop asks to be changed besides the press; loading goes without saying."""


@dataclass(frozen=True)
class Scene:
    """Everything the light depends on; equal scenes look the same.

    Attributes
    ----------
    state : OperatorState
    stop : Stop or None
        The stop at hand; None when the order is finished.
    step : Step
    paused : bool
    ready : ReadyImprint or None
        The imprint ready to be lit; None if something stands in its way.
    nudge : Shift
        How far the lay lines are moved.
    fitting : tuple of str
        Platen and pad to see to, in the load step.
    number, count : int
        Which piece of how many.
    face : PlatenFace
    title : str
        The rig's name.
    refused : str
        What stands in the way.
    summary : tuple of str
        What to say when the order is finished.
    sheet_note : str
        What has become of the run sheet, to be said in the load step; empty once it was said.
    unit : Unit
    """

    state: OperatorState
    stop: Stop | None
    step: Step
    paused: bool
    ready: ReadyImprint | None
    nudge: Shift
    fitting: tuple[str, ...]
    number: int
    count: int
    face: PlatenFace
    title: str
    refused: str
    summary: tuple[str, ...]
    sheet_note: str
    unit: Unit

    @property
    def height(self) -> float:
        """Height of the lit surface above the bare platen, mm."""
        return self.ready.choice.loading.height if self.ready is not None else 0.0

    @property
    def where(self) -> tuple[Ground, ...]:
        """Where words may stand."""
        return grounds(self._platen, self.height)

    @property
    def page(self) -> Page:
        """What a page of words may fill."""
        return Page.on(self._platen, self.height)

    @property
    def _platen(self) -> Platen:
        """What the lit surface lies on; the rig's bare face where no imprint is at hand."""
        ready = self.ready
        return Platen("", self.face) if ready is None else ready.choice.loading.platen


@functools.lru_cache(maxsize=8)
def lit(scene: Scene) -> tuple[Mark, ...] | None:
    """Return what is lit; None for darkness."""
    state, face = scene.state, scene.face
    remark = "Escape again: end" if state.leaving else state.said
    if state.showing is Showing.CHECK:
        marks = check_marks(face, scene.title)
    elif state.showing is Showing.HELP:
        marks = help_marks(scene.page, ACTS)
    elif state.asking is not None:
        # The remark is about the answer: it stands below, never across, what can be answered.
        asked = (*question(state, state.asking), *((remark,) if remark else ()))
        marks, remark = (page_mark(scene.page, asked, Role.NOTE),), ""
    elif scene.stop is None:
        marks = (page_mark(scene.page, scene.summary, Role.NOTE),)
    elif scene.paused:
        marks = (page_mark(scene.page, ("paused", "P goes on"), Role.NOTE),)
    elif state.dark or scene.step is Step.PRESS:
        marks = ()
    elif scene.ready is None:
        marks = (page_mark(scene.page, (scene.refused,), Role.WARN),)
    elif state.moving is not None:
        marks = _moving(scene, scene.ready, state.moving)
    else:
        marks = _work(scene, scene.stop, scene.ready.choice)
        if scene.step is Step.LOAD:
            remark = remark or scene.sheet_note
    if remark:
        marks = with_remark(marks, [remark], Role.WARN, scene.where)
    return marks or None


def question(state: OperatorState, asking: Asking) -> tuple[str, ...]:
    """Return a question with its answers, a line each."""
    if asking is Asking.JUMP:
        return (asking.value, f"{state.typed}_", "Enter goes there, Escape back")
    answers = (f"{number}  {words}" for number, words in enumerate(ANSWERS[asking], start=1))
    return (state.question if asking is Asking.PLACE else asking.value, *answers)


def fitting_words(fit: Fit, on_press: Collection[Fit]) -> tuple[str, ...]:
    """Return the platen and the pad an imprint needs, for the operator, before it is loaded.

    A pad is named every time: a wrong one moves the light, and nothing else would tell.
    """
    words = []
    if any(fit.platen != other.platen for other in on_press):
        words.append(fit.platen_words)
    if fit.pad:
        words.append(f"on {fit.pad_words}")
    elif any(other.pad for other in on_press):
        words.append(fit.pad_words)
    return tuple(words)


def _work(scene: Scene, stop: Stop, choice: Choice) -> tuple[Mark, ...]:
    which = f"{scene.number} of {scene.count}"
    if scene.step is Step.LOAD:
        changes = [words for name, words in CHANGES.items() if name in stop.changes]
        note = "\n".join([which, *piece_lines(stop), *scene.fitting, *changes])
        return load_marks(choice.placement, choice.loading, note=note, unit=scene.unit)
    words = shift_words(scene.nudge)
    moved_by = [f"moved {words}"] if words else []
    note = "\n".join([which, *piece_lines(stop), *moved_by])
    return lay_marks(choice.laid(scene.nudge), choice.loading, note=note, unit=scene.unit)


def _moving(scene: Scene, ready: ReadyImprint, moving: Shift) -> tuple[Mark, ...]:
    """Return the garment's lines while they are moved on to the real collar.

    They are those of the plan, shifted, so that every key is answered at once; what
    the platen's edge cuts off is worked out when the collar is kept.
    """
    pose = ready.planned.platen_from_garment
    by = about(moving, (pose.x, pose.y))
    lines = [moved(mark, by) for mark in _garment_lines(ready)]
    words = shift_words(moving)
    said = [f"collar moved {words}" if words else "collar as planned",
            "Enter: this piece", "Shift Enter: the rest of the batch"]  # fmt: skip
    return with_remark(lines, said, Role.NOTE, scene.where)


@functools.lru_cache(maxsize=8)
def _garment_lines(ready: ReadyImprint) -> tuple[Mark, ...]:
    marks = load_marks(ready.choice.placement, ready.planned)
    return tuple(mark for mark in marks if mark.role is Role.LOAD and not isinstance(mark, Text))
