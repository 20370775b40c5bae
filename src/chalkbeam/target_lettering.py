"""Where lettering stands on the platen: large, upright, clear of the art."""

from __future__ import annotations

import copy
import functools
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from calibration.geometry import xy_tuple
from chalkbeam.platen import Platen
from overlay.lettering import advance
from overlay.marks import LEADING, Crosshair, Hatch, Mark, Role, Stroke, Text

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
BORDER = 5.0
"""Lettering, or the box around it, keeps this far from the platen's edge and from lines, mm."""
BOX = 0.56
"""How far a warning's box reaches beyond its lettering, in cap heights: see `overlay.frame`."""
SLOPE = 2.0
"""Beside a pad the cloth comes down over this many of the pad's heights, and the pad's shadow is
no longer: words there would lie at no known height."""
SHORTEST_END = 25.0
"""A line broken off by lettering that is shorter than this says nothing any more, mm."""
_CELL = 1.0
"""Side of the squares in which free room is counted, mm."""
_WIDTHS = (1.0, 0.7, 0.48, 0.35)
"""Widths of a block to try, in widths of the ground."""

_LATER = np.array([0.0, 40.0, 60.0])
"""How much further up the left side a block goes rather than to the right or the middle, mm."""
_GLUED = re.compile(
    r"(?<=\d) (?=(?:in|mm|cm|s|%)\b|of \d|x \d|\d+/\d)|(?<=\d x) (?=\d)|(?<=\d of) (?=\d)"
    r"|(?<=adult) |(?<=youth) |(?<=^\d) "
)
"""Blanks at which no line is broken: inside lengths, sizes and counts."""

_NEIGHBOURS = np.ones((3, 3), dtype=np.uint8)

