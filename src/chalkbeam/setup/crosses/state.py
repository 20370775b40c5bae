"""Crosses moved by hand on to marked points of the platen: a pure state machine.

A cross starts where the crosses set before it suggest, and the arrow keys move it the
way the operator sees: right is right on the platen, whichever way the projector hangs.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from calibration.geometry import XY, PlatenFace, Points
from calibration.model import homography
from calibration.model.projector import ProjectorMap
from calibration.model.uncertainty import Worst
from calibration.refusal import Refusal
from calibration.solve.fit import Solution
from calibration.solve.values import Cross
from chalkbeam.basics.units import Unit
from overlay.window.inputs import Closed, Input, Key, Pointer

STEP, FINE, FAR = 1.0, 0.25, 10.0
"""Steps of the arrow keys, px: alone, with Shift, with Ctrl. Whole pixels would leave an error of
0.4 to 0.6 mm over the platen, quarters a few hundredths."""

_ARROWS = {"left": (-1, 0), "right": (1, 0), "up": (0, 1), "down": (0, -1)}
_SET = ("space", "return", "page down")
_BACK = ("page up", "backspace")


@dataclass(frozen=True, eq=False)
class Solved:
    """The result of the crosses.

    Attributes
    ----------
    solution : Solution or None
        None if it was refused.
    worst : tuple of Worst
        How far off light may land, at each height asked for.
    refused : Refusal or None
        Why it was refused, and what to do.
    """

    solution: Solution | None = None
    worst: tuple[Worst, ...] = ()
    refused: Refusal | None = None


Solver = Callable[[tuple[Cross, ...]], Solved]


@dataclass(frozen=True)
class CrossState:
    """How far the setting of crosses has come.

    Attributes
    ----------
    face : PlatenFace
    size : tuple of int
        The projector's picture, px.
    marks : tuple of Cross
        The marked points in the order they are set; their pixels are not used.
    known : ProjectorMap or None
        The map of a rig that is to be touched up or checked.
    pixels : tuple of XY
        Where the crosses before the current one stand, px.
    at : XY or None
        Where the current one has been moved to, px; None where it starts.
    again : bool
        Whether the current one has been set before.
    later : tuple of XY
        Where those after it stand, px, if they have been set before.
    turned : int
        By how many quarters of a circle the picture is turned against the platen,
        counter-clockwise; counts only until two crosses tell.
    solved : Solved or None
        The result, once all are set.
    dark, leaving, over : bool
    accepted : bool
        Whether the operator took the result.
    unit : Unit
        What the squares are counted in that the result is shown by.
    """

    face: PlatenFace
    size: tuple[int, int]
    marks: tuple[Cross, ...]
    known: ProjectorMap | None = None
    pixels: tuple[XY, ...] = ()
    at: XY | None = None
    again: bool = False
    later: tuple[XY, ...] = ()
    turned: int = 0
    solved: Solved | None = None
    dark: bool = False
    leaving: bool = False
    over: bool = False
    accepted: bool = False
    unit: Unit = Unit.INCH

    @property
    def index(self) -> int:
        """Index of the current mark, from 0; their number once all are set."""
        return len(self.pixels)

    @property
    def cross(self) -> XY:
        """Where the current cross stands, px."""
        if self.at is not None:
            return self.at
        ((x, y),) = self.predict(np.array([self.marks[self.index].point]))
        width, height = self.size
        # Within the picture, so that the operator sees it.
        return float(np.clip(x, 4, width - 5)), float(np.clip(y, 4, height - 5))

    @property
    def can_turn(self) -> bool:
        """Whether it is still unknown how the picture lies on the platen."""
        return self.known is None and not self.pixels and not self.later

    @property
    def placed(self) -> tuple[XY, ...]:
        """Where the crosses that have been set stand, px, in the order of their marks."""
        return (*self.pixels, *((self.cross,) if self.again else ()), *self.later)

    def crosses(self) -> tuple[Cross, ...]:
        """Return the crosses before the current one."""
        return tuple(
            replace(mark, pixel=pixel) for mark, pixel in zip(self.marks, self.pixels, strict=False)
        )

    def predict(self, points: Points) -> Points:
        """Return where points of the platen, shape (N, 2), mm, may be in the picture, px."""
        after = self.index + 1
        told = (*self.marks[: self.index], *self.marks[after : after + len(self.later)])
        set_points = np.array([mark.point for mark in told]).reshape(-1, 2)
        pixels = np.array([*self.pixels, *self.later]).reshape(-1, 2)
        if self.known is None and len(pixels) >= 2:
            return _from_set(points, set_points, pixels)
        guess = self._at_first(points)
        if not len(pixels):
            return guess
        return np.asarray(guess + (pixels - self._at_first(set_points)).mean(axis=0))

    def _at_first(self, points: Points) -> Points:
        """Return the map on file, or else a layout that fits the picture."""
        if self.known is not None:
            return self.known.projector_from_platen(points, self.marks[0].height)
        width, height = self.size
        across, deep = self.face.width, self.face.depth
        if self.turned % 2:
            across, deep = deep, across
        scale = 0.75 * min(width / across, height / deep)
        angle = self.turned * math.pi / 2
        c, s = math.cos(angle), math.sin(angle)
        x, y = (points @ np.array([[c, s], [-s, c]]) * scale).T
        return np.column_stack([(width - 1) / 2 + x, (height - 1) / 2 - y])

    def directions(self) -> Points:
        """Return the picture's directions of the operator's right and away, shape (2, 2)."""
        index = min(self.index, len(self.marks) - 1)
        centre = np.array(self.marks[index].point)
        here, right, away = self.predict(centre + np.array([(0, 0), (1, 0), (0, 1.0)]))
        steps = np.array([right - here, away - here])
        return np.asarray(steps / np.hypot(*steps.T)[:, None])


def _from_set(points: Points, known: Points, pixels: Points) -> Points:
    """Return where points may be, from two or more crosses: the fullest map they determine."""
    if len(known) >= 4:
        try:
            return homography.apply(homography.fit(known, pixels), points)
        except (Refusal, ValueError, np.linalg.LinAlgError):
            pass
    if len(known) >= 3:
        ones = np.column_stack([known, np.ones(len(known))])
        affine, _, rank, _ = np.linalg.lstsq(ones, pixels, rcond=None)
        if rank == 3:
            return np.asarray(np.column_stack([points, np.ones(len(points))]) @ affine)
    # A turn and a scale by complex numbers, pictures having y down.
    z, w = known @ (1, 1j), pixels @ (1, -1j)
    factor = (w[-1] - w[0]) / (z[-1] - z[0])
    mapped = w[0] + factor * (points @ (1, 1j) - z[0])
    return np.column_stack([mapped.real, -mapped.imag])


def advance(state: CrossState, happened: Input, solver: Solver) -> CrossState:
    """Return the state after an input; `solver` is asked once all crosses are set."""
    match happened:
        case Closed():
            return replace(state, over=True)
        case Pointer(pixel, pressed=True) if state.solved is None:
            return replace(state, at=_inside(state, pixel), leaving=False)
        case Key():
            return _key(state, happened, solver)
        case _:
            return state


def _key(state: CrossState, key: Key, solver: Solver) -> CrossState:
    if key.name == "escape" and not key.repeated:
        return replace(state, over=state.leaving, leaving=True)
    state = replace(state, leaving=False)
    if key.name in _ARROWS and state.solved is None and not state.dark:
        step = FINE if key.shift else FAR if key.control else STEP
        right, away = state.directions()
        x, y = np.array(state.cross) + step * (np.array(_ARROWS[key.name]) @ [right, away])
        return replace(state, at=_inside(state, (float(x), float(y))))
    if key.repeated:
        return state
    if key.control and key.name == "q":
        return replace(state, over=True)
    if key.name in ("b", "."):
        return replace(state, dark=not state.dark)
    if state.dark:
        return replace(state, dark=False)
    if key.name == "r" and state.can_turn:
        return replace(state, turned=(state.turned + 1) % 4, at=None)
    if key.name in _SET:
        return _set(state, solver)
    if key.name in _BACK:
        return select_cross(state, state.index - 1)
    if len(key.name) == 1 and key.name.isdecimal():
        return select_cross(state, int(key.name) - 1)
    return state


def _set(state: CrossState, solver: Solver) -> CrossState:
    """Take the current cross as set, or accept the result."""
    if state.solved is not None:
        good = state.solved.solution is not None
        return replace(state, over=good, accepted=good)
    state = replace(state, at=state.cross, again=True)
    if len(state.placed) < len(state.marks):
        return select_cross(state, state.index + 1)
    return solve_all(state, solver)


def solve_all(state: CrossState, solver: Solver) -> CrossState:
    """Return the state with all crosses set and solved."""
    done = replace(state, pixels=state.placed, at=None, again=False, later=())
    return replace(done, solved=solver(done.crosses()))


def select_cross(state: CrossState, index: int) -> CrossState:
    """Make a cross current that has been set, or the first that has not; the others stay."""
    placed = state.placed
    here = state.solved is None and index == state.index
    if here or not 0 <= index <= len(placed) or index == len(state.marks):
        return state
    again = index < len(placed)
    return replace(
        state,
        pixels=placed[:index],
        at=placed[index] if again else None,
        again=again,
        later=placed[index + 1 :],
        solved=None,
    )


def _inside(state: CrossState, pixel: XY) -> XY:
    width, height = state.size
    return min(max(pixel[0], 0.0), width - 1.0), min(max(pixel[1], 0.0), height - 1.0)


def name_of(point: XY, face: PlatenFace) -> str:
    """Return what people call a place on the platen: "front left", "middle", "back middle"."""
    x, y = point
    sides = [
        "back" if y > face.depth / 6 else "front" if y < -face.depth / 6 else "",
        "right" if x > face.width / 6 else "left" if x < -face.width / 6 else "",
    ]
    named = " ".join(side for side in sides if side)
    return named if len(named.split()) == 2 else f"{named} middle".strip()


@functools.cache
def ruler_words(point: XY, face: PlatenFace) -> str:
    """Return how to find a point with a ruler, from the nearer edges."""
    x, y = point
    across = (
        "half way across"
        if abs(x) < 0.5
        else f"{face.width / 2 - abs(x):.0f} mm from the {'right' if x > 0 else 'left'} edge"
    )
    along = (
        "half way back"
        if abs(y) < 0.5
        else f"{face.depth / 2 - abs(y):.0f} mm from the {'back' if y > 0 else 'front'} edge"
    )
    return f"{across}, {along}"
