"""The few curves and bands that patterns are drawn with. Frame: the caller's, mm."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import shapely

from calibration.geometry import XY, Points, as_points


def smooth(points: Sequence[XY], count: int = 17) -> Points:
    """Return a curve from the first point to the last, drawn by those between (a Bézier curve)."""
    t = np.linspace(0.0, 1.0, count)[:, None]
    level = [np.broadcast_to(as_points(point), (count, 2)) for point in points]
    while len(level) > 1:
        level = [(1 - t) * a + t * b for a, b in itertools.pairwise(level)]
    return as_points(level[0])


def bezier(start: XY, first: XY, second: XY, end: XY, count: int = 17) -> Points:
    """Return `count` points of a cubic Bézier curve, ends included; shape (count, 2)."""
    return smooth([start, first, second, end], count)


def through(start: XY, middle: XY, end: XY, count: int = 17) -> Points:
    """Return a parabola from `start` through `middle` (at half its run) to `end`."""
    t = np.linspace(0.0, 1.0, count)[:, None]
    a, b, c = (as_points(p) for p in (start, middle, end))
    curve: Points = (1 - t) ** 2 * a + 2 * t * (1 - t) * (2 * b - (a + c) / 2) + t**2 * c
    return curve


def scoop(half_width: float, depth: float, fullness: float = 2.0, count: int = 33) -> Points:
    """Return a neck curve from (half_width, -depth) over (0, 0) to (-half_width, -depth).

    A superellipse ``|x/half_width|^n + |(y + depth)/depth|^n = 1`` with
    n = `fullness`: 2 is an ellipse (a crew neck), 1 a V.
    """
    t = np.linspace(0.0, math.pi, count)
    c, s = np.cos(t), np.clip(np.sin(t), 0.0, 1.0)
    x = half_width * np.sign(c) * np.abs(c) ** (2 / fullness)
    y = depth * (s ** (2 / fullness) - 1)
    return np.column_stack([x, y])


def mirrored(points: Points) -> Points:
    """Return the points mirrored in the line x = 0, in reverse order (so that outlines go on)."""
    flipped: Points = points[::-1] * (-1.0, 1.0)
    return flipped


def moved(points: Points, down: float) -> Points:
    """Return the points moved down the face by `down` mm."""
    return as_points(np.add(points, (0.0, down)))


def box(x0: float, y0: float, x1: float, y1: float) -> Points:
    """Return the four corners of an upright rectangle."""
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def circle(centre: XY, radius: float, count: int = 24) -> Points:
    """Return a circle as a polygon."""
    t = np.linspace(0, 2 * math.pi, count, endpoint=False)
    return np.column_stack([centre[0] + radius * np.cos(t), centre[1] + radius * np.sin(t)])


def band(line: Points, margin: float, panel: Points | None = None) -> Points:
    """Return the polygon of all points within `margin` of a polyline, inside `panel` if given."""
    shape = shapely.LineString(line).buffer(margin, cap_style="flat", join_style="round")
    if panel is not None:
        shape = shape.intersection(shapely.Polygon(panel))
    if isinstance(shape, shapely.MultiPolygon):
        shape = max(shape.geoms, key=lambda part: part.area)
    return as_points(shape.exterior.coords)[:-1]


def grown(polygon: Points, margin: float) -> Points:
    """Return the polygon grown by `margin` on all sides."""
    return as_points(shapely.Polygon(polygon).buffer(margin, join_style="round").exterior.coords)[
        :-1
    ]


def clipped(ring: Points, panel: Points) -> Points:
    """Return the longest piece of a closed line that lies inside a polygon."""
    pieces = shapely.LinearRing(ring).intersection(shapely.Polygon(panel))
    if isinstance(pieces, shapely.MultiLineString):
        pieces = shapely.line_merge(pieces)
    parts = list(pieces.geoms) if hasattr(pieces, "geoms") else [pieces]
    return as_points(max(parts, key=lambda part: part.length).coords)
