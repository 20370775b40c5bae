"""Where lettering stands on the platen: large, upright, clear of the art."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from calibration.geometry import PlatenFace, xy_tuple
from overlay.lettering import set_line
from overlay.marks import LEADING, Crosshair, Hatch, Mark, Role, Stroke, Text

READ_FROM = 1500.0
"""How far off lettering is read, mm: an operator upright at the press."""
LEAST_CAP = 7.0
"""No lettering is lower, mm. Capitals that fill 16 minutes of arc are the least that is read with
ease, 20 to 22 are preferred (ISO 9241-303, from memory); from 1.5 m 16 minutes are 7.0 mm."""
CAP = 12.0
"""Usual cap height of lettering, mm: 27 minutes of arc from 1.5 m."""
SMALL_CAP = 9.0
"""Cap height where a small platen has no room for more, mm: 21 minutes of arc from 1.5 m."""
BORDER = 5.0
"""Lettering keeps this far from the platen's edge and from the sheet, mm."""
SHORTEST_END = 25.0
"""A line broken off by lettering that is shorter than this says nothing any more, mm."""


def text_shape(mark: Mark) -> BaseGeometry:
    """Return the room that a block of lettering takes, with its border; empty for other marks."""
    if not isinstance(mark, Text):
        return shapely.Polygon()
    (x, y), cap = mark.anchor, mark.size
    lines = mark.text.split("\n")
    width = max(set_line(line, cap).advance for line in lines)
    left = x - mark.align[0] * width
    top = y + (len(lines) - 1) * LEADING * cap + 1.2 * cap
    return shapely.box(left, y - 0.35 * cap, left + width, top).buffer(BORDER)


def set_block(
    lines: Sequence[str],
    role: Role,
    plate: BaseGeometry,
    avoid: Sequence[BaseGeometry],
    height: float,
    or_none: bool = False,
) -> list[Text]:
    """Set lines of text as one block where the platen is free, breaking them where they must.

    Parameters
    ----------
    lines : sequence of str
        The most important first: where all do not fit, the last are left out.
    role : Role
    plate : shapely shape
        The platen's face, mm.
    avoid : sequence of shapely shapes
        What to keep off, the strictest first: where no place keeps off the first,
        the next counts.
    height : float
        Of the lit surface, mm.
    or_none : bool
        Whether to set nothing where no place will do.

    Returns
    -------
    list of Text
        One block. Large lettering comes before small, whole lines before broken
        ones, the operator's edge before places further up. Where all fails the first
        line stands small at the operator's edge: better crowded than missing.
    """
    if not lines:
        return []
    last: list[Text] = []
    shapely.prepare([plate, *avoid])  # hundreds of places are tried
    for count in range(len(lines), 0, -1):
        for blocked in avoid:
            for text in _candidates(lines[:count], role, plate, height):
                last = [text]
                block = text_shape(text)
                if plate.contains(block) and block.disjoint(blocked):
                    return last
    return [] if or_none else last


def _candidates(
    lines: Sequence[str], role: Role, plate: BaseGeometry, height: float
) -> Iterator[Text]:
    """Yield the block in every size, breaking and place, the best first."""
    left, front, right, back = plate.bounds
    whole = right - left - 2 * BORDER - 8
    places = [(left + BORDER + 4, 0.0), (right - BORDER - 4, 1.0), ((left + right) / 2, 0.5)]
    for cap, room in itertools.product(
        (CAP, SMALL_CAP, LEAST_CAP), (whole, whole / 2 - 3 * BORDER)
    ):
        broken = [part for line in lines for part in wrapped(line, cap, room)]
        if max(set_line(line, cap).advance for line in broken) > whole:
            continue
        text = "\n".join(broken)
        tall = LEADING * cap * (len(broken) - 1)
        steps = np.arange(front + BORDER + 0.6 * cap, back - BORDER - cap - tall, 0.5 * cap)
        for y, (x, align) in itertools.product([float(step) for step in steps], places):
            yield Text((x, y), text, role, cap, (align, 0.0), 0.0, height)


def clear_of(marks: Sequence[Mark], room: float = 2.0) -> BaseGeometry:
    """Return the ground that lines and lettering take, with `room` mm around lines."""
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
    return shapely.union_all(shapes)


def remark(
    lines: Sequence[str], role: Role, face: PlatenFace, marks: Sequence[Mark], height: float
) -> tuple[Text, ...]:
    """Return a remark set clear of what is lit already.

    Where there is no room clear of every line it keeps off what the step needs: the lay
    lines with all inside them, and other lettering; last of all off lettering alone.
    """
    plate = shapely.Polygon(face.outline())
    lay = [mark for mark in marks if mark.role is Role.LAY]
    needed = clear_of(lay).convex_hull if lay else shapely.Polygon()
    texts = clear_of([mark for mark in marks if isinstance(mark, Text)])
    avoid = [
        shapely.union_all([clear_of(marks), needed]),
        shapely.union_all([needed, texts]),
        texts,
    ]
    return tuple(set_block(lines, role, plate, avoid, height))


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
    """Break text at blanks into lines no longer than `room`, mm."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and set_line(longer, cap).advance <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
