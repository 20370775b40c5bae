"""The surface that the camera sees, in mm, from lines of light and the code that counts them.

A line's middle is found to a fraction of a pixel by the second derivative across it (Steger 1998,
"An unbiased detector of curvilinear structures", IEEE PAMI 20-2); the point of the cloth is where
the camera's ray meets the plane of light of that line (Hartley and Zisserman, Multiple View
Geometry, 2nd ed., chapter 12: triangulation with one known coordinate).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import PlatenFace, Points, as_points
from calibration.model.pinhole import Array, Pinhole
from calibration.model.projector import ProjectorMap
from calibration.refusal import Refusal
from calibration.rig.eye import eye_of
from calibration.rig.file import Rig
from chalkbeam.eye.burst import F32, Burst, grey
from chalkbeam.eye.flashes import FAMILIES, Lines, best_family
from chalkbeam.eye.values import HeightSeen

STEP = 5.0
"""From point to point of the grid of heights, mm."""

HIGHEST, LOWEST = 60.0, -260.0
"""Heights over the bare platen beyond which nothing is believed, mm."""

LEAST_LIGHT = 0.006
"""Of white's light, linear, that a pixel must get for a line in it to be believed."""

_SHARPNESS = 0.18  # width of the line's filter, of the lines' distance in the picture
_LEAST_RIDGE = 0.2  # of the clearest lines' curvature
_DOUBTFUL = 0.1  # how near to the middle between dark and lit a code's light says nothing
_ALIKE = 3  # so many of the pixels along a line beside one must say its number, too
_STEPS = 6
_NO_STEP = 1e-5  # mm
_STRAY = 4.0  # mm off its neighbours: a miscounted line


@dataclass(frozen=True, eq=False)
class SeenSurface:
    """Points of whatever lies under the camera, and the heights over the platen.

    Attributes
    ----------
    points : ndarray, shape (N, 3)
        Platen frame, mm; z is the height over the bare face (over its plane, beside it).
    pixels : ndarray, shape (N, 2)
        Where the camera saw them, px.
    face : PlatenFace
    grid : ndarray, shape (rows, columns)
        Heights over the platen from its front left corner, `STEP` mm apart; nan where unknown.
    """

    points: Points
    pixels: Points
    face: PlatenFace
    grid: Array

    @property
    def origin(self) -> tuple[float, float]:
        """The grid's first point, platen frame, mm."""
        return -self.face.width / 2, -self.face.depth / 2

    @property
    def seen(self) -> HeightSeen:
        """The heights as a value for a reading."""
        return HeightSeen(self.origin, STEP, self.grid)

    def height_at(self, points: ArrayLike) -> Array:
        """Return the height at platen points, shape (N, 2), mm; nan where it is not known."""
        at = (as_points(points) - self.origin) / STEP
        rows, columns = self.grid.shape
        inside = (at > -0.5).all(axis=1) & (at < np.array([columns - 0.5, rows - 0.5])).all(axis=1)
        i, j = np.rint(np.clip(at, 0, [columns - 1, rows - 1])).astype(int).T
        known = np.isfinite(self.grid[j, i])
        return np.where(inside & known, between(self._filled, at), np.nan)

    @cached_property
    def _filled(self) -> Array:
        """The grid with what is unknown taken from its neighbours, for interpolation alone."""
        filled = self.grid
        for _ in range(3):
            filled = np.where(np.isfinite(filled), filled, _median(filled, 1))
        return np.nan_to_num(filled)


def between(grid: Array, places: Points) -> Array:
    """Return a grid's values between its points, bilinear, shape (N,).

    Parameters
    ----------
    grid : ndarray, shape (rows, columns)
    places : ndarray, shape (N, 2)
        Column and row, in steps of the grid; beyond its edge the edge's values serve.
    """
    most = np.array(grid.shape[::-1]) - 1
    place = np.clip(places, 0, most)
    low = np.minimum(np.floor(place).astype(int), np.maximum(most - 1, 0))
    (x, y), (i, j) = (place - low).T, low.T
    right, up = np.minimum(i + 1, most[0]), np.minimum(j + 1, most[1])
    return np.asarray(
        (grid[j, i] * (1 - x) + grid[j, right] * x) * (1 - y)
        + (grid[up, i] * (1 - x) + grid[up, right] * x) * y
    )


