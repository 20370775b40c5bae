"""How a photo shows a plane through a lens: a homography and what the lens adds to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration import homography
from calibration.geometry import Points, as_points

_ROUNDS = 6
_CAUCHY = 2.385
"""Scale of Cauchy weights in standard deviations: 95 % efficient on clean data
(Holland & Welsch, 1977)."""


@dataclass(frozen=True, eq=False)
class PlaneView:
    """A smooth map from a plane to photo px.

    ``photo = H(p) + B(p) c`` with a polynomial B in the plane's coordinates. Over a
    platen a cubic follows what a webcam's lens does to a homography to a few
    hundredths of a pixel.

    Attributes
    ----------
    homography : ndarray, shape (3, 3)
        photo_from_plane.
    coefficients : ndarray, shape (T, 2)
        px for each term of the polynomial; T is 0 where there are too few points.
    centre, reach : ndarray, shape (2,)
        Where the plane's coordinates are scaled to -1 ... 1.
    """

    homography: NDArray[np.float64]
    coefficients: NDArray[np.float64]
    centre: NDArray[np.float64]
    reach: NDArray[np.float64]

    def __call__(self, points: ArrayLike) -> Points:
        """Map points of the plane, shape (N, 2), to px, shape (N, 2)."""
        plane = as_points(points)
        with np.errstate(divide="ignore", invalid="ignore"):
            straight = homography.apply(self.homography, plane)
        if len(self.coefficients) == 0:
            return straight
        scaled = (plane - self.centre) / self.reach
        return np.asarray(straight + _terms(scaled, len(self.coefficients)) @ self.coefficients)


def fit(
    plane: ArrayLike, photo: ArrayLike, start: homography.Homography | None = None
) -> PlaneView:
    """Fit a view to points, robustly: a few wrong ones do not pull it.

    Parameters
    ----------
    plane, photo : array_like, shape (N, 2), N >= 4
    start : ndarray, shape (3, 3), optional
        A homography known to be free of outliers; else one is fitted to all points.

    Raises
    ------
    homography.DegeneratePointsError
        If the points do not fix a homography.
    """
    source, target = as_points(plane), as_points(photo)
    matrix = homography.fit(source, target) if start is None else start
    centre = (source.min(axis=0) + source.max(axis=0)) / 2
    reach = np.maximum(np.ptp(source, axis=0) / 2, 1e-9)
    count = _number_of_terms(len(source))
    basis = _terms((source - centre) / reach, count)
    rest = target - homography.apply(matrix, source)
    weights = np.ones(len(source))
    coefficients: NDArray[np.float64] = np.zeros((count, 2))
    for _ in range(_ROUNDS if count else 0):
        root = np.sqrt(weights)[:, None]
        coefficients = np.asarray(
            np.linalg.lstsq(basis * root, rest * root, rcond=None)[0], np.float64
        )
        miss = np.linalg.norm(rest - basis @ coefficients, axis=1)
        spread = max(1.4826 * float(np.median(miss)), 0.02)
        weights = 1.0 / (1.0 + (miss / (_CAUCHY * spread)) ** 2)
    return PlaneView(matrix, coefficients, centre, reach)


def _number_of_terms(points: int) -> int:
    """Return how many terms so many points can carry: cubic, quadratic, or none."""
    if points >= 40:
        return 10
    return 6 if points >= 24 else 0


def _terms(scaled: Points, count: int) -> NDArray[np.float64]:
    """Return the first `count` (0, 6 or 10) monomials at each point, shape (N, count)."""
    x, y = scaled.T
    one = np.ones_like(x)
    monomials = [one, x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3]
    return np.stack(monomials[:count], axis=1) if count else np.zeros((len(x), 0))
