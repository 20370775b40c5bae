"""The pinhole with lens distortion: one model for the camera and for the projector.

A projector is a camera run backwards, so `Pinhole` serves both. Model
(Brown 1966; Zhang 2000, section 3.3; the parameter names of OpenCV's
`projectPoints`), for a point X of the platen frame, mm:

    (a, b, c) = R X + t;   x = a / c,  y = b / c,  r2 = x^2 + y^2
    x' = x (1 + k1 r2 + k2 r2^2) + 2 p1 x y + p2 (r2 + 2 x^2)
    y' = y (1 + k1 r2 + k2 r2^2) + p1 (r2 + 2 y^2) + 2 p2 x y
    u = focal x' + skew y' + cx
    v = focal aspect y' + cy

`aspect` differs from 1 for oblong pixels, `skew` from 0 for sheared ones; with
both free and no distortion the model is the general projective camera, which
also describes a projector whose electronics correct keystone.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Self

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points

Array = NDArray[np.float64]

INTRINSIC = ("focal", "cx", "cy", "k1", "k2", "p1", "p2", "aspect", "skew")
POSE = ("rx", "ry", "rz", "tx", "ty", "tz")
PARAMETERS = INTRINSIC + POSE
"""Order of a pinhole's parameters in `Pinhole.vector` and in every Jacobian."""

_INVERSE_STEPS = 12
"""Newton steps for undoing distortion; real lenses need four to reach 1e-12."""


