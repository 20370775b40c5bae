"""How far light may land from where it is meant, anywhere on the platen, at any height.

The covariance of the solved projector (which already contains the photos' noise, the
cards' laying errors, the print's scale and the spacers' heights) is mapped to the platen:
a pixel chosen for the point X lands at X + dX with ``dX = (du/dX)^-1 du/dp dp``. The
parameters p are the projector's, in the order `pinhole.PARAMETERS`, the bow of the
platen's face (`platen_surface.Bow`) and the bend of the picture (`projector.bend`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import XY, PlatenFace, Points, as_points
from calibration.model.pinhole import Array
from calibration.model.platen_surface import basis, on_surface
from calibration.model.projector import ProjectorMap, bend

STEP = 12.0
"""Spacing of the points that represent the whole platen, mm; the error is smooth over ten
times that."""


@dataclass(frozen=True)
class Worst:
    """The point of the platen where light may be farthest off, at one height.

    Attributes
    ----------
    height : float
        mm above the bare platen.
    point : (x, y)
        Platen frame, mm.
    bound : float
        95 % bound there, mm.
    typical : float
        Root mean square standard error over the whole platen, mm.
    """

    height: float
    point: XY
    bound: float
    typical: float


def landing_covariance(
    projector: ProjectorMap, covariance: ArrayLike, points: ArrayLike, height: ArrayLike = 0.0
) -> Array:
    """Return the covariance of where light lands, shape (N, 2, 2), mm^2.

    Parameters
    ----------
    projector : ProjectorMap
    covariance : array_like, shape (20, 20)
        Of the map's parameters, as `landing_slope` orders them.
    points : array_like, shape (N, 2), platen frame, mm
    height : float or array_like of shape (N,), mm
    """
    slope = landing_slope(projector, points, height)
    spread = np.asarray(covariance, dtype=np.float64)
    return np.asarray(np.einsum("nip,pq,njq->nij", slope, spread, slope, optimize=True))


def landing_slope(projector: ProjectorMap, points: ArrayLike, height: ArrayLike = 0.0) -> Array:
    """Return how far light aimed at points moves for each parameter, shape (N, 2, 20).

    That is the derivative of where the true projector puts the pixels that the solved
    map chose, by the map's parameters: the pinhole's 15, the bow's 3, and 2 for a bend of
    the picture, which every map takes to be zero.
    """
    flat = as_points(points)
    pixels, by_parameter, by_point = projector.pinhole.jacobian(projector.bow.at(flat, height))
    by_bow = by_point[:, :, 2:] * basis(flat)[:, None, :]
    by_place = on_surface(by_point, projector.bow.slope(flat))
    every = np.concatenate([by_parameter, by_bow, bend(pixels, projector.size)], axis=2)
    return np.asarray(np.linalg.solve(by_place, every))


def standard_error(covariances: Array) -> Array:
    """Return the root mean square distance off, sqrt(trace), of each point, shape (N,), mm."""
    return np.asarray(np.sqrt(np.trace(covariances, axis1=1, axis2=2)))


def bound(covariances: Array, freedom: int) -> Array:
    """Return a distance that holds the error in at least 95 % of calibrations, shape (N,), mm.

    The 95 % ellipse of two coordinates is ``e^T C^-1 e < 2 F(0.95; 2, freedom)``
    (Hotelling 1931); its longer half axis bounds the distance whatever the direction,
    so the true share is between 95 % (a round ellipse) and 98.6 % (a thin one).
    """
    longest = np.linalg.eigvalsh(covariances)[:, 1]
    # Of two coordinates F's distribution is 1 - (1 + 2 F / n)^(-n / 2): its quantile is a formula.
    n = max(freedom, 1)
    return np.asarray(np.sqrt(n * math.expm1(2 / n * math.log(20)) * longest))


def over_platen(face: PlatenFace, step: float = STEP) -> Points:
    """Return points that represent the whole platen: a grid up to its edges, shape (N, 2), mm."""
    columns, rows = (int(np.ceil(side / step)) + 1 for side in (face.width, face.depth))
    x = np.linspace(-face.width / 2, face.width / 2, columns)
    y = np.linspace(-face.depth / 2, face.depth / 2, rows)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def worst(
    projector: ProjectorMap,
    covariance: NDArray[np.float64],
    freedom: int,
    face: PlatenFace,
    heights: Sequence[float],
) -> tuple[Worst, ...]:
    """Return the worst point of the platen at each height."""
    points = over_platen(face)
    found = []
    for height in heights:
        spread = landing_covariance(projector, covariance, points, height)
        limits = bound(spread, freedom)
        k = int(np.argmax(limits))
        typical = float(np.sqrt(np.mean(standard_error(spread) ** 2)))
        point = (float(points[k, 0]), float(points[k, 1]))
        found.append(Worst(float(height), point, float(limits[k]), typical))
    return tuple(found)


def place_in_words(point: XY, face: PlatenFace) -> str:
    """Say where on the platen a point is, as its operator would: "the back left corner"."""
    x, y = point[0] / face.width, point[1] / face.depth
    across = "left" if x < -1 / 6 else "right" if x > 1 / 6 else ""
    along = "front" if y < -1 / 6 else "back" if y > 1 / 6 else ""
    if across and along:
        return f"the {along} {across} corner"
    if across or along:
        return f"the middle of the {along or across} edge"
    return "the middle of the platen"
