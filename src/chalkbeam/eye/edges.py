"""Where a known shape lies in a picture, by its edges alone, whatever their colours.

Edges are compared as a field of *doubled angles*: a gradient (gx, gy) counts as
(gx^2 - gy^2, 2 gx gy) / |g|, summed over colours (the structure tensor's orientation; Bigun and
Granlund 1987). Dark on light and light on dark are the same then, and noise, having no
direction, adds up to nothing.

The pose is found by correlation over turns and shifts, then refined by least squares as Lucas and
Kanade (1981) do, with the shape as the fixed side (inverse composition; Baker and Matthews 2004).
Every cell of the shape has its own strength of edge, and two halves of the cells are solved apart:
the pose is to be believed if they agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.eye.view import F32, PER_MM

Pose = tuple[float, float, float]
"""x, y (px of the view) and turn (radians, clockwise as seen) of the shape's middle."""

BLUR = 0.6
"""Blur before edges are taken, mm: a webcam's own, about."""

_CELL = 12.0  # mm
_COARSE = 2  # px of the view to one of the search
_TURN_STEP = math.radians(1.0)
_EDGE = 0.25  # of a full edge: below it the shape says nothing


def field(image: F32, blur: float = BLUR) -> F32:
    """Return the field of doubled angles of a picture, shape (h, w, 2), lengths 0 to 1.

    Lengths are made alike (x / (x + k)), for a bright logo is no better known than a faint one;
    k is well above what most of the picture, noise and cloth, has.
    """
    smooth = cv2.GaussianBlur(image, (0, 0), blur * PER_MM)
    if smooth.ndim == 2:
        smooth = smooth[:, :, None]
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3).reshape(smooth.shape)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3).reshape(smooth.shape)
    along = (gx * gx - gy * gy).sum(axis=2)
    across = (2 * gx * gy).sum(axis=2)
    length = np.sqrt((gx * gx + gy * gy).sum(axis=2))
    k = max(3 * float(np.median(length)), 0.15 * float(np.percentile(length, 99.5)), 1e-6)
    share = 1 / ((length + k) * np.maximum(length, 1e-9))
    return np.stack([along * share, across * share], axis=2).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Shape:
    """A shape whose edges are known: `PER_MM` pixels a mm, its middle in the picture's middle.

    Attributes
    ----------
    cover : ndarray, shape (h, w), float32
        0 outside, 1 inside, with some 4 mm of nothing around it.
    """

    cover: F32

    @classmethod
    def of_mask(cls, mask: NDArray[np.bool_], width: float, height: float) -> Shape:
        """Return the shape of ink cut to its bounds, of a true size in mm."""
        size = max(1, round(width * PER_MM)), max(1, round(height * PER_MM))
        small = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        rim = round(4 * PER_MM)
        return cls(np.pad(small, rim).astype(np.float32))

    @cached_property
    def field(self) -> F32:
        """Its own edges."""
        return field(self.cover)

    @property
    def turned(self) -> Shape:
        """The shape turned half round."""
        return Shape(np.ascontiguousarray(self.cover[::-1, ::-1]))

    @property
    def mirrored(self) -> Shape:
        """The shape in mirror image, left for right."""
        return Shape(np.ascontiguousarray(self.cover[:, ::-1]))

    @cached_property
    def _points(self) -> tuple[F32, F32, F32, NDArray[np.intp]]:
        """Return places from the middle (N, 2), px, the edges there (N, 2), slopes, cells."""
        edges = self.field
        length = np.hypot(edges[..., 0], edges[..., 1])
        near = cv2.dilate((length > _EDGE).astype(np.uint8), np.ones((5, 5), np.uint8))
        rows, columns = np.nonzero(near)
        if len(rows) > 12000:  # plenty
            keep = np.linspace(0, len(rows) - 1, 12000).astype(np.intp)
            rows, columns = rows[keep], columns[keep]
        height, width = self.cover.shape
        at = np.column_stack([columns - (width - 1) / 2, rows - (height - 1) / 2])
        slopes = np.stack(
            [np.gradient(edges, axis=1)[rows, columns], np.gradient(edges, axis=0)[rows, columns]],
            axis=2,
        )
        side = _CELL * PER_MM
        across = math.ceil(width / side)
        cells = (rows // side).astype(np.intp) * across + (columns // side).astype(np.intp)
        _, cells = np.unique(cells, return_inverse=True)
        return at.astype(np.float32), edges[rows, columns], slopes.astype(np.float32), cells

    def strengths(self, seen: F32, pose: Pose) -> tuple[F32, F32]:
        """Return how strongly each cell's edges show at a pose, and each cell's weight."""
        at, edges, _, cells = self._points
        there = _sampled(seen, at, pose)
        weight = np.bincount(cells, (edges * edges).sum(axis=1))
        found = np.bincount(cells, (edges * there).sum(axis=1))
        return (found / np.maximum(weight, 1e-9)).astype(np.float32), weight.astype(np.float32)

    def refined(self, seen: F32, pose: Pose, steps: int = 10) -> ShapeFit:
        """Return the pose that explains the picture best, from one nearby."""
        halves = [pose, pose]
        for _ in range(steps):
            step, _ = self._step(seen, pose)
            pose = _moved(pose, step)
            if abs(step[0]) + abs(step[1]) < 0.002 and abs(step[2]) < 1e-5:
                break
        for half in (0, 1):
            each = pose
            for _ in range(5):
                each = _moved(each, self._step(seen, each, half)[0])
            halves[half] = each
        _, spread = self._step(seen, pose)
        return ShapeFit(pose, (halves[0], halves[1]), spread)

    def _step(
        self, seen: F32, pose: Pose, half: int | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        at, edges, slopes, cells = self._points
        there = _sampled(seen, at, pose)
        weight = np.bincount(cells, (edges * edges).sum(axis=1))
        strength = np.bincount(cells, (edges * there).sum(axis=1)) / np.maximum(weight, 1e-9)
        # A cell that shows little must not pull: its strength is its weight.
        strong = np.clip(strength, 0.0, 1.0)[cells, None]
        miss = there - strong * edges
        flow = strong[..., None] * slopes  # (N, 2 of the field, 2 of x and y)
        turning = -flow[..., 0] * at[:, 1:] + flow[..., 1] * at[:, :1]
        slope = np.concatenate([flow, turning[..., None]], axis=2)
        if half is not None:
            kept = cells % 2 == half
            miss, slope = miss[kept], slope[kept]
        slope, miss = slope.reshape(-1, 3).astype(np.float64), miss.ravel().astype(np.float64)
        scale = 1.5 * float(np.median(np.abs(miss))) + 1e-6
        robust = 1 / (1 + (miss / (3 * scale)) ** 2)
        normal = slope.T @ (slope * robust[:, None]) + np.diag([1e-6, 1e-6, 1e-3])
        step = -np.linalg.solve(normal, slope.T @ (robust * miss))
        reach = np.array([1.5, 1.5, 0.02])
        # Neighbouring pixels of the view share their noise: about a blur's area of them.
        shared = (2 * BLUR * PER_MM) ** 2
        spread = np.sqrt(np.diag(np.linalg.inv(normal)) * scale**2 * shared)
        return np.clip(step, -reach, reach), spread


@dataclass(frozen=True)
class ShapeFit:
    """A refined pose.

    Attributes
    ----------
    pose : Pose
    halves : two of Pose
        Found by either half of the shape's cells alone.
    spread : ndarray, shape (3,)
        Standard deviations expected of the noise, px and radians.
    """

    pose: Pose
    halves: tuple[Pose, Pose]
    spread: NDArray[np.float64]

    @property
    def apart(self) -> tuple[float, float]:
        """How far the halves lie apart, mm and radians."""
        (ax, ay, at), (bx, by, bt) = self.halves
        return math.hypot(ax - bx, ay - by) / PER_MM, abs(at - bt)


def _moved(pose: Pose, step: NDArray[np.float64]) -> Pose:
    x, y, turn = pose
    c, s = math.cos(turn), math.sin(turn)
    return (
        x + c * float(step[0]) - s * float(step[1]),
        y + s * float(step[0]) + c * float(step[1]),
        turn + float(step[2]),
    )


def _sampled(seen: F32, at: F32, pose: Pose) -> F32:
    """Return the picture's edges at places of the shape, turned back with it, shape (N, 2)."""
    x, y, turn = pose
    c, s = math.cos(turn), math.sin(turn)
    u = (c * at[:, 0] - s * at[:, 1] + x).astype(np.float32)
    v = (s * at[:, 0] + c * at[:, 1] + y).astype(np.float32)
    there = np.concatenate(
        [
            cv2.remap(seen, a[None], b[None], cv2.INTER_LINEAR, borderValue=0)[0]
            for a, b in zip(
                np.array_split(u, 1 + len(u) // 30000), np.array_split(v, 1 + len(v) // 30000),
                strict=True,
            )
        ]
    )  # fmt: skip
    c, s = math.cos(2 * turn), math.sin(2 * turn)
    return np.column_stack(
        [c * there[:, 0] + s * there[:, 1], -s * there[:, 0] + c * there[:, 1]]
    ).astype(np.float32)


@dataclass(frozen=True)
class Peak:
    """Where the correlation is largest: its value, its pose, the next best pose's value."""

    value: float
    pose: Pose
    second: float


def search(seen: F32, shape: Shape, about: Pose, reach: float, turn_reach: float) -> Peak:
    """Return the best pose among shifts and turns about one.

    Parameters
    ----------
    seen : ndarray, shape (h, w, 2)
        The picture's edges.
    shape : Shape
    about : Pose
    reach : float
        Largest shift along either axis, mm.
    turn_reach : float
        Radians.
    """
    height, width = shape.cover.shape
    scale = 1 / _COARSE
    small = np.asarray(
        cv2.resize(seen, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.float32
    )
    steps = math.ceil(turn_reach / _TURN_STEP)
    values, places = [], []
    for k in range(-steps, steps + 1):
        turn = about[2] + k * _TURN_STEP
        c, s = abs(math.cos(turn)), abs(math.sin(turn))
        w, h = (
            int(a) // (2 * _COARSE) * 2 + 1
            for a in (c * width + s * height, s * width + c * height)
        )
        template = _turned(shape.field, turn, w, h)
        half = reach * PER_MM / _COARSE
        left = round((about[0] + 0.5) / _COARSE - 0.5 - (w - 1) / 2 - half)
        top = round((about[1] + 0.5) / _COARSE - 0.5 - (h - 1) / 2 - half)
        side = round(2 * half)
        window = _window(small, left, top, w + side, h + side)
        energy = float((template * template).sum())
        found = cv2.matchTemplate(window, template, cv2.TM_CCORR) / max(energy, 1e-9)
        values.append(found)
        places.append((left + (w - 1) / 2, top + (h - 1) / 2, turn))
    stack = np.stack(values)
    best = np.unravel_index(int(np.argmax(stack)), stack.shape)
    k, row, column = (int(i) for i in best)
    x, y, turn = places[k]
    pose = ((x + column + 0.5) * _COARSE - 0.5, (y + row + 0.5) * _COARSE - 0.5, turn)
    near = 4.0 * PER_MM / _COARSE
    rows, columns = np.ogrid[: stack.shape[1], : stack.shape[2]]
    far = np.hypot(rows - row, columns - column) > near
    second = float(stack[:, far].max()) if far.any() else 0.0
    return Peak(float(stack[best]), pose, second)


def _turned(edges: F32, turn: float, width: int, height: int) -> F32:
    """Return a shape's edges turned, at the search's scale, shape (height, width, 2)."""
    h, w = edges.shape[:2]
    smooth = cv2.blur(edges, (_COARSE, _COARSE))
    c, s = math.cos(turn) * _COARSE, math.sin(turn) * _COARSE
    middle = np.array([(w - 1) / 2, (h - 1) / 2])
    back = np.array([[c, s], [-s, c]])  # from the turned picture to the shape
    shift = middle - back @ [(width - 1) / 2, (height - 1) / 2]
    turned = cv2.warpAffine(
        smooth, np.column_stack([back, shift]), (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
    )  # fmt: skip
    c, s = math.cos(2 * turn), math.sin(2 * turn)
    a, b = turned[..., 0], turned[..., 1]
    return np.ascontiguousarray(np.stack([c * a - s * b, s * a + c * b], axis=2), np.float32)


def _window(image: F32, left: int, top: int, width: int, height: int) -> F32:
    """Return a part of a field, nothing beyond its edge."""
    rows, columns = image.shape[:2]
    out = np.zeros((height, width, 2), np.float32)
    a, b = max(top, 0), min(top + height, rows)
    c, d = max(left, 0), min(left + width, columns)
    if a < b and c < d:
        out[a - top : b - top, c - left : d - left] = image[a:b, c:d]
    return out
