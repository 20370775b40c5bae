"""Do residuals scatter, or do neighbours miss together? The latter is no noise.

Corner noise differs from corner to corner; what a model leaves out (waves in the platen, a
crease in the paper on it) moves all corners of a zone alike. So the mean residual of each
zone is set against what noise alone would leave of it after the fit: the analysis of
variance between groups (Fisher 1925), with the fit's own share taken off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calibration.model.pinhole import Array
from calibration.solve.least_squares import FitProblem, covariance, weights

COLUMNS, ROWS = 4, 5
"""Zones of some 100 mm: waves as long leave several of them off, to both sides."""

LEAST_SHARE = 4.0
"""Coordinates of zone means that the fit must have left free, else nothing can be told."""

LEAST_CORNERS = 3

EVEN = 1.6
"""Ratio up to which zones count as even: of 20 degrees of freedom, as with the zones here,
chi-squared is above in 5 % where there is nothing but noise."""

LET_GO = 0.2
"""Robust weight below which a corner is a false one, and tells nothing of its zone."""


@dataclass(frozen=True)
class Zones:
    """How much more the zones of one lay's light are off than noise would have them.

    Attributes
    ----------
    ratio : float
        Mean square of the zones' means over that of noise alone; about 1 where noise is all.
    off : float
        How far zones are off beyond noise, one coordinate, mm.
    """

    ratio: float = 1.0
    off: float = 0.0


@dataclass(eq=False)
class _Sum:
    """What is added up over the corners of a zone: misses, their covariance, their slope."""

    off: Array
    spread: Array
    slope: Array
    weight: float = 0.0
    count: int = 0


def by_level(task: FitProblem, vector: Array) -> tuple[Zones, ...]:
    """Return how the zones of each level's lit pattern are off, all its photos together."""
    problem = task.problem
    sums: dict[tuple[int, int], _Sum] = {}
    pull = weights(task, vector)[: len(problem.groups)].reshape(-1, 2).min(axis=1)
    held_on = pull > LET_GO
    residuals = problem.residuals(vector).reshape(-1, 2)
    slopes = problem.jacobian(vector).reshape(len(residuals), 2, -1)
    row = 0
    for k, seen in enumerate(problem.photos):
        row += len(seen.card)
        rows = slice(row, row + len(seen.pattern))
        row = rows.stop
        camera, height = problem.camera(vector, k), problem.height(vector, seen.level)
        points = camera.unproject(seen.pattern_pixels, height)
        if not len(points) or not np.isfinite(points).all():  # none seen, or a fit gone astray
            continue
        _, _, by_point = camera.jacobian(np.column_stack([points, np.full(len(points), height)]))
        # In mm, and weighed by precision: a poor photo tells the less of the face.
        onto = np.linalg.inv(by_point[:, :, :2]) / task.noise[2 * k + 1] ** 2
        off = (onto @ residuals[rows, :, None])[:, :, 0]
        spread = onto @ onto.transpose(0, 2, 1) * task.noise[2 * k + 1] ** 2
        slope = onto @ slopes[rows]
        for zone, there in _zones(points):
            mine = there & held_on[rows]
            held = sums.setdefault(
                (seen.level, zone),
                _Sum(np.zeros(2), np.zeros((2, 2)), np.zeros((2, len(vector)))),
            )
            held.off += off[mine].sum(axis=0)
            held.spread += spread[mine].sum(axis=0)
            held.slope += slope[mine].sum(axis=0)
            held.weight += float(mine.sum()) / task.noise[2 * k + 1] ** 2
            held.count += int(mine.sum())
    known = covariance(task, vector)
    return tuple(
        _judge([each for (at, _), each in sums.items() if at == level], known)
        for level in range(len(problem.levels))
    )


def inflated(task: FitProblem, zones: tuple[Zones, ...]) -> FitProblem:
    """Return the task with the noise that the zones' means show, where they are uneven."""
    noise = task.noise.copy()
    for k, seen in enumerate(task.problem.photos):
        ratio = zones[seen.level].ratio
        noise[2 * k : 2 * k + 2] *= np.sqrt(ratio) if ratio > EVEN else 1.0
    return replace(task, noise=noise)


def _zones(points: Array) -> list[tuple[int, Array]]:
    """Return each zone's number with a mask of its points."""
    low, high = points.min(axis=0), points.max(axis=0)
    share = (points - low) / np.maximum(high - low, 1e-9)
    places = np.minimum((share * (COLUMNS, ROWS)).astype(int), (COLUMNS - 1, ROWS - 1))
    number = places[:, 0] * ROWS + places[:, 1]
    return [(int(zone), number == zone) for zone in np.unique(number)]


def _judge(sums: list[_Sum], known: Array) -> Zones:
    """Set the zones of one level against noise; `known` is the covariance of the fit."""
    squares = share = beyond = 0.0
    for each in sums:
        if each.count < LEAST_CORNERS:
            continue
        fitted = each.slope @ known @ each.slope.T
        whitened = np.linalg.solve(each.spread, np.column_stack([each.off, fitted]))
        squares += float(each.off @ whitened[:, 0])
        share += 2.0 - float(np.trace(whitened[:, 1:]))
        left = float(np.trace(each.spread - fitted))
        beyond += (float(each.off @ each.off) - left) / each.weight**2
    if share < LEAST_SHARE:
        return Zones()
    return Zones(squares / share, float(np.sqrt(max(beyond, 0.0) / share)))
