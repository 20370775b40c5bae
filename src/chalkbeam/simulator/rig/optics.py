"""A pinhole with radial distortion at a place in the room: true camera and true projector.

Written apart from `calibration`, so that the truth never shares a mistake with
what is tested against it; `cv2.projectPoints` is the outside reference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points

XYZ = tuple[float, float, float]
F32 = NDArray[np.float32]

_INVERSE_DEGREE = 9
"""Degree in r² of the polynomial that undoes the distortion (see `Lens.undistortion`)."""


@dataclass(frozen=True)
class Lens:
    """Where an ideal lens stands, where it looks and how it bends.

    ``pixel = focal * d(r²) * (X/Z, Y/Z) + centre`` with ``d = 1 + k1 r² + k2 r⁴`` and
    (X, Y, Z) the point in the lens frame (x right, y down, z forward): the model of
    Brown (1971) without tangential terms, as OpenCV writes it.

    Attributes
    ----------
    size : (int, int)
        Width and height, px.
    focal : float
        Focal length, px; pixels are square.
    centre : (float, float)
        Principal point, px; far off the middle where a projector's lens is shifted.
    turn : (float, float, float)
        Rotation vector (axis times radians) of view_from_platen.
    position : (float, float, float)
        The lens in the platen frame, mm.
    k1, k2 : float
        Radial distortion.
    """

    size: tuple[int, int]
    focal: float
    centre: tuple[float, float]
    turn: XYZ
    position: XYZ
    k1: float = 0.0
    k2: float = 0.0

    @cached_property
    def rotation(self) -> NDArray[np.float64]:
        """The rotation view_from_platen, shape (3, 3)."""
        return np.asarray(cv2.Rodrigues(np.array(self.turn))[0], dtype=np.float64)

    def pixels(self, points: ArrayLike) -> Points:
        """Map points of the platen frame, shape (N, 3), mm, to pixels, shape (N, 2).

        Raises
        ------
        ValueError
            If a point lies behind the lens.
        """
        local = (as_points(points, 3) - np.array(self.position)) @ self.rotation.T
        if np.any(local[:, 2] <= 0):
            raise ValueError("a point lies behind the lens")
        plane = local[:, :2] / local[:, 2:]
        square = np.sum(plane**2, axis=1, keepdims=True)
        bend = 1 + self.k1 * square + self.k2 * square**2
        return np.asarray(plane * bend * self.focal + self.centre)

    def rays(self, pixels: ArrayLike) -> Points:
        """Return the directions into the platen frame of pixels, shape (N, 2) to (N, 3).

        Lens-frame z is 1, so directions are not of unit length.
        """
        bent = (as_points(pixels) - self.centre) / self.focal
        plane = bent.copy()
        for _ in range(50):  # converges linearly by about 0.3 a step for the strongest lens here
            square = np.sum(plane**2, axis=1, keepdims=True)
            plane = bent / (1 + self.k1 * square + self.k2 * square**2)
        return np.column_stack([plane, np.ones(len(plane))]) @ self.rotation

    def hit(self, pixels: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return where pixels, shape (N, 2), meet the plane at `height`: (x, y) mm, (N, 2)."""
        directions = self.rays(pixels)
        x, y, z = self.position
        distance = (np.asarray(height, dtype=np.float64) - z) / directions[:, 2]
        return np.column_stack([x + distance * directions[:, 0], y + distance * directions[:, 1]])

    def scaled(self, factor: float) -> Lens:
        """Return the same lens with `factor` times as many pixels a side (a small proxy)."""
        width, height = (round(side * factor) for side in self.size)
        fx = width / self.size[0]
        return replace(
            self,
            size=(width, height),
            focal=self.focal * fx,
            centre=(
                (self.centre[0] + 0.5) * fx - 0.5,
                (self.centre[1] + 0.5) * fx - 0.5,
            ),
        )

    @cached_property
    def undistortion(self) -> NDArray[np.float64]:
        """Coefficients c with ``plane = bent * sum(c_i * r_bent^(2 i))``, to 1e-3 px.

        For whole pictures, where iterating for every pixel would cost too much.
        """
        width, height = self.size
        corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], dtype=np.float64)
        reach = np.hypot(*((corners - self.centre) / self.focal).T).max() * 1.02
        bent = np.linspace(0, reach, 400)[1:]
        plane = bent.copy()
        for _ in range(200):
            plane = bent / (1 + self.k1 * plane**2 + self.k2 * plane**4)
        powers = (bent[:, None] / reach) ** (2 * np.arange(_INVERSE_DEGREE + 1))
        fitted = np.linalg.lstsq(powers, plane / bent, rcond=None)[0]
        return np.asarray(fitted / reach ** (2 * np.arange(_INVERSE_DEGREE + 1)))

    def ray_strip(self, first_row: int, rows: int, step: int = 1) -> tuple[F32, F32, F32]:
        """Return the ray directions of a strip of pixels, three planes of shape (rows, width).

        With a `step`, of every so manieth row and column only.
        """
        columns = np.arange(0, self.size[0], step)
        u = ((columns - self.centre[0]) / self.focal).astype(np.float32)[None, :]
        lines = first_row + np.arange(0, rows, step)
        v = ((lines - self.centre[1]) / self.focal).astype(np.float32)
        square = u**2 + v[:, None] ** 2
        scale = np.full_like(square, self.undistortion[-1])
        for coefficient in self.undistortion[-2::-1]:
            scale *= square
            scale += np.float32(coefficient)
        x, y = scale * u, scale * v[:, None]
        r = self.rotation.astype(np.float32)
        return (
            r[0, 0] * x + r[1, 0] * y + r[2, 0],
            r[0, 1] * x + r[1, 1] * y + r[2, 1],
            r[0, 2] * x + r[1, 2] * y + r[2, 2],
        )

    def pixel_planes(self, x: F32, y: F32, z: F32 | float) -> tuple[F32, F32]:
        """Map planes of platen coordinates, mm, to planes of pixel coordinates, float32.

        Points behind the lens come out at -1e6, outside any picture.
        """
        r = self.rotation.astype(np.float32)
        dx = x - np.float32(self.position[0])
        dy = y - np.float32(self.position[1])
        dz = np.float32(z) - np.float32(self.position[2])
        depth = r[2, 0] * dx + r[2, 1] * dy + r[2, 2] * dz
        behind = depth <= 1.0
        depth[behind] = 1.0
        inverse = np.float32(1) / depth
        u = (r[0, 0] * dx + r[0, 1] * dy + r[0, 2] * dz) * inverse
        v = (r[1, 0] * dx + r[1, 1] * dy + r[1, 2] * dz) * inverse
        square = u * u + v * v
        bend = (
            np.float32(1) + square * (np.float32(self.k1) + np.float32(self.k2) * square)
        ) * np.float32(self.focal)
        u = u * bend + np.float32(self.centre[0])
        v = v * bend + np.float32(self.centre[1])
        u[behind] = v[behind] = -1e6
        return u, v


def look_at(position: XYZ, target: XYZ, up: XYZ = (0.0, 1.0, 0.0), roll: float = 0.0) -> XYZ:
    """Return the rotation vector view_from_platen of a lens that looks at `target`.

    Parameters
    ----------
    position, target : (float, float, float)
        Platen frame, mm.
    up : (float, float, float)
        Direction that points up in the picture before the roll; platen +y by default.
    roll : float
        Turn about the axis, radians.
    """
    forward = np.subtract(target, position).astype(np.float64)
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    turned = np.cos(roll) * right + np.sin(roll) * down
    return rotation_vector(np.vstack([turned, np.cross(forward, turned), forward]))


def rotation_vector(rotation: NDArray[np.float64]) -> XYZ:
    """Return the rotation vector of a rotation matrix, shape (3, 3)."""
    x, y, z = np.ravel(cv2.Rodrigues(rotation)[0])
    return float(x), float(y), float(z)