def measure_surface(rig: Rig, burst: Burst) -> SeenSurface:
    """Measure the surface from a burst's lines.

    Parameters
    ----------
    rig : Rig
        With its eye.
    burst : Burst

    Raises
    ------
    Refusal
        If the rig has no eye, the picture has another size, or no lines are there.
    """
    eye = eye_of(rig)
    if burst.size != eye.size:
        raise Refusal(
            f"{burst.where} has pictures of {burst.size[0]} x {burst.size[1]} and the rig's eye "
            f"{eye.size[0]} x {eye.size[1]}: set the camera as it was when it was fitted."
        )
    best = best_family(rig)
    order = sorted(FAMILIES, key=lambda family: family != best)
    found = (burst.lines(rig.projector, family) for family in order)
    lines = next((each for each in found if each is not None), None)
    if lines is None:
        raise Refusal(f"{burst.where} lacks lines and their code: take the whole burst again.")
    pixels, numbers = lines_seen(burst, lines, _distance(rig, lines))
    axis = FAMILIES.index(lines.family)
    points = triangulate(rig.projector, eye.camera, pixels, lines.centre(numbers), axis)
    points[:, 2] -= rig.projector.bow.at(points[:, :2])[:, 2] * _near(points, rig.face)
    with np.errstate(invalid="ignore"):
        good = (points[:, 2] > LOWEST) & (points[:, 2] < HIGHEST)
    points, pixels = points[good], pixels[good]
    grid = _gridded(points, rig.face)
    surface = SeenSurface(points, pixels, rig.face, grid)
    off = np.abs(points[:, 2] - surface.height_at(points[:, :2]))
    keep = ~(off > _STRAY)
    return SeenSurface(points[keep], pixels[keep], rig.face, _gridded(points[keep], rig.face))


def _near(points: Points, face: PlatenFace) -> NDArray[np.bool_]:
    """Tell which points, shape (N, 3), are over the face: its bow is known there alone."""
    half = np.array([face.width, face.depth]) / 2
    with np.errstate(invalid="ignore"):
        return np.asarray((np.abs(points[:, :2]) <= half).all(axis=1), np.bool_)


def triangulate(
    projector: ProjectorMap, camera: Pinhole, pixels: ArrayLike, light: ArrayLike, axis: int
) -> Points:
    """Return where camera rays meet the light of one of the projector's coordinates.

    Parameters
    ----------
    projector : ProjectorMap
    camera : Pinhole
    pixels : array_like, shape (N, 2)
        Of the camera, px.
    light : array_like, shape (N,)
        The projector's x (axis 0) or y (axis 1) that lights the point, px.
    axis : int

    Returns
    -------
    ndarray, shape (N, 3), platen frame, mm; nan where they do not meet
    """
    lens, directions = camera.lens, camera.directions(pixels)
    wanted = np.asarray(light, np.float64)
    height, last = np.zeros(len(directions)), np.full(len(directions), np.nan)
    some = np.arange(len(directions))

    def at(z: Array, some: NDArray[np.intp]) -> Points:
        way = directions[some]
        return np.asarray(lens + way * ((z - lens[2]) / way[:, 2])[:, None])

    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for _ in range(_STEPS):  # Newton's method; the slope by a step of a millimetre
            here = projector.pinhole.project(at(height[some], some))[:, axis]
            slope = projector.pinhole.project(at(height[some] + 1.0, some))[:, axis] - here
            step = np.clip((wanted[some] - here) / slope, -200.0, 200.0)
            height[some] += step
            last[some] = step
            some = some[np.abs(step) > _NO_STEP]
            if len(some) == 0:
                break
        met = np.abs(last) < 1e-2
    return np.where(met[:, None], at(height, np.arange(len(directions))), np.nan)


