"""Crosses for the last tenths, moved by taps: the state machine of the window, over the page."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.geometry import XY
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.by_hand import LEAST_CROSSES, suggested_points
from calibration.rig.file import Rig
from calibration.solve.values import Cross
from chalkbeam.setup.crosses.light import frame_of
from chalkbeam.setup.crosses.state import (
    CrossState,
    Solved,
    advance,
    name_of,
    ruler_words,
    select_cross,
)
from chalkbeam.web.setup import apart
from chalkbeam.web.setup.desk import SetupDesk
from chalkbeam.web.setup.guide import Guide
from chalkbeam.web.worker import run_apart
from overlay.window.inputs import Key

COUNT, INSET = 3, 25.0
"""Crosses of a touch-up, and how far their marks stand off the platen's edges, mm."""

KEYS = {
    f"{name}{more}": Key(name, shift=more == "-fine", control=more == "-far")
    for name in ("left", "right", "up", "down")
    for more in ("", "-fine", "-far")
} | {"set": Key("return"), "back": Key("page up")}
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
    """

    number: int
    count: int
    place: str
    ruler: str
    refused: str


def _fresh(rig: Rig) -> CrossState:
    inset = min(INSET, rig.face.width / 8, rig.face.depth / 8)
    marks = suggested_points(rig.face, LEAST_CROSSES, inset)[:COUNT]
    return CrossState(rig.face, rig.projector.size, marks, rig.projector)


def state_of(desk: SetupDesk, guide: Guide) -> CrossState:
    """Return how far the crosses are; fresh ones where none is moved yet."""
    if desk.crosses is None:
        desk.crosses = _fresh(library.open_rig(guide.rig))
    return desk.crosses


def forget(desk: SetupDesk) -> None:
    """Begin the crosses anew the next time."""
    desk.crosses = None


def view_of(desk: SetupDesk, guide: Guide) -> CrossView:
    """Return what the page shows."""
    state = state_of(desk, guide)
    refused = state.solved.refused if state.solved is not None else None
    index = min(state.index, len(state.marks) - 1)
    point = state.marks[index].point
    return CrossView(
        index + 1, len(state.marks), name_of(point, state.face), ruler_words(point, state.face),
        "" if refused is None else str(refused),
    )  # fmt: skip


def mark_of(desk: SetupDesk, guide: Guide) -> XY:
    """Return where the mark of the current cross is on the platen, mm."""
    state = state_of(desk, guide)
    return state.marks[min(state.index, len(state.marks) - 1)].point


def light(desk: SetupDesk, guide: Guide) -> None:
    """Light the crosses as they stand."""
    frame = frame_of(state_of(desk, guide))
    if frame is not None:
        desk.show("crosses", frame, guide)


def take(desk: SetupDesk, guide: Guide, name: str) -> bool:
    """Do what a button asks; return whether the rig has been touched up and kept.

    Raises
    ------
    Refusal
        If there is no such button, or the light is gone.
    """
    if name not in KEYS:
        raise Refusal("There is no such button: open the page again.")
    rig = library.open_rig(guide.rig)
    better: list[Rig] = []

    def solver(crosses: tuple[Cross, ...]) -> Solved:
        try:
            better.append(run_apart(apart.touched_up, rig, crosses))
        except Refusal as refusal:
            return Solved(refused=refusal)
        return Solved()

    state = state_of(desk, guide)
    if state.solved is not None:  # refused: any button takes the last cross up again
        state = select_cross(state, len(state.marks) - 1)
    desk.crosses = advance(state, KEYS[name], solver)
    if better:
        desk.keep(better[0])
        return True
    light(desk, guide)
    return False
