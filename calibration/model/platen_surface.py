"""The lit surface: the platen's face, which is seldom quite flat, and planes raised above it.

A platen that is half a millimetre hollow shifts light by 0.3 mm and, worse, looks to the
solver like another lens. So the face is solved as a shallow bowl or saddle with three
unknowns, known beforehand to be small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.geometry import Points, as_points
from calibration.model.pinhole import Array, Pinhole, meet_height

UNIT = 100.0
"""A bow is given in mm at this distance from the middle, mm: easy to read and well scaled."""

_STEPS = 30


@dataclass(frozen=True)
class Bow:
    """How far a face lies above the plane that touches its middle.

    ``z = xx X^2 + xy X Y + yy Y^2`` with X = x / 100 mm, Y = y / 100 mm.

    Attributes
    ----------
    xx, xy, yy : float
        mm.
    """

    xx: float = 0.0
    xy: float = 0.0
    yy: float = 0.0

    @property
    def vector(self) -> Array:
        """The three coefficients, shape (3,)."""
        return np.array([self.xx, self.xy, self.yy])

    def at(self, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return points of the surface, or of a sheet `height` above it.

        Parameters
        ----------
        points : array_like, shape (N, 2), platen frame, mm
        height : float or array_like of shape (N,), mm

        Returns
        -------
        ndarray, shape (N, 3), platen frame, mm
        """
        flat = as_points(points)
        at = np.empty((len(flat), 3))
        at[:, :2] = flat
        at[:, 2] = np.asarray(height, dtype=np.float64) + basis(flat) @ self.vector
        return at

    def slope(self, points: Points) -> Array:
        """Return the derivative of the height by x and y, shape (N, 2), mm per mm."""
        x, y = points.T / UNIT
        across, along = 2 * self.xx * x + self.xy * y, self.xy * x + 2 * self.yy * y
        return np.column_stack([across, along]) / UNIT


FLAT = Bow()


def basis(points: Points) -> Array:
    """Return the derivative of the height by the coefficients, shape (N, 3)."""
    x, y = points.T / UNIT
    values = np.empty((len(points), 3))
    values[:, 0], values[:, 1], values[:, 2] = x * x, x * y, y * y
    return values


def land(pinhole: Pinhole, pixels: ArrayLike, height: ArrayLike = 0.0, bow: Bow = FLAT) -> Points:
    """Return where the rays of pixels meet a sheet above the surface.

    Parameters
    ----------
    pinhole : Pinhole
    pixels : array_like, shape (N, 2), px
    height : float or array_like of shape (N,), mm
    bow : Bow

    Returns
    -------
    ndarray, shape (N, 2), platen frame, mm; nan where a ray does not meet it
    """
    return land_rays(pinhole.lens, pinhole.directions(pixels), height, bow)


def land_rays(lens: Array, directions: Array, height: ArrayLike = 0.0, bow: Bow = FLAT) -> Points:
    """Return where rays from a lens, shape (3,), meet a sheet; as `land`, by directions."""
    above = np.asarray(height, dtype=np.float64)
    points = meet_height(lens, directions, above)
    if bow == FLAT:
        return points
    near, bowed = 1e-11 * abs(lens[2]), bow.vector
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        along = directions[:, :2] / directions[:, 2:]  # mm sideways for each mm up
        for _ in range(_STEPS):  # each step is a hundred times nearer: the bow's slope is small
            rise = above + basis(points) @ bowed
            moved = lens[:2] + (rise - lens[2])[:, None] * along
            far = np.abs(moved - points).max(axis=1)
            points = moved
            if not np.any(far > near):
                break
    return np.where((far <= near)[:, None], points, np.nan)


def on_surface(by_point: Array, slope: Array) -> Array:
    """Return a derivative by (x, y) along the surface, from one by (x, y, z).

    Parameters
    ----------
    by_point : ndarray, shape (N, 2, 3)
    slope : ndarray, shape (N, 2)
        Of the surface's height.

    Returns
    -------
    ndarray, shape (N, 2, 2)
    """
    return np.asarray(by_point[:, :, :2] + by_point[:, :, 2:] * slope[:, None, :])
