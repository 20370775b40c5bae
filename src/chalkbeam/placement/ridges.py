"""Ridges of a garment under the press's head: how high they are, how near the print, how grave.

A ridge under the head holds it open round about. How far its foam and rubber give way is not
known of anybody's press; here cloth under it keeps half its thickness, and a ridge is made up
for a dozen times its height away. Heights in layers and both figures: from memory.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from calibration.geometry import Points
from chalkbeam.garments import Face
from chalkbeam.placement.clearance import valid
from chalkbeam.placement.values import Severity

CRUSHED = 0.5
"""What cloth keeps of its thickness under the head."""
REACH = 12.0
"""A ridge is made up for so many times its height away."""
GRID = 8.0
"""Ridges are looked for in points so far apart, mm."""

_LAYERS: Mapping[str, tuple[float, float]] = {
    "collar": (2.0, 0.0),
    "placket": (3.0, 0.0),
    "button": (2.0, 3.0),
    "zip": (1.0, 3.0),
    "pocket_edge": (2.0, 0.0),
    "seam": (2.0, 0.0),
    "side_fold": (1.0, 0.0),
    "handle": (3.0, 0.0),
    "hood": (3.0, 0.0),
}
"""Layers of cloth above the one that is pressed, and mm of what does not give way."""


@dataclass(frozen=True, eq=False)
class Ridge:
    """One ridge of a face.

    Attributes
    ----------
    name, kind : str
        As of the garment's area.
    height : float
        Under the head, mm.
    shape : shapely geometry
        Garment frame, mm.
    hard : bool
        Whether ink never goes there.
    """

    name: str
    kind: str
    height: float
    shape: BaseGeometry
    hard: bool

    @property
    def solid(self) -> bool:
        """Whether it holds the head open wherever it lies under it: buttons, zips, a hood."""
        return self.kind in ("button", "zip", "hood")

    @property
    def reach(self) -> float:
        """How far away it still takes pressure off the print, mm."""
        return REACH * self.height

    def weight(self, distance: float) -> Severity:
        """Return how grave it is under the head, so far from the ink, mm."""
        near = self.solid or distance < self.reach
        return Severity.CAUTION if near else Severity.NOTE


@dataclass(frozen=True, eq=False)
class RidgePoints:
    """A face's ridges as points, shape (N, 2), garment frame, mm, and what each point bears."""

    points: Points
    height: NDArray[np.float64]
    reach: NDArray[np.float64]


@functools.lru_cache(maxsize=2048)
def ridges(face: Face, thickness: float) -> tuple[Ridge, ...]:
    """Return the ridges of a face whose cloth is so thick, mm."""
    found: list[tuple[str, str, Points, bool]] = []
    for area in face.areas:
        if area.kind in _LAYERS:
            found.append((area.name, area.kind, area.polygon, area.hard))
    for line in face.lines:  # a hood hangs from the neck; ink never reaches it, the head may
        if line.name == "hood" and line.closed:
            found.append(("hood", "hood", line.points, True))
    made = []
    for name, kind, polygon, hard in found:
        layers, solid = _LAYERS[kind]
        shape = valid(shapely.Polygon(polygon))
        shapely.prepare(shape)
        made.append(Ridge(name, kind, CRUSHED * layers * thickness + solid, shape, hard))
    return tuple(made)


@functools.lru_cache(maxsize=2048)
def ridge_points(face: Face, thickness: float) -> RidgePoints:
    """Return points all over the ridges of a face."""
    points: list[Points] = [np.zeros((0, 2))]
    bears: list[NDArray[np.float64]] = [np.zeros((0, 2))]
    for ridge in ridges(face, thickness):
        x0, y0, x1, y1 = ridge.shape.bounds
        grid = np.meshgrid(np.arange(x0 + GRID / 2, x1, GRID), np.arange(y0 + GRID / 2, y1, GRID))
        over = np.stack(grid, axis=-1).reshape(-1, 2)
        rim = shapely.get_coordinates(shapely.segmentize(ridge.shape.boundary, GRID))
        inside = np.vstack([over[shapely.contains_xy(ridge.shape, over)], rim])
        points.append(inside)
        reach = np.inf if ridge.solid else ridge.reach
        bears.append(np.tile([ridge.height, reach], (len(inside), 1)))
    height, reach_of = np.vstack(bears).T
    return RidgePoints(np.vstack(points), height, reach_of)
