"""How a photo shows a plane through a lens: to predict where corners are, and find false ones.

Two maps. `LensView` is a homography with one radial term, `PlaneView` adds a cubic for
what is left: the projector's own lens, a bowed surface, a photo that was cropped.
The solver has the full models; here the map must be quick, smooth and robust.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points
from calibration.model import homography
from calibration.model.trust_region import Evaluated, least_squares, soft_l1

MOST_DISTORTION = 0.8
"""Largest radial term, of the half diagonal; wide-angle webcams stay within 0.4."""

_ROUNDS = 6
_CAUCHY = 2.385
"""Scale of Cauchy weights in standard deviations: 95 % efficient on clean data
(Holland & Welsch, 1977)."""

_ROBUST_SCALE = 0.5  # px: residuals beyond it count less and less
_LEAST_FOR_LENS = 12


@dataclass(frozen=True, eq=False)
class LensView:
    """A plane seen through a lens with one radial term.

    ``photo = centre + r q (1 + k |q|²)`` with ``q = H(plane)`` in half diagonals r of the
    photo.

    Attributes
    ----------
    homography : ndarray, shape (3, 3)
        q_from_plane.
    k : float
        Radial distortion.
    centre : ndarray, shape (2,)
        Middle of the photo, px.
    half_diagonal : float
        px.
    """

    homography: homography.Homography
    k: float
    centre: NDArray[np.float64]
    half_diagonal: float

    @classmethod
    def straight(cls, plane: Points, photo: Points, size: tuple[int, int]) -> LensView:
        """Return the view without distortion that fits points best.

        Raises
        ------
        homography.DegeneratePointsError
            If the points do not fix a homography.
        """
        centre, half = (np.array(size) - 1.0) / 2, float(np.hypot(*size)) / 2
        return cls(homography.fit(plane, (photo - centre) / half), 0.0, centre, half)

    def photo_from_plane(self, points: ArrayLike) -> Points:
        """Map points of the plane, shape (N, 2), to photo px, shape (N, 2)."""
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            q = homography.apply(self.homography, points)
            bend = 1.0 + self.k * (q * q).sum(axis=1, keepdims=True)
            return np.asarray(self.centre + self.half_diagonal * q * bend)

    def slopes(self, points: Points) -> tuple[Points, NDArray[np.float64], NDArray[np.float64]]:
        """Return the photo px of points of the plane, shape (N, 2), and their derivatives.

        Those by the homography's first eight entries and k, shape (N, 2, 9), and by the point,
        shape (N, 2, 2).
        """
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            matrix = self.homography
            below = points @ matrix[2, :2] + matrix[2, 2]
            q = (points @ matrix[:2, :2].T + matrix[:2, 2]) / below[:, None]
            square = (q * q).sum(axis=1)
            bend = 1.0 + self.k * square
            by_q = 2 * self.k * q[:, :, None] * q[:, None, :]
            by_q[:, 0, 0] += bend
            by_q[:, 1, 1] += bend
            by_q *= self.half_diagonal
            rows = np.column_stack([points, np.ones(len(points))]) / below[:, None]
            q_by_entry = np.zeros((len(points), 2, 8))
            q_by_entry[:, 0, 0:3] = q_by_entry[:, 1, 3:6] = rows
            q_by_entry[:, :, 6:8] = -q[:, :, None] * rows[:, None, :2]
            q_by_point = (matrix[:2, :2] - q[:, :, None] * matrix[2, :2]) / below[:, None, None]
            by_lens = np.concatenate(
                [by_q @ q_by_entry, (self.half_diagonal * q * square[:, None])[:, :, None]], axis=2
            )
            pixels = self.centre + self.half_diagonal * q * bend[:, None]
        return pixels, by_lens, by_q @ q_by_point

    def plane_from_photo(self, pixels: ArrayLike) -> Points:
        """Map photo px, shape (N, 2), to points of the plane, shape (N, 2)."""
        return homography.apply(homography.invert(self.homography), self._undistorted(pixels))

    def through_same_lens(self, plane: Points, photo: Points) -> LensView:
        """Return how the lens shows another plane, of which some points, shape (N, 2), are seen.

        Raises
        ------
        homography.DegeneratePointsError
            If the points do not fix a homography.
        """
        return replace(self, homography=homography.fit(plane, self._undistorted(photo)))

    def _undistorted(self, pixels: ArrayLike) -> Points:
        """Return photo px as half diagonals from the middle, without distortion."""
        distorted = (as_points(pixels) - self.centre) / self.half_diagonal
        q = distorted
        for _ in range(20):
            q = distorted / (1.0 + self.k * (q * q).sum(axis=1, keepdims=True))
        return np.asarray(q)


@dataclass(frozen=True, eq=False)
class PlaneView:
    """A `LensView` and a polynomial in the plane's coordinates for what it leaves, px.

    Attributes
    ----------
    lens : LensView
    coefficients : ndarray, shape (T, 2)
        px for each term of the polynomial; T is 0 where there are too few points.
    centre, half_extent : ndarray, shape (2,)
        Where the plane's coordinates are scaled to -1 ... 1.
    """

    lens: LensView
    coefficients: NDArray[np.float64]
    centre: NDArray[np.float64]
    half_extent: NDArray[np.float64]

    def __call__(self, points: ArrayLike) -> Points:
        """Map points of the plane, shape (N, 2), to photo px, shape (N, 2)."""
        plane = as_points(points)
        seen = self.lens.photo_from_plane(plane)
        if len(self.coefficients) == 0:
            return seen
        x, y = ((plane - self.centre) / self.half_extent).T
        # As `_terms` times the coefficients, by Horner's rule: patches have many points.
        filled = np.zeros((10, 2))
        filled[: len(self.coefficients)] = self.coefficients
        for axis, (o, a, b, aa, ab, bb, aaa, aab, abb, bbb) in enumerate(filled.T):
            along = o + x * (a + x * (aa + x * aaa + y * aab) + y * ab)
            seen[:, axis] += along + y * (b + y * (bb + x * abb + y * bbb))
        return seen


def fit(plane: ArrayLike, photo: ArrayLike, size: tuple[int, int]) -> PlaneView:
    """Fit a view to points, robustly: a few wrong ones do not pull it.

    Parameters
    ----------
    plane, photo : array_like, shape (N, 2), N >= 4
    size : tuple of int
        Width and height of the photo, px.

    Raises
    ------
    homography.DegeneratePointsError
        If the points do not fix a homography.
    """
    source, target = as_points(plane), as_points(photo)
    lens = _fit_lens(source, target, size)
    centre = (source.min(axis=0) + source.max(axis=0)) / 2
    half_extent = np.maximum(np.ptp(source, axis=0) / 2, 1e-9)
    count = _number_of_terms(len(source))
    basis = _terms((source - centre) / half_extent, count)
    rest = target - lens.photo_from_plane(source)
    weights = np.ones(len(source))
    coefficients: NDArray[np.float64] = np.zeros((count, 2))
    for _ in range(_ROUNDS if count else 0):
        miss = np.linalg.norm(rest - basis @ coefficients, axis=1)
        spread = max(1.4826 * float(np.median(miss)), 0.02)
        weights = 1.0 / (1.0 + (miss / (_CAUCHY * spread)) ** 2)
        root = np.sqrt(weights)[:, None]
        solved = np.linalg.lstsq(basis * root, rest * root, rcond=None)[0]
        coefficients = np.asarray(solved, np.float64)
    return PlaneView(lens, coefficients, centre, half_extent)


def _fit_lens(plane: Points, photo: Points, size: tuple[int, int]) -> LensView:
    start = LensView.straight(plane, photo, size)
    if len(plane) < _LEAST_FOR_LENS:
        return start
    matrix = (start.homography / start.homography[2, 2]).ravel()
    scale = np.append(np.abs(matrix[:8]) + 1e-6, 1.0)

    def view(x: NDArray[np.float64]) -> LensView:
        distorted = np.append(x[:8] * scale[:8], 1.0).reshape(3, 3)
        return LensView(distorted, float(x[8]), start.centre, start.half_diagonal)

    def bent(x: NDArray[np.float64]) -> Evaluated:
        pixels, slope, _ = view(x).slopes(plane)
        return Evaluated((pixels - photo).ravel(), (slope * scale).reshape(-1, 9))

    def solved(free: int, first: NDArray[np.float64]) -> NDArray[np.float64]:
        def at(part: NDArray[np.float64]) -> Evaluated:
            here = bent(np.append(part, first[free:]))
            return Evaluated(here.residuals, here.jacobian[:, :free])

        found = least_squares(at, first[:free], soft_l1(_ROBUST_SCALE), 40)
        return np.append(found.point, first[free:])

    best = solved(9, np.append(matrix[:8] / scale[:8], 0.0))
    if abs(best[8]) > MOST_DISTORTION:
        best = solved(8, np.append(best[:8], np.clip(best[8], -MOST_DISTORTION, MOST_DISTORTION)))
    return view(best)


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
