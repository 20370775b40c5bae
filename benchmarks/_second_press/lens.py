"""A lens of the second press: camera or projector, platen millimetres to pixels and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Lens:
    """A pinhole with radial and tangential distortion; (0, 0) is the top-left pixel's centre.

    Attributes
    ----------
    size : (width, height)
        Of the picture, px.
    focal, cx, cy : float
        px.
    turn : ndarray, shape (3, 3)
        Rotation, lens from platen.
    at : ndarray, shape (3,)
        Where the lens stands, platen frame, mm.
    bend : (k1, k2, p1, p2)
    """

    size: tuple[int, int]
    focal: float
    cx: float
    cy: float
    turn: F64
    at: F64
    bend: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)

    @property
    def shift(self) -> F64:
        """The translation of lens from platen, mm, shape (3,)."""
        return np.asarray(-self.turn @ self.at)

    def see(self, points: NDArray[Any]) -> tuple[F32, F32]:
        """Return pixels, shape (..., 2), and depths, shape (...), of points, shape (..., 3)."""
        flat = points.reshape(-1, 3).astype(np.float64)
        local = flat @ self.turn.T + self.shift
        depth = np.maximum(local[:, 2], 1e-6)
        x, y = local[:, 0] / depth, local[:, 1] / depth
        k1, k2, p1, p2 = self.bend
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + k2 * r2)
        u = self.focal * (x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + self.cx
        v = self.focal * (y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y) + self.cy
        shape = points.shape[:-1]
        pixels = np.stack([u, v], axis=-1).astype(np.float32).reshape(*shape, 2)
        return pixels, depth.astype(np.float32).reshape(shape)

    def rays(self) -> F32:
        """Return each pixel's direction in the platen frame, shape (height, width, 3)."""
        width, height = self.size
        u, v = np.meshgrid(np.arange(width), np.arange(height))
        x0, y0 = (u.ravel() - self.cx) / self.focal, (v.ravel() - self.cy) / self.focal
        k1, k2, p1, p2 = self.bend
        x, y = x0, y0
        for _ in range(12 if any(self.bend) else 0):  # the bend is slight: plain iteration settles
            r2 = x * x + y * y
            radial = 1 + r2 * (k1 + k2 * r2)
            dx, dy = 2 * p1 * x * y + p2 * (r2 + 2 * x * x), p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
            x, y = (x0 - dx) / radial, (y0 - dy) / radial
        rays = np.column_stack([x, y, np.ones_like(x)]) @ self.turn
        return rays.reshape(height, width, 3).astype(np.float32)

    def scaled(self, scale: float) -> Lens:
        """Return the same lens with a smaller picture."""
        size = round(self.size[0] * scale), round(self.size[1] * scale)
        by = size[0] / self.size[0]
        centre = (self.cx + 0.5) * by - 0.5, (self.cy + 0.5) * by - 0.5
        return Lens(size, self.focal * by, *centre, self.turn, self.at, self.bend)

    def plain(self) -> dict[str, Any]:
        """Return it for JSON, under the usual names of a pinhole's parameters."""
        turn, shift = cv2.Rodrigues(self.turn)[0].ravel(), self.shift
        k1, k2, p1, p2 = self.bend
        values = {"focal": self.focal, "cx": self.cx, "cy": self.cy}
        values |= {"k1": k1, "k2": k2, "p1": p1, "p2": p2, "aspect": 1.0, "skew": 0.0}
        values |= dict(zip(("rx", "ry", "rz", "tx", "ty", "tz"), (*turn, *shift), strict=True))
        return {"size": list(self.size)} | {k: float(v) for k, v in values.items()}


def of_plain(size: tuple[int, int], pinhole: dict[str, float]) -> Lens:
    """Return the lens of a rig file's numbers."""
    turn = cv2.Rodrigues(np.array([pinhole["rx"], pinhole["ry"], pinhole["rz"]]))[0]
    shift = np.array([pinhole["tx"], pinhole["ty"], pinhole["tz"]])
    if abs(pinhole["aspect"] - 1) > 1e-9 or abs(pinhole["skew"]) > 1e-9:
        raise ValueError("the second press knows square pixels only")
    bend = tuple(pinhole[name] for name in ("k1", "k2", "p1", "p2"))
    return Lens(size, pinhole["focal"], pinhole["cx"], pinhole["cy"], turn, -turn.T @ shift, bend)


def looking(
    size: tuple[int, int],
    at: F64,
    aim: F64,
    focal: float,
    roll: float = 0.0,
    shift: tuple[float, float] = (0.0, 0.0),
    bend: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    up: F64 | None = None,
) -> Lens:
    """Return a lens at a point that looks at another, its picture's top where `up` points.

    `shift` moves the picture's middle off the axis, as a share of its width; `roll` in radians.
    """
    forward = (aim - at) / np.linalg.norm(aim - at)
    up = np.array([0.0, 1.0, 0.0]) if up is None else up
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    turn = np.stack([right, down, forward])
    c, s = np.cos(roll), np.sin(roll)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ turn
    cx = (size[0] - 1) / 2 + shift[0] * size[0]
    cy = (size[1] - 1) / 2 + shift[1] * size[0]
    return Lens(size, focal, cx, cy, turn, at, bend)
