"""Points, rigid transforms and polylines in the plane. Imports numpy only.

Frames (DEVELOPERS.md, "Frames and numbers"): lengths are millimetres, angles
radians, everything float64. A transform is named ``target_from_source`` so
that compositions read by adjacency:
``platen_from_garment @ garment_from_artwork`` is ``platen_from_artwork``.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Points = NDArray[np.float64]
"""Array of shape (N, 2) or (N, 3), float64."""

XY = tuple[float, float]
"""One immutable point of the plane, for values that must hash and compare."""


def as_points(points: ArrayLike, dimension: int = 2) -> Points:
    """Return `points` as a float64 array of shape (N, dimension).

    Parameters
    ----------
    points : array_like, shape (N, dimension) or (dimension,)
        One point or many, in any frame.
    dimension : int
        Number of coordinates of a point.

    Raises
    ------
    ValueError
        If the shape does not fit.
    """
    array = np.asarray(points, dtype=np.float64)
    if array.ndim == 2 and array.shape[1] == dimension:
        return array
    if array.size == 0:
        return np.zeros((0, dimension))
    array = np.atleast_2d(array)
    if array.ndim != 2 or array.shape[1] != dimension:
        raise ValueError(f"expected points of shape (N, {dimension}), got {array.shape}")
    return array


@dataclass(frozen=True)
class Isometry:
    """A distance-keeping map of the plane: turn, optional mirror, shift.

    ``target = R(angle) @ diag(1, -1 if mirrored else 1) @ source + (x, y)``

    The mirror is needed because the garment frame has y down and the platen
    frame y away from the operator (up, as seen from above).

    Attributes
    ----------
    x, y : float
        Where the source frame's origin lies in the target frame, mm.
    angle : float
        Counter-clockwise turn in the target frame, radians.
    mirrored : bool
        Whether the source's y axis is flipped before the turn.
    """

    x: float = 0.0
    y: float = 0.0
    angle: float = 0.0
    mirrored: bool = False

    @classmethod
    def nearest(cls, source: Points, target: Points) -> Isometry:
        """Return the shift and turn that bring source points nearest to target points.

        Least squares in closed form (Umeyama 1991, without scale; in the plane the turn is
        the angle of the summed dot and cross products).

        Parameters
        ----------
        source, target : ndarray, shape (N, 2)
        """
        middle, goal = source.mean(axis=0), target.mean(axis=0)
        a, b = source - middle, target - goal
        cross = float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))
        turn = cls(angle=math.atan2(cross, float(np.sum(a * b))))
        x, y = goal - turn.matrix @ middle
        return cls(float(x), float(y), turn.angle)

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The linear part, shape (2, 2)."""
        c, s = math.cos(self.angle), math.sin(self.angle)
        flip = -1.0 if self.mirrored else 1.0
        return np.array([[c, -s * flip], [s, c * flip]])

    def apply(self, points: ArrayLike) -> Points:
        """Map points of the source frame, shape (N, 2), to the target frame, shape (N, 2)."""
        here = as_points(points)
        turned = here @ self.matrix.T if self.angle != 0.0 or self.mirrored else here
        return np.add(turned, (self.x, self.y))

    def inverse(self) -> Isometry:
        """Return ``source_from_target``."""
        angle = self.angle if self.mirrored else -self.angle
        turned = Isometry(0.0, 0.0, angle, self.mirrored)
        x, y = -turned.matrix @ (self.x, self.y)
        return Isometry(float(x), float(y), angle, self.mirrored)

    def __matmul__(self, first: Isometry) -> Isometry:
        """Compose: ``(a @ b).apply(p) == a.apply(b.apply(p))``."""
        x, y = self.matrix @ (first.x, first.y) + (self.x, self.y)
        turn = -first.angle if self.mirrored else first.angle
        return Isometry(float(x), float(y), self.angle + turn, self.mirrored is not first.mirrored)


def rectangle(
    width: float, depth: float, corner_radius: float = 0.0, arc_step: float = 2.0
) -> Points:
    """Return the outline of a rectangle about the origin, counter-clockwise, not repeated.

    Parameters
    ----------
    width, depth : float
        Extent along x and y, mm.
    corner_radius : float
        Radius of the rounded corners, mm; clipped to half the shorter side.
    arc_step : float
        Longest chord on the rounded corners, mm.

    Returns
    -------
    ndarray, shape (N, 2), mm
    """
    half_w, half_d = width / 2, depth / 2
    radius = min(corner_radius, half_w, half_d)
    if radius <= 0:
        return np.array(
            [[-half_w, -half_d], [half_w, -half_d], [half_w, half_d], [-half_w, half_d]]
        )
    count = max(2, math.ceil(radius * math.pi / 2 / arc_step) + 1)
    quarter = np.linspace(0, math.pi / 2, count)
    centres = [(1, -1, -math.pi / 2), (1, 1, 0.0), (-1, 1, math.pi / 2), (-1, -1, math.pi)]
    arcs = [
        np.column_stack(
            [
                sx * (half_w - radius) + radius * np.cos(start + quarter),
                sy * (half_d - radius) + radius * np.sin(start + quarter),
            ]
        )
        for sx, sy, start in centres
    ]
    return np.vstack(arcs)


def resample(points: ArrayLike, step: float, closed: bool = False) -> Points:
    """Return the polyline with extra vertices so that no segment is longer than `step`.

    Original vertices are kept, so corners stay sharp. Straight lines in
    millimetres become curves once a lens bends them: subdivide first, map after.

    Parameters
    ----------
    points : array_like, shape (N, 2)
        Vertices in any frame.
    step : float
        Longest segment allowed, in the units of `points`; must be positive.
    closed : bool
        Whether a segment joins the last vertex to the first. The first vertex is
        not repeated at the end of the result.

    Returns
    -------
    ndarray, shape (M, 2), M >= N
    """
    if step <= 0:
        raise ValueError(f"step must be positive, got {step}")
    vertices = as_points(points)
    if len(vertices) < 2:
        return vertices.copy()
    ring = np.vstack([vertices, vertices[:1]]) if closed else vertices
    pieces: list[Points] = []
    for start, end in itertools.pairwise(ring):
        count = max(1, math.ceil(float(np.hypot(*(end - start))) / step))
        fractions = np.arange(count)[:, None] / count
        pieces.append(start + (end - start) * fractions)
    if not closed:
        pieces.append(ring[-1:])
    return np.vstack(pieces)


def xy_tuple(points: ArrayLike | Sequence[XY]) -> tuple[XY, ...]:
    """Return points of shape (N, 2) as a tuple of (x, y) floats, which hashes and compares."""
    return tuple((x, y) for x, y in as_points(points).tolist())


@dataclass(frozen=True)
class PlatenFace:
    """The lower plate's top face, a rounded rectangle centred on the platen frame's origin.

    Attributes
    ----------
    width : float
        Extent along x (the operator's left to right), mm.
    depth : float
        Extent along y (towards to away from the operator), mm.
    corner_radius : float
        Radius of the rounded corners, mm.
    """

    width: float
    depth: float
    corner_radius: float = 0.0

    def outline(self) -> Points:
        """Return the edge in the platen frame, mm, shape (N, 2), counter-clockwise."""
        return rectangle(self.width, self.depth, self.corner_radius)