Span = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Where stretches begin and end, each shape (N,), mm."""


@dataclass(frozen=True, eq=False)
class Ground:
    """Level ground on which words may stand, whole and true to scale.

    Attributes
    ----------
    shape : shapely shape
        Platen frame, mm.
    height : float
        Above the platen's bare face, mm.
    """

    shape: BaseGeometry
    height: float


@functools.lru_cache(maxsize=16)
def grounds(platen: Platen, height: float) -> tuple[Ground, ...]:
    """Return where words may stand on a platen, the roomiest first.

    Parameters
    ----------
    platen : Platen
    height : float
        Of the lit surface above the platen's bare face, mm: on the pad, if there is one.

    Returns
    -------
    tuple of Ground
        The platen's face; with a pad the face beside it and the pad's own.
    """
    plate = shapely.Polygon(platen.face.outline())
    if platen.pad is None:
        return (Ground(plate, height),)
    pad = shapely.Polygon(platen.pressed())
    beside = plate.difference(pad.buffer(SLOPE * platen.pad.height))
    found = [Ground(beside, height - platen.pad.height), Ground(pad, height)]
    return tuple(sorted((g for g in found if g.shape.area > 0), key=lambda g: -g.shape.area))


def text_shape(mark: Mark) -> BaseGeometry:
    """Return the room that a block of lettering takes, with its border; empty for other marks."""
    return shapely.box(*_room_of(mark)) if isinstance(mark, Text) else shapely.Polygon()


def _room_of(mark: Text) -> tuple[float, float, float, float]:
    """Return the room of lettering with its border: left, bottom, right, top, platen frame, mm."""
    wide, tall = _extent(mark.text.split("\n"), mark.size)
    left, bottom = mark.anchor[0] - mark.align[0] * wide, mark.anchor[1] - mark.align[1] * tall
    side, below, above = _margins(mark.size, mark.role)
    return left - side, bottom - below, left + wide + side, bottom + tall + above


def _extent(lines: Sequence[str], cap: float) -> tuple[float, float]:
    """Return the width of lines, and their height from the last baseline up, mm."""
    return cap * max(map(advance, lines)), cap * (1 + LEADING * (len(lines) - 1))


def _margins(cap: float, role: Role) -> tuple[float, float, float]:
    """Return the room beside a block of lettering, below its baseline and above its capitals."""
    space = BORDER + (BOX * cap if role is Role.WARN else 0.0)
    # Letters reach 0.3 cap heights below the baseline; accents and brackets 0.2 above.
    return space, 0.3 * cap + space, 0.2 * cap + space


class Room:
    """What is free on a ground: a summed-area table of squares, taken if only partly free.

    Crow, Summed-area tables for texture mapping, SIGGRAPH 1984: how much of a rectangle
    is taken is told from its four corners, so that hundreds of places cost no more than one.

    Parameters
    ----------
    ground : Ground
    blocked : shapely shapes
        What to keep off, platen frame, mm.
    """

    def __init__(self, ground: Ground, blocked: Iterable[BaseGeometry]) -> None:
        left, front, right, back = ground.shape.bounds
        self.ground = ground
        self._corner = np.array([left, front])
        size = np.ceil((np.array([right, back]) - self._corner) / _CELL).astype(int)
        free = np.zeros((size[1], size[0]), dtype=np.uint8)
        self._fill(free, ground.shape)
        self._taken = 1 - free
        for shape in blocked:
            self._fill(self._taken, shape)
        self._count()

    def without(self, texts: Iterable[Text]) -> Room:
        """Return the same room with lettering in it."""
        other = copy.copy(self)
        other._taken = self._taken.copy()
        for text in texts:
            other._fill(other._taken, text_shape(text))
        other._count()
        return other

    def _fill(self, grid: NDArray[np.uint8], shape: BaseGeometry) -> None:
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon" and not part.is_empty:
                rings = [part.exterior, *part.interiors]
                fixed = [(np.asarray(r.coords) - self._corner) / _CELL * 16 - 8 for r in rings]
                cv2.fillPoly(grid, [np.rint(f).astype(np.int32) for f in fixed], 1, shift=4)

    def _count(self) -> None:
        # A square that an edge touches is taken on either side of it.
        around = cv2.copyMakeBorder(self._taken, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=1)
        self._table = cv2.integral(cv2.dilate(around, _NEIGHBOURS)[1:-1, 1:-1])

    def free(self, x: Span, y: Span) -> NDArray[np.bool_]:
        """Return which rectangles are wholly free, shape (M, N), of N spans of x and M of y, mm."""
        table = self._table
        columns, rows = (
            [
                np.clip(edge((each - start) / _CELL), 0, most - 1).astype(int)
                for each, edge in zip(span, (np.floor, np.ceil), strict=True)
            ]
            for span, start, most in zip((x, y), self._corner, table.shape[::-1], strict=True)
        )
        low, high = table[rows[0]], table[rows[1]]
        taken = high[:, columns[1]] - low[:, columns[1]] - high[:, columns[0]] + low[:, columns[0]]
        return np.asarray(taken == 0)


def rooms(where: Iterable[Ground], blocked: Sequence[BaseGeometry]) -> list[Room]:
    """Return what is free on each ground."""
    return [Room(ground, blocked) for ground in where]


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


def clear_of(marks: Sequence[Mark], room: float = 2.0) -> BaseGeometry:
    """Return the ground that lines and lettering take, with `room` mm around lines."""
    return shapely.union_all(shapes_of(marks, room))


def shapes_of(marks: Iterable[Mark], room: float = 2.0) -> list[BaseGeometry]:
    """Return the ground that each mark takes, with `room` mm around lines."""
    shapes: list[BaseGeometry] = []
    for mark in marks:
        match mark:
            case Text():
                shapes.append(text_shape(mark))
            case Hatch():
                shapes.append(shapely.Polygon(mark.polygon).buffer(room))
            case Crosshair():
                shapes.append(shapely.Point(mark.centre).buffer(mark.arm + room))
            case Stroke() if len(mark.points) > 1:
                ring = [*mark.points, mark.points[0]] if mark.closed else mark.points
                shapes.append(shapely.LineString(ring).buffer(mark.width / 2 + room))
    return shapes


def with_remark(
    marks: Sequence[Mark], lines: Sequence[str], role: Role, where: Sequence[Ground]
) -> tuple[Mark, ...]:
    """Return the marks with a remark, set clear of what is lit already.

    Where there is no room for it, other lettering gives way; then lines that the step can
    spare; last of all the remark stands over whatever there is: better crowded than missing.
    """
    lay = [mark for mark in marks if mark.role is Role.LAY]
    needed = [clear_of(lay).convex_hull] if lay else []
    drawn = [mark for mark in marks if not isinstance(mark, Text)]
    for kept, blocked in (
        (marks, [*shapes_of(marks), *needed]),
        (drawn, [*shapes_of(drawn), *needed]),
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


def wrapped(text: str, cap: float, room: float) -> list[str]:
    """Break text at blanks and hyphens into lines no longer than `room`, mm, if that is enough."""
    lines: list[str] = []
    for glued in _GLUED.sub("\0", " ".join(text.split())).split():
        word = glued.replace("\0", " ")
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and cap * advance(longer) <= room:
            lines[-1] = longer
        elif cap * advance(word) <= room or "-" not in word[1:-1]:
            lines.append(word)
        else:
            lines += _at_hyphens(word, cap, room)
    return lines


def _at_hyphens(word: str, cap: float, room: float) -> list[str]:
    lines = [""]
    for part in re.findall(r"[^-]*-|[^-]+", word):
        if lines[-1] and cap * advance(lines[-1] + part) > room:
            lines.append("")
        lines[-1] += part
    return lines


@functools.lru_cache(maxsize=1024)
def balanced(text: str, cap: float, room: float) -> tuple[str, ...]:
    """Break text at blanks into as few lines as `wrapped` does, none much shorter than the rest."""
    best = wrapped(text, cap, room)
    if len(best) > 1:
        for narrower in np.linspace(room, room / 2, 12)[1:]:
            other = wrapped(text, cap, float(narrower))
            if len(other) > len(best):
                break
            best = other
    return tuple(best)


def shortened(text: str, cap: float, room: float) -> str:
    """Return as much of the text as is no longer than `room`, mm, and an ellipsis for the rest."""
    if cap * advance(text) <= room:
        return text
    return next(_shorter(text, cap, room), "…")


def _shorter(text: str, cap: float, room: float) -> Iterator[str]:
    for end in range(len(text) - 1, 0, -1):
        shorter = text[:end].rstrip() + "…"
        if cap * advance(shorter) <= room:
            yield shorter
