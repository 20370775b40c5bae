"""Do neighbouring corners miss together? If so the platen is uneven: noise scatters.

Corner noise differs from corner to corner. What a model leaves out (waves in the platen, a
crease in the paper on it) moves all corners of a zone alike. So the mean residual of each
zone is compared with what noise alone would leave of it after the fit: the analysis of
variance between groups (Fisher 1925), allowing for the share that the fit has absorbed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calibration.model.pinhole import Array
from calibration.solve.least_squares import FitProblem, covariance, weights

COLUMNS, ROWS = 4, 5
"""Zones of about 100 mm: waves of that length put several of them off, in both directions."""

LEAST_SHARE = 4.0
"""Coordinates of zone means that the fit must have left free; with fewer nothing can be told."""

LEAST_CORNERS = 3

BEYOND_NOISE = 1.6
"""Ratio from which zones are off by more than noise, so that bounds are widened. With 20 degrees
of freedom, as the zones here have, chi-squared is above in 5 % where there is only noise."""

UNEVEN = 3.0
"""Ratio from which the face is called uneven; chi-squared is above in one of 10^5 even ones."""

LEAST_UNEVENNESS = 0.05
"""Zones that are off by less than this, mm, are no uneven face that a hand could feel, however
clearly sharp photos show it; corners scatter by as much."""

LEAST_WEIGHT = 0.2
"""Robust weight below which a corner is a false one, and tells nothing of its zone."""


@dataclass(frozen=True)
class Zones:
    """How far the zones of the light at one level are off, compared with noise.

    Attributes
    ----------
    ratio : float
        Mean square of the zones' means over that of noise alone; about 1 if there is only noise.
    off : float
        How far zones are off beyond noise, one coordinate, mm.
    """

    ratio: float = 1.0
    off: float = 0.0

    @property
    def beyond_noise(self) -> bool:
        """Whether zones are off by more than noise, so that bounds must be widened."""
        return self.ratio > BEYOND_NOISE

    @property
    def unevenness(self) -> float:
        """How far the zones of an uneven face are off, mm; 0 where the face counts as even."""
        return self.off if self.ratio > UNEVEN else 0.0

    @property
    def palpable(self) -> bool:
        """Whether the face is so uneven that a hand could feel it."""
        return self.unevenness > LEAST_UNEVENNESS


@dataclass(eq=False)
class _Sum:
    """Sums over the corners of a zone: residuals, their covariance, their slope."""

    off: Array
    spread: Array
    slope: Array
    weight: float = 0.0
    count: int = 0


def zones_by_level(problem: FitProblem, vector: Array) -> tuple[Zones, ...]:
    """Return how the zones of each level's lit pattern are off, all its photos together."""
    model = problem.model
    sums: dict[tuple[int, int], _Sum] = {}
    weight = weights(problem, vector)[: len(model.groups)].reshape(-1, 2).min(axis=1)
    kept = weight > LEAST_WEIGHT
    residuals = model.residuals(vector).reshape(-1, 2)
    slopes = model.jacobian(vector).reshape(len(residuals), 2, -1)
    row = 0
    for k, seen in enumerate(model.photos):
        row += len(seen.card)
        rows = slice(row, row + len(seen.pattern))
        row = rows.stop
        camera, height = model.camera(vector, k), model.height(vector, seen.level)
        points = camera.unproject(seen.pattern_pixels, height)
        if not len(points) or not np.isfinite(points).all():  # none seen, or the fit diverged
            continue
        _, _, by_point = camera.jacobian(np.column_stack([points, np.full(len(points), height)]))
        # In mm, weighted by precision, so that a poor photo counts less.
        onto = np.linalg.inv(by_point[:, :, :2]) / problem.noise[2 * k + 1] ** 2
        off = (onto @ residuals[rows, :, None])[:, :, 0]
        spread = onto @ onto.transpose(0, 2, 1) * problem.noise[2 * k + 1] ** 2
        slope = onto @ slopes[rows]
        for zone, there in _masks(points):
            mine = there & kept[rows]
            total = sums.setdefault(
                (seen.level, zone),
                _Sum(np.zeros(2), np.zeros((2, 2)), np.zeros((2, len(vector)))),
            )
            total.off += off[mine].sum(axis=0)
            total.spread += spread[mine].sum(axis=0)
            total.slope += slope[mine].sum(axis=0)
            total.weight += float(mine.sum()) / problem.noise[2 * k + 1] ** 2
            total.count += int(mine.sum())
    known = covariance(problem, vector)
    return tuple(
        _compared([each for (at, _), each in sums.items() if at == level], known)
        for level in range(len(model.levels))
    )


def with_zone_noise(problem: FitProblem, zones: tuple[Zones, ...]) -> FitProblem:
    """Return the problem with corner noise as large as zones that are off make it."""
    noise = problem.noise.copy()
    for k, seen in enumerate(problem.model.photos):
        level = zones[seen.level]
        noise[2 * k : 2 * k + 2] *= np.sqrt(level.ratio) if level.beyond_noise else 1.0
    return replace(problem, noise=noise)


def _masks(points: Array) -> list[tuple[int, Array]]:
    """Return each zone's number with a mask of its points."""
    low, high = points.min(axis=0), points.max(axis=0)
    share = (points - low) / np.maximum(high - low, 1e-9)
    places = np.minimum((share * (COLUMNS, ROWS)).astype(int), (COLUMNS - 1, ROWS - 1))
    number = places[:, 0] * ROWS + places[:, 1]
    return [(int(zone), number == zone) for zone in np.unique(number)]


def _compared(sums: list[_Sum], known: Array) -> Zones:
    """Compare the zones of one level with noise; `known` is the covariance of the fit."""
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
