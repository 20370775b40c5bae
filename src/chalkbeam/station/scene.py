"""What is lit at the press: the current step, a question, or what is wrong."""

from __future__ import annotations

import functools
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from typing import Protocol

from calibration.geometry import PlatenFace
from calibration.model.projector import ProjectorMap
from chalkbeam.basics.squares import RULINGS
from chalkbeam.basics.units import Unit
from chalkbeam.light.choice import Choice, about
from chalkbeam.light.free_room import Ground, grounds
from chalkbeam.light.labels import with_remark
from chalkbeam.light.marks import lay_marks, load_lines, load_marks
from chalkbeam.light.pages import Page, page_mark
from chalkbeam.light.transfer_sign import sign_marks
from chalkbeam.orders.pieces import PressSetup
from chalkbeam.placement.platens import Platen
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import UNDER_HEAD, Step
from chalkbeam.record.progress import At, Progress
from chalkbeam.station.cautions import cover_lines
from chalkbeam.station.help import help_marks, shift_words
from chalkbeam.station.modes import Mode
from chalkbeam.station.ready_imprint import ReadyImprint
from chalkbeam.station.values import (
    ANSWERS,
    IT_IS_ON,
    IT_IS_SET,
    Asking,
    OperatorState,
    RunView,
    Showing,
)
from chalkbeam.station.words import (
    cooling_lines,
    garment_lines,
    hand_words,
    piece_lines,
    place_words,
    press_words,
    step_words,
    summary,
    to_do,
)
from overlay.draw.check_view import check_marks, edge_mark
from overlay.marks import Mark, Role, moved

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
        Less what is not seen.
    mode : Mode
    step : Step or None
        None when the order is finished.
    paused : bool
    ready : ReadyImprint or None
        The imprint ready to be lit; None if something stands in its way.
    nudge : Shift
        How far the lay lines are moved.
    to_set : tuple of str
        What the press is to be set to first, a line each; empty for nothing.
    note : tuple of str
        Which piece or location this is and what to see to, a line each.
    projector : ProjectorMap
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
    countdown : int or None
        Seconds to be counted beside the platen while nothing else is lit.
    over : bool
        Whether the time of a pre-press or of the cooling has run out, or none was given.
    told : (tuple of str, tuple of str)
        What to do at the step while its time runs, and when it is over, a line each.
    edge : bool
        Whether the edge of the platen is lit that is to be put on, for another to be noticed.
    """

    state: OperatorState
    mode: Mode
    step: Step | None
    paused: bool
    ready: ReadyImprint | None
    nudge: Shift
    to_set: tuple[str, ...]
    note: tuple[str, ...]
    projector: ProjectorMap
    face: PlatenFace
    title: str
    refused: str
    summary: tuple[str, ...]
    sheet_note: str
    unit: Unit
    countdown: int | None = None
    over: bool = False
    told: tuple[tuple[str, ...], tuple[str, ...]] = ((), ())
    edge: bool = False

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
        """What the lit surface lies on; the rig's bare face where there is no current imprint."""
        ready = self.ready
        return Platen("", self.face) if ready is None else ready.choice.loading.platen


class LightOutput(Protocol):
    """What lights scenes."""

    def prepare(self, scene: Scene) -> None:
        """Work out what will be lit, so that it is there at once when it is asked for."""

    def ahead(self, scene: Scene) -> Iterator[None]:
        """Work out, in small steps, most of what may be lit: less than `prepare`, as it may not."""

    def begin(self, scene: Scene) -> Callable[[], None]:
        """Begin to do so in another thread; return what waits until that is done.

        Nothing else may be asked of the output meanwhile.
        """


def scene_of(
    view: RunView,
    state: OperatorState,
    at: At,
    more: Shift = Shift(),  # noqa: B008 - a frozen value
    countdown: int | None = None,
    over: bool = False,
) -> Scene:
    """Return the scene of a run at one of its stops.

    Parameters
    ----------
    view : RunView
        Its imprint that is ready is the one of `at`.
    state : OperatorState
    at : At
    more : Shift
        A nudge yet to be recorded.
    countdown, over : optional
        As in `Scene`.
    """
    progress, index = view.progress, at.index
    return Scene(
        # What is not seen must not make the light be drawn again.
        state=replace(state, held=(), stepped_at=0.0, pressing_since=None, sure=False, trouble=""),
        mode=view.mode,
        step=None if index is None else at.step,
        paused=progress.paused,
        ready=view.ready,
        nudge=Shift() if index is None else progress.nudge(index, more),
        to_set=set_lines(view, at),
        note=note_lines(view, at),
        projector=view.rig.projector,
        face=view.rig.face,
        title=view.rig.name,
        refused=view.refused,
        summary=(*summary(progress), *to_do(progress), *view.offers) if index is None else (),
        sheet_note=view.sheet_note if view.note_in_light else "",
        unit=view.unit,
        countdown=countdown,
        over=over and at.step in (Step.PREPRESS, Step.PEEL),
        told=step_words(progress) if at == progress.at else ((), ()),
        edge=progress.to_fit(at) is not None,
    )


