"""The ink's outer edges, simplified to what light on cloth can show."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box, union_all
from shapely.geometry.base import BaseGeometry

from calibration.geometry import XY, xy_tuple
from chalkbeam.artwork.line_boxes import line_boxes

PIXELS_PER_MM = 4.0
"""Finer than a projector's pixel on a platen (about 0.4 mm)."""
NARROWEST_GAP = 3.0
"""Gaps narrower than this close up: two lines of light side by side fill them anyway, mm."""
SIMPLIFY = 0.2
"""Farthest the simplified outline strays from the ink's edge, mm; below a projector's pixel."""
SMALLEST = 2.0
"""Outlines smaller than this each way are points of light, not shapes, mm."""
MOST_RINGS = 24
"""More separate shapes than this confuse: gaps are closed further until no more are left."""


def outline(mask: NDArray[np.bool_], pixels_per_mm: float) -> tuple[tuple[XY, ...], ...]:
    """Return the outer edges of ink as polygons, mm from the mask's top left corner, y down.

    A level line of small lettering is the box around it.

    Parameters
    ----------
    mask : ndarray, shape (h, w), bool
        Ink, cropped to its bounds.
    pixels_per_mm : float
    """
    found, rest = line_boxes(mask, pixels_per_mm)
    lines = [box(x, y, x + w, y + h) for x, y, w, h in (found / pixels_per_mm).tolist()]
    if not lines or len(lines) > MOST_RINGS:
        return _outline(mask, pixels_per_mm, MOST_RINGS)
    others = _outline(rest, pixels_per_mm, MOST_RINGS - len(lines)) if rest.any() else ()
    shapes = [Polygon(ring) for ring in others]
    half = NARROWEST_GAP / 2  # of a gap that lines of light would fill
    blocks = union_all(lines).buffer(half, join_style="mitre").buffer(-half, join_style="mitre")
    return tuple(simplify(union_all([*shapes, blocks])))


def _outline(
    mask: NDArray[np.bool_], pixels_per_mm: float, most: int
) -> tuple[tuple[XY, ...], ...]:
    """Return the outer edges of ink, gaps closed until there are no more shapes than `most`."""
    height, width = mask.shape
    size = (
        max(1, round(width / pixels_per_mm * PIXELS_PER_MM)),
        max(1, round(height / pixels_per_mm * PIXELS_PER_MM)),
    )
    shrinking = size[0] <= width
    resized = cv2.resize(
        mask.astype(np.float32),
        size,
        interpolation=cv2.INTER_AREA if shrinking else cv2.INTER_LINEAR,
    )
    # Thin strokes must survive the shrinking; edges must not wander when growing.
    work = (resized > (0.2 if shrinking else 0.5)).astype(np.uint8)
    step = np.array([width / pixels_per_mm / size[0], height / pixels_per_mm / size[1]])
    gap = NARROWEST_GAP
    while True:
        rings = _rings(work, step, gap)
        if len(rings) <= most or gap > max(height, width) / pixels_per_mm:
            return tuple(rings)
        gap *= 1.6


def outline_of(shape: BaseGeometry) -> tuple[tuple[XY, ...], ...]:
    """Return the outer edges of a shape in mm, gaps closed as in `outline`."""
    gap = NARROWEST_GAP
    left, top, right, bottom = shape.bounds
    while True:
        rings = simplify(shape.buffer(gap / 2, quad_segs=4).buffer(-gap / 2, quad_segs=4))
        if len(rings) <= MOST_RINGS or gap > max(right - left, bottom - top):
            return tuple(rings)
        gap *= 1.6


def simplify(shape: BaseGeometry) -> list[tuple[XY, ...]]:
    """Return the outer rings of a shapely shape in mm, simplified, the specks left out."""
    parts = [part for part in getattr(shape, "geoms", [shape]) if isinstance(part, Polygon)]
    large = [
        part
        for part in parts
        if max(part.bounds[2] - part.bounds[0], part.bounds[3] - part.bounds[1]) >= SMALLEST
    ]
    kept = large or sorted(parts, key=lambda part: part.area)[-1:]
    return [
        xy_tuple(np.asarray(Polygon(part.exterior).simplify(SIMPLIFY).exterior.coords)[:-1])
        for part in kept
    ]


def _rings(work: NDArray[np.uint8], step: NDArray[np.float64], gap: float) -> list[tuple[XY, ...]]:
    radius = max(1, round(gap / 2 * PIXELS_PER_MM))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    padded = np.pad(work, radius + 1)
    closed = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, kernel)
    contours, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    shapes: list[BaseGeometry] = []
    for contour in contours:
        # A contour runs through the middles of the rim's pixels: their edges lie half outside.
        middles = contour.reshape(-1, 2).astype(np.float64) + 0.5 - (radius + 1)
        if len(middles) < 3:
            centre = middles.mean(axis=0)
            shape = Polygon((centre + 0.5 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])) * step)
        else:
            half = 0.5 * float(step.mean())
            shape = Polygon(middles * step).buffer(half, join_style="mitre")
        shapes.append(shape)
    # All at once: what is small is left out only where something larger remains.
    return simplify(union_all(shapes))
