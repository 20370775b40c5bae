"""Cloth laid on a form so that it keeps its lengths: a net relaxed by Gauss-Newton.

A rectangular net is drawn on half of the flat face (the other half mirrors it).
Its knots slide on the form's surface until its threads, down and across, are as
long as they were on the flat cloth; the diagonals may give, as cloth's do. No
map of a doubly curved form keeps every length: `Drape.stretch` says what is left.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import as_points
from chalkbeam.garments import Face
from chalkbeam.paper.worn.form import SIDE_FALL, Half, ellipse_quarter, side_at

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

Floats = NDArray[np.float64]
Surface = Callable[[Floats, Floats], Floats]

ACROSS, DOWN = 18, 36
"""Threads of the net; the last but one down lies on the side seam, the last runs on past it."""

BEND = 0.2
"""Weight of a thread's bends against its length: cloth lies without kinks."""

OFF_CLOTH = 0.1
"""Weight of threads off the cloth: only enough to carry the net on smoothly."""

DIAGONAL = 0.1
"""Weight of the diagonals against the threads: cloth shears easily."""


@dataclass(frozen=True, eq=False)
class Drape:
    """A face of a garment on its form.

    Attributes
    ----------
    half : Half
    xs, ys : ndarray
        Threads of the net on the flat face (x >= 0), mm.
    angle, fall : ndarray, shape (len(ys), len(xs))
        Where each knot lies on the form.
    """

    half: Half
    xs: Floats
    ys: Floats
    angle: Floats
    fall: Floats

    @functools.cached_property
    def _splines(self) -> tuple[RectBivariateSpline, RectBivariateSpline]:
        """Angle and fall over the flat face; mirrored, so that the centre line is smooth."""
        from scipy.interpolate import RectBivariateSpline  # takes 20 MB: for who drapes alone

        across = np.concatenate([-self.xs[:0:-1], self.xs])
        angle = np.hstack([-self.angle[:, :0:-1], self.angle])
        fall = np.hstack([self.fall[:, :0:-1], self.fall])
        return (
            RectBivariateSpline(self.ys, across, angle),
            RectBivariateSpline(self.ys, across, fall),
        )

    def place(self, points: ArrayLike) -> Floats:
        """Map points of the face, mm, shape (N, 2), to the body frame, mm, shape (N, 3)."""
        flat = as_points(points)
        out = np.clip(np.abs(flat[:, 0]), self.xs[0], self.xs[-1])
        low = np.clip(flat[:, 1], self.ys[0], self.ys[-1])
        turn = self._splines[0](low, out, grid=False) * np.sign(flat[:, 0])
        down = self._splines[1](low, out, grid=False)
        return self.half.surface(turn, down)

    def stretch(self, points: ArrayLike, step: float = 2.0) -> Floats:
        """Return length in space over length on the cloth, across and down.

        Parameters
        ----------
        points : array_like, shape (N, 2)
            On the face, mm.
        step : float
            Length of the short threads that are measured, mm.

        Returns
        -------
        ndarray, shape (N, 2)
        """
        flat = as_points(points)
        return np.column_stack(
            [
                np.linalg.norm(self.place(flat + half) - self.place(flat - half), axis=1) / step
                for half in (np.array([step / 2, 0.0]), np.array([0.0, step / 2]))
            ]
        )


def drape(half: Half, face: Face) -> Drape:
    """Lay a top's front or back on its half of a form.

    Parameters
    ----------
    half : Half
    face : Face
        The front or back of a top.
    """
    _, top, _, bottom = _bounds(face)
    wide = float(face.outline[:, 0].max())
    xs = np.arange(ACROSS, dtype=np.float64) * (wide / (ACROSS - 2))
    step = (bottom - top) / (DOWN - 1)
    above = math.ceil(-top / step)
    ys = (np.arange(DOWN + 1, dtype=np.float64) - above) * step
    seam = int(above)
    angle, fall = _first_guess(half, face, xs, ys)
    net = _Net(half, face, xs, ys, seam, float(fall[seam, 0]))
    for _ in range(18):
        angle, fall, moved = net.improve(angle, fall)
        if moved < 0.5:
            break
    return Drape(half, xs, ys, angle, fall)


