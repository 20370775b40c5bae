"""The view to hold a ruler to: shows whether light lands true before any garment is risked."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calibration.geometry import PlatenFace, xy_tuple
from overlay.marks import Crosshair, Dash, Mark, Role, Stroke, Text


@dataclass(frozen=True)
class Ruling:
    """What the squares are counted in.

    Attributes
    ----------
    unit : str
    length : float
        Of one unit, mm.
    square, inset : float
        Side of the squares, and how far the corner crosses stand off both edges, in units.
    """

    unit: str
    length: float
    square: float
    inset: float


IN_MM = Ruling("mm", 1.0, 100.0, 25.0)
IN_INCHES = Ruling("in", 25.4, 4.0, 1.0)

_THIN = 0.8
_CAP = 7.0
_GAP = 5.0


def check_marks(
    face: PlatenFace, title: str = "", height: float = 0.0, *, ruling: Ruling
) -> tuple[Mark, ...]:
    """Return the platen's outline, squares counted from its middle, corner crosses and figures.

    Parameters
    ----------
    face : PlatenFace
    title : str
        Which rig, shown in the middle.
    height : float
        Of the surface to hold the ruler on, above the bare platen, mm.
    ruling : Ruling
        What the squares are counted in.

    Returns
    -------
    tuple of Mark
    """
    half_w, half_d = face.width / 2, face.depth / 2
    marks: list[Mark] = [edge_mark(face, height)]
    square = ruling.square * ruling.length
    across, along = _multiples(half_w, square), _multiples(half_d, square)
    for value in across:
        marks.append(_line((value, -half_d), (value, half_d), value == 0.0, height))
    for value in along:
        marks.append(_line((-half_w, value), (half_w, value), value == 0.0, height))
    inset = min(ruling.inset * ruling.length, half_w / 2, half_d / 2)
    arm = min(12.0, inset * 0.6)
    for x in (inset - half_w, half_w - inset):
        for y in (inset - half_d, half_d - inset):
            marks.append(Crosshair((x, y), Role.LAY, arm, height=height))
    # Figures stand on the lines just inside the edge; the corners are left to the crosses.
    for value in across:
        if abs(value) < half_w - 1.5 * inset:
            figure = _figured(value / ruling.length)
            marks.append(_figure((value, _GAP - half_d), figure, (0.5, 0.0), height))
    for value in along:
        if abs(value) < half_d - 1.5 * inset:
            figure = _figured(value / ruling.length)
            marks.append(_figure((_GAP - half_w, value), figure, (0.0, 0.5), height))
    if min(half_w, half_d) > square:
        stand = f"{inset / ruling.length:.2f}".rstrip("0").rstrip(".")
        words = f"squares {ruling.square:g} {ruling.unit}\ncrosses {stand} {ruling.unit}"
        middle = (square / 2, -square / 2)
        words = f"{words}\nfrom both edges"
        marks.append(Text(middle, words, Role.NOTE, _CAP, (0.5, 0.5), height=height))
        if title:
            middle = (-square / 2, square / 2)
            marks.append(Text(middle, title, Role.NOTE, _CAP, (0.5, 0.5), height=height))
    return tuple(marks)


def edge_mark(face: PlatenFace, height: float = 0.0) -> Stroke:
    """Return a line along the platen's edge, at the height of a surface above its bare face, mm."""
    outline = xy_tuple(face.outline())
    return Stroke(outline, Role.CHECK, closed=True, dash=Dash.SOLID, height=height)


def _multiples(half: float, square: float) -> list[float]:
    """Return the multiples of a square inside ± half, less those too near to the edge to tell."""
    count = max(0, math.floor((half - 10.0) / square))
    return [step * square for step in range(-count, count + 1)]


def _line(
    start: tuple[float, float], end: tuple[float, float], middle: bool, height: float
) -> Stroke:
    dash = Dash.CHAIN if middle else Dash.SOLID
    return Stroke((start, end), Role.CHECK, _THIN, dash=dash, height=height)


def _figure(
    anchor: tuple[float, float], figure: str, align: tuple[float, float], height: float
) -> Text:
    return Text(anchor, figure, Role.CHECK, _CAP, align, height=height)


def _figured(value: float) -> str:
    return f"{'−' if value < 0 else ''}{abs(value):.0f}"
