"""Plane-to-plane projective maps, in double precision throughout.

Fitted once and inverted where the other direction is needed: two separate fits
would disagree with each other. (OpenCV's `findHomography` works in single
precision inside and is off by about 4e-5 px on exact data.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points

Homography = NDArray[np.float64]
"""Shape (3, 3), ``target_from_source``, scaled to Frobenius norm 1."""

DEGENERATE = 1e-9
"""Smallest acceptable ratio of the DLT's eighth to its first singular value: exact
general data stay above 1e-3, points on one line fall to rounding (1e-16)."""


class DegeneratePointsError(ValueError):
    """The points do not fix a homography: fewer than four, or too many on one line."""


def fit(source: ArrayLike, target: ArrayLike, refined: bool = True) -> Homography:
    """Return the homography that maps source points to target points.

    The normalised direct linear transform (Hartley & Zisserman, Multiple View
    Geometry, 2nd ed., Algorithm 4.2), then optionally a few Gauss-Newton steps
    that minimise the squared distance in the target frame (their section 4.2.3,
    transfer error in one image).

    Parameters
    ----------
    source, target : array_like, shape (N, 2), N >= 4
    refined : bool
        Whether to minimise the distance in the target frame.

    Raises
    ------
    DegeneratePointsError
        If the points do not fix a homography.
    """
    start, end = as_points(source), as_points(target)
    if start.shape != end.shape or len(start) < 4:
        raise DegeneratePointsError("a homography needs four or more pairs of points")
    into_source, into_target = _normaliser(start), _normaliser(end)
    p, q = apply(into_source, start), apply(into_target, end)
    matrix = _direct(p, q)
    if refined:
        matrix = _polished(matrix, p, q)
    return normalised(np.linalg.inv(into_target) @ matrix @ into_source)


def apply(matrix: Homography, points: ArrayLike) -> Points:
    """Map points, shape (N, 2), by ``target_from_source``; shape (N, 2)."""
    source = as_points(points)
    mapped = source @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def invert(matrix: Homography) -> Homography:
    """Return ``source_from_target``."""
    return normalised(np.linalg.inv(matrix))


def compose(second: Homography, first: Homography) -> Homography:
    """Return the map that applies `first`, then `second`."""
    return normalised(second @ first)


def normalised(matrix: ArrayLike) -> Homography:
    """Scale a homography to norm 1 and the sign that makes its determinant positive."""
    array = np.asarray(matrix, dtype=np.float64)
    sign = -1.0 if np.linalg.det(array) < 0 else 1.0
    return np.asarray(sign * array / np.linalg.norm(array))


def _normaliser(points: Points) -> Homography:
    """Return the similarity that brings points to centroid 0 and mean distance sqrt(2)."""
    middle = points.mean(axis=0)
    distance = np.linalg.norm(points - middle, axis=1).mean()
    if not np.isfinite(distance) or distance == 0:
        raise DegeneratePointsError("the points lie on one spot")
    scale = np.sqrt(2.0) / distance
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])


def _direct(source: Points, target: Points) -> Homography:
    """Solve the direct linear transform for normalised points."""
    x, y = source.T
    u, v = target.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    across = np.stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u], axis=1)
    down = np.stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v], axis=1)
    equations = np.vstack([across, down])
    # Four points give eight equations, and the ninth direction only in full.
    _, sizes, rows = np.linalg.svd(equations, full_matrices=len(equations) < 9)
    if sizes[7] < DEGENERATE * sizes[0]:
        raise DegeneratePointsError("too many of the points lie on one line")
    return np.asarray(rows[8].reshape(3, 3))


def _polished(matrix: Homography, source: Points, target: Points) -> Homography:
    """Minimise the squared distance in the target frame by Gauss-Newton."""
    best, cost = matrix, _cost(matrix, source, target)
    for _ in range(10):
        homogeneous = np.column_stack([source, np.ones(len(source))])
        mapped = homogeneous @ best.T
        depth = mapped[:, 2:]
        flat = mapped[:, :2] / depth
        rows = homogeneous / depth
        slope = np.zeros((len(source), 2, 9))
        slope[:, 0, 0:3] = rows
        slope[:, 1, 3:6] = rows
        slope[:, :, 6:9] = -flat[:, :, None] * rows[:, None, :]
        # The scale of the matrix is free: `lstsq` takes the smallest step and so leaves it alone.
        step = np.linalg.lstsq(slope.reshape(-1, 9), (target - flat).ravel(), rcond=1e-12)[0]
        moved = normalised(best + step.reshape(3, 3))
        moved_cost = _cost(moved, source, target)
        if not moved_cost < cost:
            break
        gain, best, cost = cost - moved_cost, moved, moved_cost
        if gain < 1e-14 * cost:
            break
    return best


def _cost(matrix: Homography, source: Points, target: Points) -> float:
    return float(np.sum((apply(matrix, source) - target) ** 2))
