"""How cloth hangs over a plate: a net of threads of fixed length, let down until it rests.

Position-based relaxation (Müller et al. 2007, "Position Based Dynamics"): gravity in small steps,
then every thread is brought back to its length. What lies on the plate is held by friction.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]
Mask = NDArray[np.bool_]


_SETTLE = 40  # rounds without weight


@dataclass(frozen=True)
class Plate:
    """The platen as cloth meets it: a rounded box, its top face at z = 0; and the bench below."""

    width: float
    depth: float
    corner: float
    thick: float
    bench: float

    def inside(self, x: NDArray, y: NDArray) -> NDArray:
        """Return how far points lie inside the plate's outline, mm; negative outside."""
        qx = np.abs(x) - self.width / 2 + self.corner
        qy = np.abs(y) - self.depth / 2 + self.corner
        out = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0)
        return self.corner - out

    def keep_off(self, points: NDArray, gap: float, fillet: float = 3.0) -> None:
        """Push points, shape (..., 3), that are within `gap` of the plate or bench out of it."""
        x, y, z = points[..., 0], points[..., 1], points[..., 2]
        deep = self.inside(x, y)
        near = (deep > -gap) & (z < gap) & (z > -self.thick - 40)
        if near.any():
            # Across the edge the plate's section is a quarter circle of radius `fillet`.
            d, h = -deep[near] + fillet, z[near] + fillet  # from the fillet's middle
            reach = fillet + gap
            away = np.hypot(np.maximum(d, 0), np.maximum(h, 0))
            round_it = (d > 0) & (h > 0)
            lift = np.where(d <= 0, np.maximum(reach - h, 0), 0.0)
            out = np.where(h <= 0, np.maximum(reach - d, 0), 0.0)
            factor = np.where(round_it & (away < reach), reach / np.maximum(away, 1e-6) - 1, 0.0)
            lift, out = lift + factor * h * round_it, out + factor * d * round_it
            deeper = (d < -8) & (h < -8)  # under the plate: leave it there
            lift, out = np.where(deeper, 0, lift), np.where(deeper, 0, out)
            points[..., 2][near] += lift
            if out.any():
                nx, ny = self._outwards(x[near], y[near])
                points[..., 0][near] += out * nx
                points[..., 1][near] += out * ny
        np.maximum(points[..., 2], gap - self.bench, out=points[..., 2])

    def _outwards(self, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        e = 0.05
        gx = self.inside(x - e, y) - self.inside(x + e, y)
        gy = self.inside(x, y - e) - self.inside(x, y + e)
        length = np.maximum(np.hypot(gx, gy), 1e-9)
        return gx / length, gy / length


def relax(
    points: F64,
    cloth: Mask,
    held: Mask,
    plate: Plate | None = None,
    gap: float = 0.8,
    stiff: float = 0.15,
    steps: int = 220,
    weight: float = 0.35,
    push: F64 | None = None,
    start: F64 | None = None,
) -> F64:
    """Return where a net of points comes to rest.

    Parameters
    ----------
    points : ndarray, shape (rows, columns, 3), mm
        The net lying flat: its threads' lengths are those between neighbours here.
    cloth : ndarray of bool, shape (rows, columns)
        Where there is cloth.
    held : ndarray of bool
        What does not move.
    plate : Plate, optional
    gap : float
        How far its middle stays off the plate, mm.
    stiff : float
        Of bending, 0 to 1.
    steps : int
    weight : float
        How far a free point falls in the first step, mm; less for cloth that is stiff for it.
    push : ndarray, shape (rows, columns, 3), optional
        A small random push at the start, which decides where folds go.
    start : ndarray, shape (rows, columns, 3), optional
        Where the net is at first, if not lying flat.
    """
    now = (points if start is None else start).astype(np.float64).copy()
    if push is not None:
        now += np.where(held[..., None], 0, push)
    before = now.copy()
    free = (cloth & ~held).astype(np.float64)
    threads = _threads(points, cloth, free, stiff)
    for step in range(steps + _SETTLE):
        falls = step < steps  # at the end threads take back what the fall has stretched
        damping = 0.97 if step < steps * 0.6 else 0.9
        speed = (now - before) * damping
        np.clip(speed, -4.0, 4.0, out=speed)
        before = now.copy()
        if falls:
            now += speed * free[..., None]
            now[..., 2] -= weight * free
        for a, b, length, wa, wb in threads if falls else threads[:4]:
            _pull(now, a, b, length, wa, wb)
        if plate is not None:
            moved = now.copy()
            plate.keep_off(moved, gap)
            now = np.where(free[..., None] > 0, moved, now)
    return now


_Cut = tuple[slice, slice]


def _threads(
    points: F64, cloth: Mask, free: F64, stiff: float
) -> list[tuple[_Cut, _Cut, F64, F64, F64]]:
    rows, columns = cloth.shape
    found = []
    pairs = [((0, 1), 1.0), ((1, 0), 1.0), ((1, 1), 0.6), ((1, -1), 0.6)]
    pairs += [((0, 2), stiff), ((2, 0), stiff), ((0, 4), 0.6 * stiff), ((4, 0), 0.6 * stiff)]
    for (dy, dx), strength in pairs:
        y0, y1 = slice(0, rows - dy), slice(dy, rows)
        x0 = slice(max(0, -dx), columns - max(0, dx))
        x1 = slice(max(0, dx), columns - max(0, -dx))
        a, b = (y0, x0), (y1, x1)
        length = np.linalg.norm(points[b] - points[a], axis=-1)
        both = cloth[a] & cloth[b]
        if dy + abs(dx) == 2 and 0 in (dy, dx):
            both = (
                both
                & cloth[
                    y0 if dy == 0 else slice(1, rows - 1), x0 if dx == 0 else slice(1, columns - 1)
                ]
            )
        total = np.maximum(free[a] + free[b], 1e-9)
        # Half of each set at a time, so that no point is pulled from two sides at once.
        axis = 0 if dy else 1
        reach = dy if dy else abs(dx)
        order = (np.arange(length.shape[axis]) // reach) % 2
        for phase in (0, 1):
            pick = (order == phase)[:, None] if axis == 0 else (order == phase)[None, :]
            share = strength * both * pick / total
            found.append((a, b, length, share * free[a], share * free[b]))
    return found


def _pull(now: F64, a: _Cut, b: _Cut, length: F64, wa: F64, wb: F64) -> None:
    gap = now[b] - now[a]
    far = np.sqrt(np.einsum("ijk,ijk->ij", gap, gap)) + 1e-9
    gap *= ((far - length) / far)[..., None]
    now[a] += gap * wa[..., None]
    now[b] -= gap * wb[..., None]


def finer(net: NDArray, times: int) -> NDArray[np.float32]:
    """Return a net with `times` as many points along each side, smoothly; corners stay put."""
    rows, columns = net.shape[:2]
    x = (np.arange((columns - 1) * times + 1) / times).astype(np.float32)
    y = (np.arange((rows - 1) * times + 1) / times).astype(np.float32)
    return _spline(_spline(net.astype(np.float32), y, 0), x, 1)


def _spline(net: NDArray, at: NDArray, axis: int) -> NDArray:
    """Sample a net along an axis by Catmull and Rom's spline."""
    net = np.moveaxis(net, axis, 0)
    last = len(net) - 1
    k = np.clip(np.floor(at).astype(int), 0, last - 1)
    t = (at - k).reshape(-1, *[1] * (net.ndim - 1)).astype(np.float32)
    p0, p1, p2, p3 = (net[np.clip(k + i, 0, last)] for i in (-1, 0, 1, 2))
    p0 = np.where((k == 0).reshape(t.shape), 2 * p1 - p2, p0)
    p3 = np.where((k == last - 1).reshape(t.shape), 2 * p2 - p1, p3)
    out = p1 + 0.5 * t * (
        p2 - p0 + t * (2 * p0 - 5 * p1 + 4 * p2 - p3 + t * (3 * (p1 - p2) + p3 - p0))
    )
    return np.moveaxis(out.astype(np.float32), 0, axis)


def wrinkles(
    rng: np.random.Generator, shape: tuple[int, int], step: float, height: float
) -> NDArray[np.float32]:
    """Return a smooth random height, a few long soft creases, mm, shape `shape`."""
    rows, columns = shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32) * np.float32(step)
    total = np.zeros(shape, np.float32)
    for _ in range(rng.integers(2, 7)):
        at = rng.uniform((0, 0), (columns * step, rows * step))
        angle = rng.uniform(0, np.pi)
        along = (x - at[0]) * np.cos(angle) + (y - at[1]) * np.sin(angle)
        across = -(x - at[0]) * np.sin(angle) + (y - at[1]) * np.cos(angle)
        across = across + rng.normal(0, 4e-4) * along**2
        long, wide = rng.uniform(50, 160), rng.uniform(6, 16)
        total += np.float32(rng.uniform(0.2, 1.0) * height) * np.exp(
            -((along / long) ** 2) - (across / wide) ** 2
        ).astype(np.float32)
    return cv2.GaussianBlur(total, (0, 0), 1.5)
