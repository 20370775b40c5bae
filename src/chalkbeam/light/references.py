"""Ticks to lay by: where the garment's edges pass the platen's, and the sheet's own middle.

What hangs over an edge gets no light. A tick on the edge, with how far beyond it the seam must
hang, is something to hold a ruler to on both sides alike.
"""

from __future__ import annotations

import numpy as np
import shapely

from calibration.geometry import XY
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.garments import Face
from chalkbeam.light.free_room import BORDER, text_shape
from chalkbeam.light.labels import SMALL_CAP
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Loading, end_laid_by
from overlay.marks import Dash, Mark, Role, Stroke, Text

TICK = 12.0
"""Length of a tick, mm."""
CREASE = 25.0
"""How far the sheet's own middle lines are lit beyond its edges, mm."""
OFF = 0.5
"""A sheet whose ink lies no further off its middle than this, mm, is laid by either."""
INSIDE = 40.0
"""How far from the platen's end its lower pair of ticks stands, mm, where the hem is beyond."""


def edge_ticks(placement: Placement, loading: Loading, unit: Unit) -> list[Mark]:
    """Return ticks on the platen's sides where the garment's side seams hang over, and how far.

    A pair at the armpits' level, and one at the hem or near the platen's end.
    """
    face, pose = placement.face, loading.platen_from_garment
    sides = [face.across.get(name) for name in ("left_side_seam", "right_side_seam")]
    if face.name not in ("front", "back") or sides[0] is None or sides[1] is None:
        return []
    plate = loading.platen.face
    along = 0 if loading.collar in ("away", "towards") else 1
    half = (plate.width, plate.depth)[along] / 2
    end = (plate.depth, plate.width)[along] / 2
    marks: list[Mark] = []
    for name, level in _levels(face, loading, end):
        for side in sides:
            if side is None:
                continue
            point = pose.apply([(side.value, level)])[0]
            over = abs(float(point[along])) - half
            if over < 1.0 or abs(float(point[1 - along])) > end - TICK:
                continue
            marks += _tick(point, along, half, loading.height, f"{name}{_over(over, unit)}")
    return [mark for mark in marks if _fits(mark, shapely.Polygon(plate.outline()))]


def _over(over: float, unit: Unit) -> str:
    return f"{format_length(over, unit)} over"


def _levels(face: Face, loading: Loading, end: float) -> list[tuple[str, float]]:
    """Return the levels of the garment to mark at both sides, with what is there."""
    found = []
    pit, hem = face.along.get("pit_line"), face.along.get("hem")
    if pit is not None:
        found.append(("armpit ", pit.value))
    if hem is not None:
        last = loading.overhang + 2 * end - INSIDE
        found.append(("hem ", hem.value) if hem.value < last else ("side ", last))
    return found


def _tick(point: np.ndarray, along: int, half: float, height: float, words: str) -> list[Mark]:
    """Return a tick on a side of the platen, and words within it."""
    sign = float(np.sign(point[along]))
    ends = [sign * half, sign * (half - TICK)]
    other = float(point[1 - along])
    tip: tuple[XY, ...] = tuple((end, other) if along == 0 else (other, end) for end in ends)
    tick = Stroke(tip, Role.LOAD, 2.0, dash=Dash.SOLID, height=height)
    if along:  # along the near and the far edge words would run into one another
        return [tick]
    inner = (sign * (half - TICK - BORDER), other)
    text = Text(inner, words, Role.LOAD, SMALL_CAP, (0.0 if sign < 0 else 1.0, 0.5), 0.0, height)
    return [tick, text]


def _fits(mark: Mark, plate: shapely.Polygon) -> bool:
    return not isinstance(mark, Text) or bool(plate.contains(text_shape(mark)))


def _hem_words(placement: Placement, loading: Loading, unit: Unit) -> str:
    """Return how far the hem hangs over the end opposite the collar; empty where it is lit."""
    face = placement.face
    hem = face.along.get("hem")
    if face.name not in ("front", "back") or hem is None:
        return ""
    plate = loading.platen.face
    deep = plate.depth if loading.collar in ("away", "towards") else plate.width
    over = hem.value - loading.overhang - deep
    return f"hem {_over(over, unit)}" if over > 1.0 else ""


def load_words(placement: Placement, loading: Loading, unit: Unit) -> list[str]:
    """Return what the eye cannot see in the light: how far the garment hangs over, each way."""
    face = placement.face
    origin, _, over = end_laid_by(placement, loading)
    if abs(over) < 1.0:
        words = [f"{origin} on the edge"]
    else:
        side = "over" if over > 0 else "inside"
        words = [f"{origin} {format_length(abs(over), unit)} {side} the edge"]
    if hem := _hem_words(placement, loading, unit):
        words.append(hem)
    sides = [face.across.get(name) for name in ("left_side_seam", "right_side_seam")]
    level = face.along.get("pit_line")
    if level is None or sides[0] is None or sides[1] is None:
        return words
    ends = loading.platen_from_garment.apply([(side.value, level.value) for side in sides if side])
    axis = 0 if loading.collar in ("away", "towards") else 1
    half = (loading.platen.face.width, loading.platen.face.depth)[axis] / 2
    low, high = -half - ends[:, axis].min(), ends[:, axis].max() - half
    if min(low, high) < 1.0:
        return words
    if abs(low - high) < 1.0:
        return [*words, f"sides {format_length(low, unit)} over, both alike"]
    names = ("left", "right") if axis == 0 else ("near", "far")
    return [
        *words,
        f"sides {format_length(low, unit)} over {names[0]}, {format_length(high, unit)} {names[1]}",
    ]


def sheet_lines(placement: Placement, loading: Loading) -> list[Mark]:
    """Return the sheet's middle lines beyond its edges, for its crease or a grid on the carrier."""
    sheet, height = placement.artwork.sheet, loading.height
    pose = loading.platen_from_garment @ placement.garment_from_art
    x, y = sheet.centre
    plate = shapely.Polygon(loading.platen.face.outline()).buffer(-2.0)
    marks: list[Mark] = []
    for start, end in (
        ((x, sheet.top), (x, sheet.top - CREASE)),
        ((x, sheet.bottom), (x, sheet.bottom + CREASE)),
        ((sheet.left, y), (sheet.left - CREASE, y)),
        ((sheet.right, y), (sheet.right + CREASE, y)),
    ):
        line = shapely.LineString(pose.apply([start, end])).intersection(plate)
        if line.geom_type == "LineString" and line.length > TICK / 2:
            points = tuple((float(u), float(v)) for u, v in line.coords)
            marks.append(Stroke(points, Role.LAY, 0.8, dash=Dash.SOLID, height=height))
    return marks


def sheet_words(placement: Placement, unit: Unit) -> str:
    """Return how far the ink lies off the sheet's middle, as the operator sees it; else nothing."""
    ink, sheet = placement.artwork.ink.centre, placement.artwork.sheet.centre
    x, y = ink[0] - sheet[0], ink[1] - sheet[1]
    parts = [
        f"{format_length(abs(by), unit)} {way[by > 0]}"
        for by, way in ((x, ("left", "right")), (y, ("up", "down")))
        if abs(by) > OFF
    ]
    return f"ink {' and '.join(parts)} of the sheet's middle" if parts else ""