KEPT = 64
"""What so many scenes light is kept: a key may bring twenty."""


@functools.lru_cache(maxsize=KEPT)
def lit(scene: Scene) -> tuple[Mark, ...] | None:
    """Return what is lit; None for darkness, but for a countdown beside the platen."""
    marks, remark = without_remark(scene)
    if remark:
        marks = with_remark(marks, [remark], Role.WARN, scene.where)
    return marks or None


@functools.lru_cache(maxsize=KEPT)
def without_remark(scene: Scene) -> tuple[tuple[Mark, ...], str]:
    """Return what is lit before a remark is set clear of it, and the remark: half of the work."""
    state, face = scene.state, scene.face
    marks: tuple[Mark, ...]
    closed = scene.step in UNDER_HEAD and not scene.over
    pressing = closed or state.dark
    said = state.said or ("" if pressing else state.eye)
    remark = "Escape again: end" if state.leaving else said
    if state.showing is Showing.CHECK:
        marks = check_marks(face, scene.title, ruling=RULINGS[scene.unit])
    elif state.showing is Showing.HELP:
        marks = help_marks(scene.page, scene.mode.acts, scene.unit)
    elif state.asking is not None:
        # The remark is about the answer: it stands below, never across, what can be answered.
        asked = (*question(state, state.asking), *((remark,) if remark else ()))
        marks, remark = (page_mark(scene.page, asked, Role.NOTE),), ""
    elif scene.step is None:
        marks = (page_mark(scene.page, scene.summary, Role.NOTE),)
    elif scene.paused:
        marks = (page_mark(scene.page, ("paused", "P goes on"), Role.NOTE),)
    elif scene.to_set and not state.dark:
        # Where it is said too soon the words stand below, not across.
        said_too = (remark,) if remark else ()
        words = (*scene.to_set, *said_too)
        marks, remark = (page_mark(scene.page, words, Role.WARN, large=True),), ""
        if scene.edge:
            marks = (*marks, edge_mark(face))
    elif pressing:
        marks = ()
    elif scene.step is Step.PEEL:
        marks = (page_mark(scene.page, _peel_lines(scene), Role.NOTE, large=True),)
    elif scene.ready is None:
        marks = (page_mark(scene.page, (scene.refused,), Role.WARN),)
    elif state.moving is not None:
        marks = _moving(scene, scene.ready, state.moving)
    else:
        marks = _work(scene, scene.ready.choice)
        if scene.step is Step.LOAD:
            remark = remark or scene.sheet_note
    return marks, remark


def _peel_lines(scene: Scene) -> tuple[str, ...]:
    """Return what to do with what is pressed, a line each; while it cools how long still."""
    meanwhile, afterwards = scene.told
    if scene.over:
        return (*afterwards, *scene.note)
    counted = (f"{scene.countdown} s",) if scene.countdown else ()
    return (*meanwhile, *counted, *scene.note)


def set_lines(view: RunView, at: At) -> tuple[str, ...]:
    """Return what is to be seen to before a stop, a line each; empty for nothing.

    First the platen that is to be on, then what the press is to be set to.
    """
    platen = view.progress.to_fit(at)
    if platen is not None:
        return ("PUT ON PLATEN", platen, f"1  {IT_IS_ON[0]}")
    wanted = view.progress.to_set(at)
    if wanted is None:
        return ()
    return ("SET PRESS", *wanted.lines(view.degrees), f"1  {IT_IS_SET[0]}")


def question(state: OperatorState, asking: Asking) -> tuple[str, ...]:
    """Return a question with its answers, a line each."""
    if asking is Asking.JUMP:
        return (asking.value, f"{state.typed}_", "Enter goes there, Escape back")
    answers = (f"{number}  {words}" for number, words in enumerate(ANSWERS[asking], start=1))
    return (state.question if asking in _IN_WORDS else asking.value, *answers)


