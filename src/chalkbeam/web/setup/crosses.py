"""Crosses moved by taps, for the last tenths or by hand alone: the window's own state machine."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.geometry import XY
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.by_hand import LEAST_CROSSES, suggested_points
from calibration.solve.values import Cross
from chalkbeam.setup.crosses.light import frame_of
from chalkbeam.setup.crosses.saved import SavedCrosses
from chalkbeam.setup.crosses.state import (
    CrossState,
    Solved,
    advance,
    name_of,
    ruler_words,
    select_cross,
)
from chalkbeam.web.setup import apart
from chalkbeam.web.setup.apart import Worked
from chalkbeam.web.setup.desk import SetupDesk
from chalkbeam.web.setup.guide import Guide, SetupStep
from chalkbeam.web.shop_unit import shop_unit
from chalkbeam.web.worker import run_apart
from overlay.window.inputs import Key

FEW, ALL, INSET = 3, 9, 25.0
"""Crosses of a touch-up and of a rig by hand, and how far marks stand off the edges, mm."""

KEYS = {
    f"{name}{more}": Key(name, shift=more == "-fine", control=more == "-far")
    for name in ("left", "right", "up", "down")
    for more in ("", "-fine", "-far")
} | {"set": Key("return"), "back": Key("page up"), "turn": Key("r")}
"""What the buttons of the page ask; the keys of the window."""


@dataclass(frozen=True)
class CrossView:
    """What the page shows of the crosses.

    Attributes
    ----------
    number, count : int
        Which cross is moved, from 1, and how many there are.
    place, ruler : str
        Where its mark is, in words, and how a ruler finds it.
    refused : str
        Why the crosses were not taken.
    can_turn : bool
        Whether it is still unknown how the picture lies on the platen.
    """

    number: int
    count: int
    place: str
    ruler: str
    refused: str
    can_turn: bool


def _fresh(guide: Guide, step: SetupStep) -> CrossState:
    """Return crosses of which none is moved yet, but for those that were saved."""
    face, size = guide.face, guide.size
    inset = min(INSET, face.width / 8, face.depth / 8)
    if step is SetupStep.BY_HAND:
        assert size is not None  # its display was chosen
        points = suggested_points(face, ALL, inset)
        state = CrossState(face, size, points, unit=shop_unit())
        try:
            return _saved(guide).resume(state)
        except Refusal:  # of another platen or projector
            return state
    rig = library.open_rig(guide.rig)
    marks = suggested_points(rig.face, LEAST_CROSSES, inset)[:FEW]
    return CrossState(rig.face, rig.projector.size, marks, rig.projector, unit=shop_unit())


def _saved(guide: Guide) -> SavedCrosses:
    return SavedCrosses.for_rig(library.place(guide.rig))


def state_of(desk: SetupDesk, guide: Guide, step: SetupStep) -> CrossState:
    """Return how far the crosses of a step are; fresh ones where none is moved yet."""
    if step not in desk.crosses:
        desk.crosses[step] = _fresh(guide, step)
    return desk.crosses[step]


def forget(desk: SetupDesk) -> None:
    """Begin the crosses anew the next time."""
    desk.crosses.clear()


def view_of(desk: SetupDesk, guide: Guide, step: SetupStep) -> CrossView:
    """Return what the page shows."""
    state = state_of(desk, guide, step)
    refused = state.solved.refused if state.solved is not None else None
    index = min(state.index, len(state.marks) - 1)
    point = state.marks[index].point
    return CrossView(
        index + 1, len(state.marks), name_of(point, state.face), ruler_words(point, state.face),
        "" if refused is None else str(refused), state.can_turn,
    )  # fmt: skip


def mark_of(desk: SetupDesk, guide: Guide) -> XY | None:
    """Return where the mark of the cross that is lit is on the platen, mm; None if none is lit."""
    step = next((each for each in desk.crosses if each.value == desk.lit), None)
    if step is None:
        return None
    state = state_of(desk, guide, step)
    return state.marks[min(state.index, len(state.marks) - 1)].point


def light(desk: SetupDesk, guide: Guide, step: SetupStep) -> None:
    """Light the crosses as they stand."""
    frame = frame_of(state_of(desk, guide, step))
    if frame is not None:
        desk.show(step.value, frame, guide)


def take(desk: SetupDesk, guide: Guide, step: SetupStep, name: str) -> bool:
    """Do what a button asks; return whether a rig has been made of the crosses and kept.

    Raises
    ------
    Refusal
        If there is no such button, or the light is gone.
    """
    if name not in KEYS:
        raise Refusal("There is no such button: open the page again.")
    made: list[Worked] = []

    def solver(crosses: tuple[Cross, ...]) -> Solved:
        try:
            if step is SetupStep.BY_HAND:
                made.append(
                    run_apart(
                        apart.by_hand, crosses, guide.face, guide.size, guide.stated, guide.rig
                    )
                )
            else:
                made.append(run_apart(apart.touched_up, library.open_rig(guide.rig), crosses))
        except Refusal as refusal:
            return Solved(refused=refusal)
        return Solved()

    with desk.crossing:  # two taps at once are done one after the other
        state = state_of(desk, guide, step)
        if state.solved is not None:  # refused: the last cross is taken up again
            state = select_cross(state, len(state.marks) - 1)
        now = desk.crosses[step] = advance(state, KEYS[name], solver)
        if step is SetupStep.BY_HAND and now.placed:
            _saved(guide).save(now)
        if made:
            desk.keep(made[0].rig, made[0].report)
            if step is SetupStep.BY_HAND:
                _saved(guide).delete()
            return True
        light(desk, guide, step)
        return False
