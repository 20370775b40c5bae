"""A code to be read by a phone, in light: its bright squares are lit, its dark ones left dark."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from calibration.geometry import PlatenFace
from overlay.marks import Dash, Mark, Role, Stroke, Text
from overlay.text.typeface import advance

_SIDE = 0.5
"""Side of the code over the shorter side of what it is shown on. On the smallest platens here that
is 60 mm and more, a tenth of an arm's length: common practice, no source."""

_CAP = 0.085
"""Cap height of the figures, likewise: 30 mm on a usual platen, to be read from 3 m."""

_SMALL = 0.035


def code_marks(
    rows: Sequence[str], figures: str, address: str, face: PlatenFace, both_ways: bool = False
) -> tuple[Mark, ...]:
    """Return what lights a code, with figures and address to be typed instead.

    Parameters
    ----------
    rows : sequence of str
        The code's squares from the top, "1" for dark, with the empty margin that it must have.
    figures, address : str
    face : PlatenFace
        Where it stands, in the middle.
    both_ways : bool
        Whether the figures stand above it as well, upside down: where nobody knows yet how the
        picture lies.
    """
    short = min(face.width, face.depth)
    side, cap, small = _SIDE * short, _CAP * short, _SMALL * short
    room = 0.92 * face.width
    cap = min(cap, room / advance(figures))
    small = min(small, room / advance(address))
    marks: list[Mark] = list(_squares(rows, side))
    for turn in (0.0, math.pi) if both_ways else (0.0,):
        down = -1.0 if turn == 0.0 else 1.0
        first = down * (side / 2 + 1.2 * cap)
        marks.append(Text((0.0, first), figures, Role.NOTE, cap, angle=turn))
        second = first + down * (0.5 * cap + 1.6 * small)
        marks.append(Text((0.0, second), address, Role.CHECK, small, angle=turn))
    return tuple(marks)


def _squares(rows: Sequence[str], side: float) -> Iterator[Stroke]:
    """Yield each row's lit runs as strokes as thick as a square."""
    step = side / len(rows)
    for number, row in enumerate(rows):
        y = side / 2 - (number + 0.5) * step
        start = 0
        while (start := row.find("0", start)) >= 0:
            end = row.find("1", start) if "1" in row[start:] else len(row)
            points = ((start * step - side / 2, y), (end * step - side / 2, y))
            yield Stroke(points, Role.NOTE, step, dash=Dash.SOLID)
            start = end