def lines_seen(burst: Burst, lines: Lines, apart: float) -> tuple[Points, NDArray[np.intp]]:
    """Return middles of lines in the camera's picture, shape (N, 2), and their numbers, (N,).

    Parameters
    ----------
    burst : Burst
    lines : Lines
    apart : float
        Roughly how far apart they lie in the picture, px.
    """
    area = _Lit.of(burst)
    if area is None:
        return np.zeros((0, 2)), np.zeros(0, np.intp)
    share = area.share(burst, lines.names[0])
    y, x, offset = _ridges(
        np.where(area.lit, share, 0).astype(np.float32), _SHARPNESS * apart, area.lit
    )
    number, sure = _number(burst, lines, area, (y, x))
    sure &= _backed(number, sure, (y, x), area.lit.shape)
    pixels = np.column_stack([x + area.corner[0], y + area.corner[1]]) + offset
    return pixels[sure], number[sure]


def _backed(
    number: NDArray[np.intp],
    sure: NDArray[np.bool_],
    at: tuple[NDArray[np.intp], NDArray[np.intp]],
    shape: tuple[int, ...],
) -> NDArray[np.bool_]:
    """Tell whose number is said beside them, too: a line runs on, a misread code stands alone."""
    said = np.zeros((shape[0] + 4, shape[1] + 4), np.int16)
    y, x = at[0] + 2, at[1] + 2
    said[y[sure], x[sure]] = number[sure] + 1
    alike = np.zeros(len(number), np.intp)
    for down in range(-2, 3):
        for right in range(-2, 3):
            alike += said[y + down, x + right] == number + 1
    return alike > _ALIKE  # each counts itself


def coded(burst: Burst, lines: Lines) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return the stripe's number at each pixel, and where that is sure, both (height, width)."""
    area = _Lit.of(burst)
    width, height = burst.size
    number, sure = np.zeros((height, width), np.intp), np.zeros((height, width), bool)
    if area is None:
        return number, sure
    part_number, part_sure = _number(burst, lines, area, (slice(None), slice(None)))
    number[area.part], sure[area.part] = part_number, part_sure & area.lit
    return number, sure


@dataclass(frozen=True, eq=False)
class _Lit:
    """The part of the picture that the projector lights."""

    part: tuple[slice, slice]
    lit: NDArray[np.bool_]
    under: F32

    @classmethod
    def of(cls, burst: Burst) -> _Lit | None:
        white = grey(burst.light("white"))
        lit = cv2.GaussianBlur(white, (0, 0), 1.0) > LEAST_LIGHT
        if not lit.any():
            return None
        rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
        part = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
        return cls(part, lit[part], np.maximum(white[part], LEAST_LIGHT))

    @property
    def corner(self) -> tuple[int, int]:
        return self.part[1].start, self.part[0].start

    def share(self, burst: Burst, name: str) -> F32:
        """Return a picture's light over white's."""
        return np.asarray(grey(burst.light(name, self.part)) / self.under, np.float32)