_IN_WORDS = (Asking.PLACE, Asking.PRESSED, Asking.FRESH, Asking.GARMENT)
"""Questions that name what they are about."""


def fitting_words(fit: PressSetup, on_press: Collection[PressSetup]) -> tuple[str, ...]:
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


def fitting(progress: Progress, at: At) -> tuple[str, ...]:
    """Return which platen and pad to see to, in words; empty once the garment is loaded.

    And which sheet the transfer is cut from, until it is laid.
    """
    if at.index is None:
        return ()
    stop = progress.stops[at.index]
    taken = progress.stock.taken_from.get(stop.imprint.id, "")
    cut = (f"transfer: {taken}",) if taken and at.step in (Step.LOAD, Step.LAY) else ()
    if at.step is not Step.LOAD:
        return cut
    words = fitting_words(stop.fit, progress.press.may_hold)
    said = stop.fit.platen and stop.fit.platen == progress.press.fitted  # that it is on
    return (*(each for each in words if not (said and each == stop.fit.platen_words)), *cut)


def note_lines(view: RunView, at: At) -> tuple[str, ...]:
    """Return which piece or location a stop is about and what to see to, a line each."""
    if at.index is None:
        return ()
    progress = view.progress
    stop = progress.stops[at.index]
    changes = fitting(progress, at)
    if view.mode.counted:
        lines = garment_lines(stop) if at.step is Step.LOAD else piece_lines(stop)
        which = (f"{press_words(progress, at)} · {stop.piece.id}", *lines)
        if at.step is Step.PEEL:
            return (stop.piece.id, *piece_lines(stop), place_words(progress.location(at.index)))
        if at.step is Step.LOAD:
            which += hand_words(stop)
            changes += cooling_lines(progress)
            changes += _change_words(progress, at.index)
        changes += cover_lines(progress, at)
    else:
        which = _which_location(view, at.step, progress.location(at.index))
    return (*which, *changes, *view.aiming)


def _change_words(progress: Progress, index: int) -> tuple[str, ...]:
    """Return what a stop asks to be changed besides the press."""
    stop, last = progress.stops[index], progress.stops[index - 1]
    anew = last.piece.id == stop.piece.id and last.fit == stop.fit
    words = CHANGES | ({"turn": "lay the garment anew"} if anew else {})
    return tuple(said for name, said in words.items() if name in stop.changes)


def _which_location(view: RunView, step: Step, here: str) -> tuple[str, ...]:
    if len(view.locations) == 1 or view.ready is None:
        return ()
    which = f"location {view.locations.index(here) + 1} of {len(view.locations)}"
    title = view.ready.choice.placement.location.title
    return (f"{which}: {title}" if step is Step.LOAD else which,)


def _work(scene: Scene, choice: Choice) -> tuple[Mark, ...]:
    if scene.step in (Step.LOAD, Step.PREPRESS):
        note = "\n".join((*scene.note, *scene.told[1]))
        return load_marks(choice.placement, choice.loading, note=note, unit=scene.unit)
    words = shift_words(scene.nudge, scene.unit)
    note = "\n".join([*scene.note, *([f"moved {words}"] if words else [])])
    laid = choice.laid(scene.nudge)
    marks = lay_marks(laid, choice.loading, note=note, unit=scene.unit)
    if scene.state.sign is None:
        return marks
    pose = choice.loading.platen_from_garment @ laid.garment_from_art
    ink, height = laid.artwork.ink, choice.loading.height
    return (*marks, *sign_marks(scene.state.sign, ink, pose, height))


def _moving(scene: Scene, ready: ReadyImprint, moving: Shift) -> tuple[Mark, ...]:
    """Return the garment's lines while they are moved on to the real collar.

    They are those of the plan, shifted, so that every key is answered at once; what
    the platen's edge cuts off is worked out when the collar is kept.
    """
    pose = ready.planned.platen_from_garment
    by = about(moving, (pose.x, pose.y))
    lines = [moved(mark, by) for mark in _garment_lines(ready)]
    words = shift_words(moving, scene.unit)
    said = [f"collar moved {words}" if words else "collar as planned",
            "Enter: this piece", "Shift Enter: the rest of the batch"]  # fmt: skip
    return with_remark(lines, said, Role.NOTE, scene.where)


@functools.lru_cache(maxsize=8)
def _garment_lines(ready: ReadyImprint) -> tuple[Mark, ...]:
    marks = load_lines(ready.choice.placement, ready.planned)
    return tuple(mark for mark in marks if mark.role is Role.LOAD)