@dataclass(frozen=True)
class Pinhole:
    """A camera or projector looking at the platen; the model is in the module's docstring.

    Attributes
    ----------
    focal : float
        Focal length along the picture's x axis, px.
    cx, cy : float
        Principal point, px; outside the picture for a strongly shifted projector lens.
    k1, k2 : float
        Radial distortion.
    p1, p2 : float
        Tangential distortion.
    aspect : float
        Height of the focal length over its width.
    skew : float
        px.
    rx, ry, rz : float
        Rotation vector of ``pinhole_from_platen``, radians.
    tx, ty, tz : float
        Translation of ``pinhole_from_platen``, mm.
    """

    focal: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    aspect: float = 1.0
    skew: float = 0.0
    rx: float = 0.0
    ry: float = 0.0
    rz: float = 0.0
    tx: float = 0.0
    ty: float = 0.0
    tz: float = 1.0

    @classmethod
    def from_vector(cls, vector: ArrayLike) -> Self:
        """Return the pinhole with parameters `vector`, shape (15,), in the order `PARAMETERS`."""
        return cls(*(float(value) for value in np.asarray(vector, dtype=np.float64)))

    @property
    def vector(self) -> Array:
        """All parameters in the order `PARAMETERS`, shape (15,)."""
        return np.array([getattr(self, field.name) for field in fields(self)])

    @property
    def rotation(self) -> Array:
        """R of ``pinhole_from_platen``, shape (3, 3); read only."""
        return self._turned[0]

    @property
    def rotation_slopes(self) -> Array:
        """Derivatives of R by the rotation vector's components, shape (3, 3, 3); read only."""
        return self._turned[1]

    @cached_property
    def _turned(self) -> tuple[Array, Array]:
        """The rotation and its slopes, which a solver asks for many times."""
        return _rotation(np.array([self.rx, self.ry, self.rz]))

    @property
    def translation(self) -> Array:
        """The translation of ``pinhole_from_platen``, mm, shape (3,)."""
        return np.array([self.tx, self.ty, self.tz])

    @cached_property
    def lens(self) -> Array:
        """Where the lens (centre of projection) is in the platen frame, mm, shape (3,)."""
        return _fixed(-self.rotation.T @ self.translation)

    @property
    def matrix(self) -> Array:
        """The projective matrix ``pixel_from_platen`` without distortion, shape (3, 4)."""
        extrinsic = np.column_stack([self.rotation, self.translation])
        return self.intrinsic_matrix @ extrinsic

    @property
    def intrinsic_matrix(self) -> Array:
        """K, shape (3, 3), upper triangular, px."""
        return np.array(
            [[self.focal, self.skew, self.cx], [0, self.focal * self.aspect, self.cy], [0, 0, 1]]
        )

    def moved(self, rotation: Array, translation: Array) -> Self:
        """Return the pinhole with another ``pinhole_from_platen``.

        Parameters
        ----------
        rotation : ndarray, shape (3, 3)
        translation : ndarray, shape (3,), mm
        """
        vector = cv2.Rodrigues(np.ascontiguousarray(rotation, dtype=np.float64))[0].ravel()
        pose = (float(value) for value in (*vector, *np.asarray(translation).ravel()))
        return replace(self, **dict(zip(POSE, pose, strict=True)))

    def project(self, points: ArrayLike) -> Points:
        """Return the pixels of platen points.

        Parameters
        ----------
        points : array_like, shape (N, 3), platen frame, mm

        Returns
        -------
        ndarray, shape (N, 2), px; nan for points not in front of the lens
        """
        local = as_points(points, 3) @ self.rotation.T + self.translation
        depth = np.where(local[:, 2] > 0, local[:, 2], np.nan)
        distorted = _distort(local[:, :2] / depth[:, None], self)
        return self._pixels(distorted)

    def jacobian(self, points: ArrayLike) -> tuple[Points, Array, Array]:
        """Return the pixels of platen points with their derivatives.

        Parameters
        ----------
        points : array_like, shape (N, 3), platen frame, mm

        Returns
        -------
        pixels : ndarray, shape (N, 2)
        by_parameter : ndarray, shape (N, 2, 15)
            Derivative by the parameters in the order `PARAMETERS`.
        by_point : ndarray, shape (N, 2, 3)
            Derivative by the point.
        """
        world = as_points(points, 3)
        rotation, by_vector = self._turned
        local = world @ rotation.T + self.translation
        depth = np.where(local[:, 2] > 0, local[:, 2], np.nan)
        flat = local[:, :2] / depth[:, None]
        x, y = flat[:, 0].copy(), flat[:, 1].copy()
        at_x, at_y, a, b, d = _distorted(x, y, self)
        distorted, by_flat = _columns(at_x, at_y), _rows((a, b), (b, d))

        r2 = x * x + y * y
        linear = self.intrinsic_matrix[:2, :2]
        xy = 2 * x * y
        by_lens = _rows(
            (x * r2, x * r2 * r2, xy, r2 + 2 * x * x), (y * r2, y * r2 * r2, r2 + 2 * y * y, xy)
        )
        near = 1 / depth
        flat_by_local = _rows((near, 0.0, -x * near), (0.0, near, -y * near))
        by_local = linear @ by_flat @ flat_by_local
        # d(R X)/dr: one (3, 3) slope of R for each component of the rotation vector.
        local_by_vector = np.einsum("kab,nb->nak", by_vector, world)

        by_parameter = np.zeros((len(world), 2, len(PARAMETERS)))
        by_parameter[:, 0, 0] = distorted[:, 0]
        by_parameter[:, 1, 0] = self.aspect * distorted[:, 1]
        by_parameter[:, 0, 1] = 1.0
        by_parameter[:, 1, 2] = 1.0
        by_parameter[:, :, 3:7] = linear @ by_lens
        by_parameter[:, 1, 7] = self.focal * distorted[:, 1]
        by_parameter[:, 0, 8] = distorted[:, 1]
        by_parameter[:, :, 9:12] = by_local @ local_by_vector
        by_parameter[:, :, 12:15] = by_local
        return self._pixels(distorted), by_parameter, by_local @ rotation

    def unproject(self, pixels: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return where the rays of pixels meet a plane parallel to the platen.

        Parameters
        ----------
        pixels : array_like, shape (N, 2), px
        height : float or array_like of shape (N,)
            The plane's height above the bare platen, mm.

        Returns
        -------
        ndarray, shape (N, 2), platen frame, mm; nan where the ray does not meet the plane
        """
        return self.unproject_rays(self.directions(pixels), height)

    def directions(self, pixels: ArrayLike) -> Array:
        """Return the directions of the rays of pixels, shape (N, 3), platen frame."""
        flat = undistort(self, pixels)
        rotation = self.rotation
        return np.asarray(flat @ rotation[:2] + rotation[2])

    def unproject_rays(self, directions: Array, height: ArrayLike = 0.0) -> Points:
        """Return where rays through the lens meet a height; as `unproject`, by directions."""
        return meet_height(self.lens, directions, height)

    def _pixels(self, distorted: Array) -> Points:
        """Map distorted normalised coordinates, shape (N, 2), to pixels, shape (N, 2)."""
        return np.asarray(distorted @ self.intrinsic_matrix[:2, :2].T + (self.cx, self.cy))


def meet_height(lens: Array, directions: Array, height: ArrayLike = 0.0) -> Points:
    """Return where rays from a lens, shape (3,), meet a height, shape (N, 2); nan where not."""
    fall = np.asarray(height, dtype=np.float64) - lens[2]
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = fall / directions[:, 2]
        reach = np.where(reach > 0, reach, np.nan)
    return np.asarray(lens[:2] + reach[:, None] * directions[:, :2])


def undistort(pinhole: Pinhole, pixels: ArrayLike) -> Points:
    """Return normalised coordinates without distortion (x, y) of pixels, by Newton's method.

    Parameters
    ----------
    pinhole : Pinhole
    pixels : array_like, shape (N, 2), px

    Returns
    -------
    ndarray, shape (N, 2); nan where the distortion model has no inverse
    """
    inverse = np.linalg.inv(pinhole.intrinsic_matrix[:2, :2])
    distorted = (as_points(pixels) - (pinhole.cx, pinhole.cy)) @ inverse.T
    if not any((pinhole.k1, pinhole.k2, pinhole.p1, pinhole.p2)):
        return np.asarray(distorted)
    goal_x, goal_y = distorted[:, 0].copy(), distorted[:, 1].copy()
    x, y = goal_x.copy(), goal_y.copy()
    for _ in range(_INVERSE_STEPS):
        at_x, at_y, a, b, d = _distorted(x, y, pinhole)
        miss_x, miss_y = goal_x - at_x, goal_y - at_y
        # Two equations for each point, solved in closed form; the slope is symmetric.
        determinant = a * d - b * b
        step_x = (d * miss_x - b * miss_y) / determinant
        step_y = (a * miss_y - b * miss_x) / determinant
        x += step_x
        y += step_y
        if not (np.maximum(np.abs(step_x), np.abs(step_y)) >= 1e-13).any():  # nan counts as done
            break
    flat = _columns(x, y)
    missed = np.abs(distorted - _distort(flat, pinhole)).max(axis=1) > 1e-9
    flat[missed] = np.nan
    return flat


def _columns(*columns: Array | float) -> Array:
    """Return columns, each of shape (N,), side by side, shape (N, C); as `column_stack`, faster."""
    together = np.empty((len(np.atleast_1d(columns[0])), len(columns)))
    for k, column in enumerate(columns):
        together[:, k] = column
    return together


def _rows(*rows: tuple[Array | float, ...]) -> Array:
    """Return N matrices, shape (N, R, C), of entries by row, each of shape (N,) or a number."""
    matrices = np.empty((len(np.atleast_1d(rows[0][0])), len(rows), len(rows[0])))
    for r, row in enumerate(rows):
        for c, entry in enumerate(row):
            matrices[:, r, c] = entry
    return matrices


def _rotation(vector: Array) -> tuple[Array, Array]:
    """Return R, shape (3, 3), of a rotation vector and its slopes dR/dr_k, shape (3, 3, 3)."""
    matrix, slopes = cv2.Rodrigues(vector)
    return _fixed(matrix), _fixed(np.asarray(slopes).reshape(3, 3, 3))


def _fixed(values: ArrayLike) -> Array:
    """Return the values as an array that nobody can change, since it is kept."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


def _distort(flat: Array, lens: Pinhole) -> Array:
    """Distort normalised coordinates, shape (N, 2)."""
    x, y, *_ = _distorted(flat[:, 0], flat[:, 1], lens)
    return _columns(x, y)


def _distortion_slope(flat: Array, lens: Pinhole) -> Array:
    """Return the derivative of `_distort` by the coordinates, shape (N, 2, 2)."""
    _, _, a, b, d = _distorted(flat[:, 0], flat[:, 1], lens)
    return _rows((a, b), (b, d))


def _distorted(x: Array, y: Array, lens: Pinhole) -> tuple[Array, Array, Array, Array, Array]:
    """Return distorted coordinates and their derivatives ``dx'/dx``, ``dx'/dy``, ``dy'/dy``.

    ``dy'/dx`` is ``dx'/dy``. What the formulas share is worked out once.
    """
    xx, xy, yy = x * x, x * y, y * y
    r2 = xx + yy
    bent = lens.k2 * r2
    radial = 1 + r2 * (lens.k1 + bent)
    slope = 2 * (lens.k1 + 2 * bent)
    p1, p2 = lens.p1, lens.p2
    px, py = 2 * p2 * x, 2 * p1 * y
    return (
        x * radial + 2 * p1 * xy + p2 * (r2 + 2 * xx),
        y * radial + p1 * (r2 + 2 * yy) + 2 * p2 * xy,
        radial + slope * xx + py + 3 * px,
        slope * xy + 2 * (p1 * x + p2 * y),
        radial + slope * yy + 3 * py + px,
    )
