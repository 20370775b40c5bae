"""Where lettering stands on the platen: large, upright, clear of the art."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from calibration.geometry import xy_tuple
from chalkbeam.light.free_room import (
    _CELL,
    BORDER,
    Ground,
    Room,
    _extent,
    _margins,
    rooms,
    text_shape,
)
from overlay.marks import Crosshair, Hatch, Mark, Role, Stroke, Text
from overlay.text.typeface import advance
from overlay.text.wrap import balanced, shortened

LEAST_CAP = 7.0
"""No lettering is lower, mm. Capitals that fill 16 minutes of arc are the least that is read with
ease, 20 to 22 are preferred (ISO 9241-303, from memory); for an operator upright at the press,
1.5 m off, 16 minutes are 7.0 mm."""
CAP = 12.0
"""Usual cap height of lettering, mm: 27 minutes of arc from 1.5 m."""
CAPS = (CAP, 10.5, 9.0, 8.0, LEAST_CAP)
"""Cap heights to try, mm."""
SMALL_CAP = 9.0
"""Cap height of the names of lines, mm: 21 minutes of arc from 1.5 m."""
SHORTEST_END = 25.0
"""A line broken off by lettering that is shorter than this says nothing any more, mm."""
_WIDTHS = (1.0, 0.7, 0.48, 0.35)
"""Widths of a block to try, in widths of the ground."""

_LATER = np.array([0.0, 40.0, 60.0])
"""How much further up the left side a block goes rather than to the right or the middle, mm."""


def set_block(
    lines: Sequence[str],
    role: Role,
    where: Sequence[Room],
    fewest: int = 1,
    largest: float = CAP,
) -> list[Text]:
    """Set lines of text as one block where there is room, breaking them where they must.

    Parameters
    ----------
    lines : sequence of str
        The most important first: where all do not fit, the last are left out.
    role : Role
    where : sequence of Room
        The best first.
    fewest : int
        How many lines must stand.
    largest : float
        Cap height where there is room, mm.

    Returns
    -------
    list of Text
        One block, or none. All lines come before large lettering, whole lines before
        broken ones, the operator's edge before places further up, the left before the right.
    """
    for count in range(len(lines), max(fewest, 1) - 1, -1):
        for cap in (each for each in CAPS if each <= largest):
            for room in where:
                text = _placed(tuple(lines[:count]), role, cap, room)
                if text is not None:
                    return [text]
    return []


def _placed(lines: tuple[str, ...], role: Role, cap: float, room: Room) -> Text | None:
    """Return a block in the first place that is free, if any."""
    left, front, right, back = room.ground.shape.bounds
    side, below, above = _margins(cap, role)
    for broken in _breakings(lines, cap, right - left - 2 * (side + _CELL)):
        wide, tall = _extent(broken, cap)
        y = np.arange(front + below + _CELL, back - above - tall, 2 * _CELL)
        if not len(y):
            continue
        x = np.array([left + side + _CELL, right - side - _CELL - wide, (left + right - wide) / 2])
        free = room.free((x - side, x + wide + side), (y - below, y + tall + above))
        if free.any():
            later = np.where(free, y[:, None] + _LATER, np.inf)
            row, column = divmod(int(later.argmin()), len(x))
            anchor = (float(x[column]), float(y[row]))
            return Text(anchor, "\n".join(broken), role, cap, (0.0, 0.0), 0.0, room.ground.height)
    return None


@functools.lru_cache(maxsize=256)
def _breakings(lines: tuple[str, ...], cap: float, room: float) -> tuple[tuple[str, ...], ...]:
    """Return the ways to break lines into a block no wider than `room`, the widest first."""
    found: dict[tuple[str, ...], None] = {}
    for share in _WIDTHS:
        broken = [part for line in lines for part in balanced(line, cap, share * room)]
        if cap == LEAST_CAP and share == 1.0:
            broken = [shortened(part, cap, room) for part in broken]
        if broken and max(map(advance, broken)) * cap <= room:
            found[tuple(broken)] = None
    return tuple(found)


def shapes_of(marks: Iterable[Mark], room: float = 2.0) -> list[BaseGeometry]:
    """Return the ground that each mark takes, with `room` mm around lines."""
    shapes = (_shape_of(mark, room) for mark in marks)
    return [shape for shape in shapes if shape is not None]


def _shape_of(mark: Mark, room: float) -> BaseGeometry | None:
    match mark:
        case Text():
            return text_shape(mark)
        case Hatch():
            return shapely.Polygon(mark.polygon).buffer(room)
        case Crosshair():
            return shapely.Point(mark.centre).buffer(mark.arm + room)
        case Stroke() if len(mark.points) > 1:
            ring = [*mark.points, mark.points[0]] if mark.closed else mark.points
            return shapely.LineString(ring).buffer(mark.width / 2 + room)
    return None


def with_remark(
    marks: Sequence[Mark], lines: Sequence[str], role: Role, where: Sequence[Ground]
) -> tuple[Mark, ...]:
    """Return the marks with a remark, set clear of what is lit already.

    Where there is no room for it, other lettering gives way; then lines that the step can
    spare; last of all the remark stands over whatever there is: better crowded than missing.
    """
    taken = [(mark, shape) for mark in marks if (shape := _shape_of(mark, 2.0)) is not None]
    lay = [shape for mark, shape in taken if mark.role is Role.LAY]
    needed = [shapely.GeometryCollection(lay).convex_hull] if lay else []
    drawn = [mark for mark in marks if not isinstance(mark, Text)]
    lines_taken = [shape for mark, shape in taken if not isinstance(mark, Text)]
    for kept, blocked in (
        (marks, [*(shape for _, shape in taken), *needed]),
        (drawn, [*lines_taken, *needed]),
        (drawn, needed),
        (drawn, []),
    ):
        texts = set_block(lines, role, rooms(where, blocked))
        if texts:
            return (*kept, *texts)
    return tuple(marks)


def without_ends(marks: Sequence[Mark], texts: Sequence[Text]) -> list[Mark]:
    """Return lines broken at lettering, without the short ends that would say nothing.

    Lines stop at lettering however they are drawn; broken here, each part begins and
    ends lit, and a dash left alone between two words is gone.
    """
    if not texts:
        return [*marks]
    blocked = shapely.union_all([text_shape(text).buffer(-0.5 * BORDER) for text in texts])
    kept: list[Mark] = []
    for mark in marks:
        if not isinstance(mark, Stroke) or len(mark.points) < 2:
            kept.append(mark)
            continue
        ring = [*mark.points, mark.points[0]] if mark.closed else mark.points
        line = shapely.LineString(ring)
        if not line.intersects(blocked):
            kept.append(mark)
            continue
        left = line.difference(blocked)
        parts = getattr(left, "geoms", [left])
        kept += [
            replace(mark, points=xy_tuple(np.asarray(part.coords)), closed=False)
            for part in parts
            if part.length >= SHORTEST_END
        ]
    return kept
