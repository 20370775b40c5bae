"""The view to hold a ruler to: shows whether light lands true before any garment is risked."""

from __future__ import annotations

import math

from calibration.geometry import PlatenFace, xy_tuple
from overlay.marks import Crosshair, Dash, Mark, Role, Stroke, Text

SQUARE = 100.0
"""Side of the squares, mm."""

INSET = 25.0
"""How far the corner crosses stand off both edges, mm."""

_THIN = 0.8
_CAP = 7.0
_GAP = 5.0


def check_marks(face: PlatenFace, title: str = "", height: float = 0.0) -> tuple[Mark, ...]:
    """Return the platen's outline, squares counted from its middle, corner crosses and figures.

    Parameters
    ----------
    face : PlatenFace
    title : str
        Which rig, shown in the middle.
    height : float
        Of the surface to hold the ruler on, above the bare platen, mm.

    Returns
    -------
    tuple of Mark
    """
    half_w, half_d = face.width / 2, face.depth / 2
    marks: list[Mark] = [edge_mark(face, height)]
    for value in _multiples(half_w):
        marks.append(_line((value, -half_d), (value, half_d), value == 0.0, height))
    for value in _multiples(half_d):
        marks.append(_line((-half_w, value), (half_w, value), value == 0.0, height))
    inset = min(INSET, half_w / 2, half_d / 2)
    arm = min(12.0, inset * 0.6)
    for x in (inset - half_w, half_w - inset):
        for y in (inset - half_d, half_d - inset):
            marks.append(Crosshair((x, y), Role.LAY, arm, height=height))
    # Figures stand on the lines just inside the edge; the corners are left to the crosses.
    for value in _multiples(half_w):
        if abs(value) < half_w - 1.5 * inset:
            marks.append(_figure((value, _GAP - half_d), value, (0.5, 0.0), height))
    for value in _multiples(half_d):
        if abs(value) < half_d - 1.5 * inset:
            marks.append(_figure((_GAP - half_w, value), value, (0.0, 0.5), height))
    if min(half_w, half_d) > SQUARE:
        words = f"squares {SQUARE:.0f} mm\ncrosses {inset:.0f} mm\nfrom both edges"
        middle = (SQUARE / 2, -SQUARE / 2)
        marks.append(Text(middle, words, Role.NOTE, _CAP, (0.5, 0.5), height=height))
        if title:
            middle = (-SQUARE / 2, SQUARE / 2)
            marks.append(Text(middle, title, Role.NOTE, _CAP, (0.5, 0.5), height=height))
    return tuple(marks)


def edge_mark(face: PlatenFace, height: float = 0.0) -> Stroke:
    """Return a line along the platen's edge, at the height of a surface above its bare face, mm."""
    outline = xy_tuple(face.outline())
    return Stroke(outline, Role.CHECK, closed=True, dash=Dash.SOLID, height=height)


def _multiples(half: float) -> list[float]:
    """Return the multiples of SQUARE inside ± half, less those too near to the edge to tell."""
    count = max(0, math.floor((half - 10.0) / SQUARE))
    return [step * SQUARE for step in range(-count, count + 1)]


def _line(
    start: tuple[float, float], end: tuple[float, float], middle: bool, height: float
) -> Stroke:
    dash = Dash.CHAIN if middle else Dash.SOLID
    return Stroke((start, end), Role.CHECK, _THIN, dash=dash, height=height)


def _figure(
    anchor: tuple[float, float], value: float, align: tuple[float, float], height: float
) -> Text:
    sign = "−" if value < 0 else ""
    return Text(anchor, f"{sign}{abs(value):.0f}", Role.CHECK, _CAP, align, height=height)