def _bounds(face: Face) -> tuple[float, float, float, float]:
    (x0, y0), (x1, y1) = face.outline.min(axis=0), face.outline.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def _first_guess(half: Half, face: Face, xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
    """Return angle and fall by lengths along the centre line, then along each ellipse."""
    profile = half.surface(np.zeros_like(half.falls), half.falls)
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(profile, axis=0), axis=1))])
    centre = np.interp(ys - face.along["shoulder_top"].value, run, half.falls)
    width, depth = half.ellipse(centre)
    quarter = width * ellipse_quarter(depth / width)
    angle = np.clip(xs[None, :] / quarter[:, None], 0.0, 1.1) * math.pi / 2
    out = width[:, None] * np.sin(np.minimum(angle, math.pi / 2))
    fall = np.maximum(centre[:, None], 0.6 * half.shoulder_line(out))
    return angle, fall


class _Net:
    """The net's threads and their lengths on the flat cloth."""

    def __init__(
        self, half: Half, face: Face, xs: Floats, ys: Floats, seam: int, anchor: float
    ) -> None:
        self.half, self.shape, self.seam, self.anchor = half, (len(ys), len(xs)), seam, anchor
        index = np.arange(len(ys) * len(xs)).reshape(self.shape)
        flat = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        cloth = shapely.Polygon(face.outline).buffer(1.0)
        on = shapely.contains_xy(cloth, flat[:, 0], flat[:, 1])
        pairs = [
            (index[:, :-1], index[:, 1:], 1.0),
            (index[:-1], index[1:], 1.0),
            (index[:-1, :-1], index[1:, 1:], DIAGONAL),
            (index[:-1, 1:], index[1:, :-1], DIAGONAL),
        ]
        self.first = np.concatenate([a.ravel() for a, _, _ in pairs])
        self.second = np.concatenate([b.ravel() for _, b, _ in pairs])
        kind = np.concatenate([np.full(a.size, weight) for a, _, weight in pairs])
        inside = on[self.first] & on[self.second]
        self.weight = kind * np.where(inside, 1.0, OFF_CLOTH)
        self.length = np.linalg.norm(flat[self.first] - flat[self.second], axis=1)
        self.column = np.tile(np.arange(len(xs)), len(ys))
        # Bends: heights along crossing threads (the mirror image continues them at the middle),
        # angles along both kinds. Unknowns are all angles, then all heights.
        heights = index + index.size
        self.bends = [
            np.concatenate([part.ravel() for part in parts])
            for parts in (
                (heights[:, :-2], heights[:, 1], index[:-2], index[:, :-2]),
                (heights[:, 1:-1], heights[:, 0], index[1:-1], index[:, 1:-1]),
                (heights[:, 2:], heights[:, 1], index[2:], index[:, 2:]),
            )
        ]
        self.rows = self._on_shoulder(face, xs, ys)
        self.neck, self.neck_angle = self._at_neck(face.along["shoulder_top"].value, xs, ys)
        pit, hem = face.along["pit_line"].value, face.along["hem"].value
        hang = SIDE_FALL * (pit - face.along["shoulder_top"].value)
        sides = (pit, (pit + hem) / 2, hem)
        columns = np.round(side_at(face, np.array(sides)) / xs[1])
        self.sides = [
            (*self._between(y, xs, ys, int(column)), hang + y - pit)
            for y, column in zip(sides, columns, strict=True)
        ]

    def _at_neck(self, top: float, xs: Floats, ys: Floats) -> tuple[list[tuple[int, float]], float]:
        """Return the knots around the neck point with their shares, and its angle on the form.

        A collar keeps the neck's width; without it the shoulders would slide apart.
        """
        neck = self.half.neck
        column = int(neck / xs[1])
        aside = neck / xs[1] - column
        knots = []
        for which, part in ((column, 1 - aside), (column + 1, aside)):
            upper, lower, share = self._between(top, xs, ys, which)
            knots += [(upper, part * (1 - share)), (lower, part * share)]
        width = float(self.half.ellipse(np.zeros(1))[0][0])
        return knots, math.asin(min(neck / width, 0.99))

    def _on_shoulder(self, face: Face, xs: Floats, ys: Floats) -> list[tuple[int, int, float]]:
        """Return, by column, the two knots that the shoulder line runs between, and how far."""
        top, tip = face.along["shoulder_top"].value, face.along["shoulder_tip"].value
        neck, end = self.half.neck, self.half.shoulder
        found = []
        for column, x in enumerate(xs):
            # A thread further on either side, so that the net's edge does not flutter.
            if neck - xs[1] <= x <= end + 1.5 * xs[1]:
                y = top + (tip - top) * (x - neck) / (end - neck)
                found.append(self._between(y, xs, ys, column))
        return found

    @staticmethod
    def _between(y: float, xs: Floats, ys: Floats, column: int) -> tuple[int, int, float]:
        """Return the two knots of a column that a height runs between, and how far."""
        place = (y - ys[0]) / (ys[1] - ys[0])
        row = int(np.clip(math.floor(place), 0, len(ys) - 2))
        return row * len(xs) + column, (row + 1) * len(xs) + column, place - row

    def improve(self, angle: Floats, fall: Floats) -> tuple[Floats, Floats, float]:
        """Return the net after one damped Gauss-Newton step, and its largest move, mm."""
        from scipy import sparse
        from scipy.sparse.linalg import spsolve

        turn, down = angle.ravel(), fall.ravel()
        count = len(turn)
        surface, scale = self.half.surface, float(self.half.half_width.mean())
        place = surface(turn, down)
        by_turn = (surface(turn + 1e-4, down) - surface(turn - 1e-4, down)) / 2e-4 / scale
        by_down = (surface(turn, down + 0.05) - surface(turn, down - 0.05)) / 0.1
        apart = place[self.first] - place[self.second]
        long = np.maximum(np.linalg.norm(apart, axis=1), 1e-9)
        towards = apart / long[:, None] * self.weight[:, None]
        rows = np.arange(len(long))
        blocks = [
            (rows, self.first, np.sum(towards * by_turn[self.first], axis=1)),
            (rows, self.second, -np.sum(towards * by_turn[self.second], axis=1)),
            (rows, self.first + count, np.sum(towards * by_down[self.first], axis=1)),
            (rows, self.second + count, -np.sum(towards * by_down[self.second], axis=1)),
        ]
        residual = [self.weight * (long - self.length)]
        line = self.half.shoulder_line(place[:, 0])
        next_row = len(long)
        held_at = [
            (*knots, (1 - knots[2]) * line[knots[0]] + knots[2] * line[knots[1]])
            for knots in self.rows
        ]
        for upper, lower, share, wanted in [*held_at, *self.sides]:
            row = np.array([next_row])
            for knot, part in ((upper, 1 - share), (lower, share)):
                blocks.append((row, np.array([knot + count]), np.array([part])))
            height = (1 - share) * down[upper] + share * down[lower]
            residual.append(np.array([height - wanted]))
            next_row += 1
        for knot, part in self.neck:
            blocks.append((np.array([next_row]), np.array([knot]), np.array([part])))
        aside = sum(part * turn[knot] for knot, part in self.neck) - self.neck_angle
        residual.append(np.array([scale * aside]))
        next_row += 1
        rows = next_row + np.arange(len(self.bends[0]))
        bent = np.zeros(len(rows))
        unknowns = np.concatenate([turn * scale, down])
        for knots, part in zip(self.bends, (BEND, -2 * BEND, BEND), strict=True):
            blocks.append((rows, knots, np.full(len(rows), part)))
            bent += part * unknowns[knots]
        residual.append(bent)
        next_row += len(rows)
        held = self.seam * self.shape[1]
        blocks.append((np.array([next_row]), np.array([held + count]), np.array([10.0])))
        residual.append(np.array([10.0 * (down[held] - self.anchor)]))
        i, j, v = (np.concatenate([block[k] for block in blocks]) for k in range(3))
        matrix = sparse.csr_matrix((v, (i, j)), shape=(next_row + 1, 2 * count))
        free = np.concatenate([self.column > 0, np.ones(count, dtype=bool)])
        matrix = matrix[:, np.flatnonzero(free)]
        normal = matrix.T @ matrix + 3e-3 * sparse.identity(int(free.sum()))
        step = np.zeros(2 * count)
        step[free] = -spsolve(normal.tocsc(), matrix.T @ np.concatenate(residual))
        step = np.clip(step, -15.0, 15.0)
        turned = np.clip(turn + step[:count] / scale, -0.2, 2.4)
        return (
            turned.reshape(self.shape),
            (down + step[count:]).reshape(self.shape),
            float(np.abs(step).max()),
        )
