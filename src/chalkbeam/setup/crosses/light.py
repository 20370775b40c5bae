"""What the projector shows while crosses are moved on to marks: drawn in its own pixels."""

from __future__ import annotations

import functools
import math

import numpy as np

from calibration.geometry import Points
from chalkbeam.basics.squares import RULINGS
from chalkbeam.setup.crosses.state import CrossState, Solved, name_of
from overlay.draw.check_view import check_marks
from overlay.draw.frame import Frame, render
from overlay.draw.page_map import FlatMap
from overlay.marks import LEADING, Crosshair, Dash, Mark, Role, Stroke, Text
from overlay.palette import DEFAULT_PALETTE
from overlay.text.typeface import set_line
from overlay.text.wrap import wrapped

_HELP = (
    "arrows: 1 px",
    "Shift: 1/4 px, Ctrl: 10 px",
    "or drag with the mouse",
    "Enter: it is on its mark",
    "Page Up: the one before",
    "1 to 9: that one again",
)
_CIRCLE = np.linspace(0, 2 * math.pi, 49)[:-1]


@functools.lru_cache(maxsize=4)
def frame_of(state: CrossState) -> Frame | None:
    """Return the frame to show; None for darkness. Equal settings get the very same frame."""
    if state.dark:
        return None
    page = _page(state.size)
    if state.solved is not None:
        return _result(state, state.solved, page)
    return render(_marks(state, page), page, DEFAULT_PALETTE)


def _page(size: tuple[int, int]) -> FlatMap:
    """Return the picture as a page of 1080 units from top to bottom, its origin in the middle.

    In units of the platen lines end 1500 from the origin (`overlay.draw.strokes.REACH`): a page
    that counted pixels from its corner would lose what lies at the picture's far side.
    """
    scale = size[1] / 1080
    return FlatMap(size, scale, -size[0] / 2 / scale, -1080 / 2)


def _marks(state: CrossState, page: FlatMap) -> list[Mark]:
    marks = _set_ones(state, page)
    x, y = page.place(state.cross)
    marks.append(Crosshair((x, y), Role.LAY, 70, _tilt(state), 2.0))
    ring = np.column_stack([np.cos(_CIRCLE), np.sin(_CIRCLE)]) * 30 + (x, y)
    points = tuple((float(px), float(py)) for px, py in ring)
    marks.append(Stroke(points, Role.LAY, 2.0, closed=True, dash=Dash.SOLID))
    place = name_of(state.marks[state.index].point, state.face)
    words = [f"{state.index + 1} of {len(state.marks)}: {place}", *_HELP]
    if state.can_turn:
        words += ["R: turn these words", "until they stand upright"]
    if state.leaving:
        words = ["Escape again: end"]
    marks.append(_words(state, page, words, Role.WARN if state.leaving else Role.NOTE))
    return marks


def _set_ones(state: CrossState, page: FlatMap) -> list[Mark]:
    """Return the crosses that are set and not current, small and with their numbers."""
    marks: list[Mark] = []
    for index, pixel in enumerate(state.placed):
        if index == state.index and state.again:
            continue
        x, y = page.place(pixel)
        marks.append(Crosshair((x, y), Role.CHECK, 16, width=1.5))
        number = Text((x + 12, y + 8), f"{index + 1}", Role.CHECK, 14, (0, 0))
        marks.append(number)
    return marks


def _tilt(state: CrossState) -> float:
    """Return how the operator's right is turned in the picture, radians counter-clockwise."""
    right, _ = state.directions()
    return math.atan2(-right[1], right[0])


def _words(state: CrossState, page: FlatMap, words: list[str], role: Role) -> Text:
    """Return words upright for the operator, as near the middle as they cover no cross."""
    width, height = state.size
    cap = 20 * height / 1080
    right, _ = state.directions()
    axes = np.array([right, (-right[1], right[0])])
    wide = max(set_line(line, cap).advance for line in words) + 4 * cap
    deep = (LEADING * len(words) + 3) * cap
    crosses = [*state.placed, *(() if state.solved else (state.cross,))]
    off = (np.array(crosses) - [(width - 1) / 2, (height - 1) / 2]) @ axes.T

    def cost(shift: Points) -> tuple[int, float]:
        covered = np.abs(off - axes @ shift) < np.array([wide, deep]) / 2 + cap
        return int(covered.all(axis=1).sum()), float(np.hypot(*shift))

    steps = np.linspace(-0.3, 0.3, 13)
    shift = min((np.array([width * x, height * y]) for y in steps for x in steps), key=cost)
    x, y = page.place((float((width - 1) / 2 + shift[0]), float((height - 1) / 2 + shift[1])))
    return Text((x, y), "\n".join(words), role, cap / page.scale, (0.5, 0.5), _tilt(state))


def _result(state: CrossState, solved: Solved, page: FlatMap) -> Frame:
    """Return squares to measure, drawn through the new map, or why there is no map."""
    if solved.solution is None:
        room = 0.45 * min(state.size)
        told = [*wrapped(str(solved.refused), 20 * state.size[1] / 1080, room)]
        last = ("1 to 9: set that cross again", "Page Up: the last one", "Escape twice: end")
        words = ["Escape again: end"] if state.leaving else [*told, "", *last]
        marks = [*_set_ones(state, page), _words(state, page, words, Role.WARN)]
        return render(marks, page, DEFAULT_PALETTE)
    bound = max(each.bound for each in solved.worst)
    title = f"within {bound:.1f} mm\nEnter: keep it\nPage Up: back"
    if state.leaving:
        title = "Escape again:\nend without it"
    squares = check_marks(state.face, title, ruling=RULINGS[state.unit])
    return render(squares, solved.solution.map, DEFAULT_PALETTE)