def _number(
    burst: Burst, lines: Lines, area: _Lit, at: tuple[Any, Any]
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return what the code says at pixels of the lit part, and whether it is sure."""
    number = np.zeros(area.lit[at].shape, np.intp)
    bit = np.zeros_like(number)
    sure = np.ones(number.shape, bool)
    step = 3 if area.lit[::3, ::3].any() else 1  # enough to tell levels
    some = area.lit[::step, ::step]
    for name in lines.names[1:]:
        code = cv2.GaussianBlur(area.share(burst, name), (0, 0), 0.6)
        low, high = np.percentile(code[::step, ::step][some], [10, 90])
        # A picture with hardly a lit stripe in view keeps the levels that it ought to have.
        low, high = min(max(low, -0.2), 0.3), max(min(high, 1.3), 0.7)
        said = (code[at] - low) / (high - low)
        sure &= np.abs(said - 0.5) > _DOUBTFUL
        bit = bit ^ (said > 0.5)
        number = 2 * number + bit
    return number, sure & (number < lines.count)


def _distance(rig: Rig, lines: Lines) -> float:
    """Return how far apart lines lie in the camera's picture of the platen, px."""
    camera = eye_of(rig).camera
    x, y = rig.face.width / 4, rig.face.depth / 4
    places = np.array([(0, 0), (x, y), (-x, y), (x, -y), (-x, -y)])
    light = rig.projector.projector_from_platen(places)
    along = np.eye(2)[1 - FAMILIES.index(lines.family)]
    across = np.eye(2)[FAMILIES.index(lines.family)] * lines.pitch

    def seen(pixels: Points) -> Points:
        landed = rig.projector.platen_from_projector(pixels)
        return camera.project(rig.projector.bow.at(landed))

    here = seen(light)
    way, side = seen(light + along) - here, seen(light + across) - here
    way /= np.linalg.norm(way, axis=1)[:, None]
    return float(np.median(np.abs(side[:, 0] * way[:, 1] - side[:, 1] * way[:, 0])))


def _ridges(
    share: F32, sigma: float, lit: NDArray[np.bool_]
) -> tuple[NDArray[np.intp], NDArray[np.intp], Points]:
    """Return pixels (y, x) that a line's middle crosses, and its offset in them, shape (N, 2)."""
    sigma = float(np.clip(sigma, 0.8, 3.0))
    reach = math.ceil(4 * sigma)
    at = np.arange(-reach, reach + 1, dtype=np.float64)
    g = np.exp(-(at**2) / (2 * sigma**2))
    g /= g.sum()
    # Correlation: an odd kernel has the sign of what it is multiplied with.
    first, second = at / sigma**2 * g, (at**2 / sigma**4 - 1 / sigma**2) * g

    def filtered(by_x: Array, by_y: Array) -> F32:
        return np.asarray(cv2.sepFilter2D(share, cv2.CV_32F, by_x, by_y), np.float32)

    xx, yy, xy = filtered(second, g), filtered(g, second), filtered(first, first)
    half, root = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    curve = half - root
    strong = -curve > _LEAST_RIDGE * np.percentile(-curve[lit], 98)
    y, x = np.nonzero(strong & lit)
    gx, gy = filtered(first, g)[y, x], filtered(g, first)[y, x]
    a, b, c, k = xx[y, x], xy[y, x], yy[y, x], curve[y, x]
    # The eigenvector of the most negative curvature, from the better conditioned row.
    way = np.where((np.abs(a - k) > np.abs(c - k))[:, None], np.stack([b, k - a], 1),
                   np.stack([k - c, b], 1)).astype(np.float64)  # fmt: skip
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    offset = -((gx * way[:, 0] + gy * way[:, 1]) / k)[:, None] * way
    inside = (np.abs(offset) <= 0.5).all(axis=1)
    return y[inside], x[inside], offset[inside]


def _gridded(points: Points, face: PlatenFace) -> Array:
    """Return the heights of points on the platen's grid: medians, holes filled from beside."""
    columns, rows = (int(side // STEP) + 1 for side in (face.width, face.depth))
    place = np.rint((points[:, :2] + (face.width / 2, face.depth / 2)) / STEP).astype(int)
    inside = (place >= 0).all(axis=1) & (place < (columns, rows)).all(axis=1)
    inside &= _near(points, face)  # beside it, what hangs is no height over the platen
    cell = place[inside, 1] * columns + place[inside, 0]
    heights = points[inside, 2]
    order = np.lexsort((heights, cell))
    cell, heights = cell[order], heights[order]
    row = np.full(rows * columns, np.nan)
    if len(cell):
        first = np.flatnonzero(np.diff(cell, prepend=-1))
        count = np.diff([*first, len(cell)])
        row[cell[first]] = (heights[first + (count - 1) // 2] + heights[first + count // 2]) / 2
    grid = row.reshape(rows, columns)
    near = _median(grid, 1)
    return np.where(np.isfinite(near), near, _median(grid, 2))


def _median(grid: Array, reach: int) -> Array:
    """Return the median around each point of a grid, leaving out nan; nan where all are."""
    wide = np.pad(grid, reach, constant_values=np.nan)
    rows, columns = grid.shape
    side = range(2 * reach + 1)
    around = np.stack([wide[j : j + rows, i : i + columns] for j in side for i in side])
    around.sort(axis=0)  # nan comes last; numpy's own nanmedian takes ten times as long
    count = np.isfinite(around).sum(axis=0)[None]
    low, high = (
        np.take_along_axis(around, at, axis=0)[0]
        for at in (np.maximum(count - 1, 0) // 2, count // 2)
    )
    return np.asarray((low + high) / 2)
