"""Where lettering stands on the platen: large, upright, clear of the art."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from overlay.lettering import set_line
from overlay.marks import LEADING, Mark, Role, Text

CAP = 12.0
"""Cap height of lettering, mm: read from 1.5 m at about 1/125 of the distance, well above the
1/200 of common practice (no source)."""
SMALL_CAP = 9.0
"""Cap height where a small platen has no room for more, mm."""
BORDER = 5.0
"""Lettering keeps this far from the platen's edge and from the sheet, mm."""


def _box(x: float, y: float, text: str, cap: float, align: float) -> BaseGeometry:
    """Return the box of a line of lettering with its baseline's anchor at (x, y)."""
    width = set_line(text, cap).advance
    left = x - align * width
    return shapely.box(left, y - 0.35 * cap, left + width, y + 1.2 * cap)


def text_shape(mark: Mark) -> BaseGeometry:
    """Return the room that a block of lettering takes, with its border; empty for other marks."""
    if not isinstance(mark, Text):
        return shapely.Polygon()
    (x, y), cap = mark.anchor, mark.size
    lines = mark.text.split("\n")[::-1]
    boxes = [
        _box(x, y + index * LEADING * cap, line, cap, mark.align[0])
        for index, line in enumerate(lines)
    ]
    return shapely.union_all(boxes).envelope.buffer(BORDER)


def set_block(
    lines: Sequence[str],
    role: Role,
    plate: BaseGeometry,
    avoid: Sequence[BaseGeometry],
    height: float,
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
    for count in range(len(lines), 0, -1):
        for blocked in avoid:
            for text in _candidates(lines[:count], role, plate, height):
                last = [text]
                block = text_shape(text)
                if plate.contains(block) and block.disjoint(blocked):
                    return last
    return last


def _candidates(
    lines: Sequence[str], role: Role, plate: BaseGeometry, height: float
) -> Iterator[Text]:
    """Yield the block in every size, breaking and place, the best first."""
    left, front, right, back = plate.bounds
    whole = right - left - 2 * BORDER - 8
    places = [(left + BORDER + 4, 0.0), (right - BORDER - 4, 1.0), ((left + right) / 2, 0.5)]
    for cap, room in itertools.product((CAP, SMALL_CAP), (whole, whole / 2 - BORDER)):
        broken = [part for line in lines for part in wrapped(line, cap, room)]
        if max(set_line(line, cap).advance for line in broken) > whole:
            continue
        text = "\n".join(broken)
        tall = LEADING * cap * (len(broken) - 1)
        steps = np.arange(front + BORDER + 0.6 * cap, back - BORDER - cap - tall, 0.5 * cap)
        for y, (x, align) in itertools.product([float(step) for step in steps], places):
            yield Text((x, y), text, role, cap, (align, 0.0), 0.0, height)


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
