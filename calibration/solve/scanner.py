"""A scanner's geometry from where its crosses land: measured by hand, or seen by a camera."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points
from calibration.model.scanner import ScannerMap
from calibration.model.uncertainty import bound
from calibration.refusal import Refusal

LEAST_CROSSES = 6
"""Fewer leave nothing over that could show a slip."""

PLACE = 15.0
"""Standard deviation of where a scanner is said to hang, mm: a tape held to its housing."""
ANGLE = 0.04
"""Relative standard deviation of a stated full angle: from memory of data sheets."""
SEPARATION, SEPARATION_SD = 12.0, 8.0
"""Between the mirrors of small scanners, mm; from memory."""
CUBIC = 0.05
"""Standard deviation of a drive's bend, per radian squared: 0.6 % at 20 degrees. A guess."""
TURN = 0.5
"""Standard deviation of how a scanner is turned from straight down, radians."""
WORST = 4.0
"""A cross this many standard deviations off says that the numbers do not belong together."""


@dataclass(frozen=True)
class ScannerFit:
    """A scanner as solved.

    Attributes
    ----------
    scanner : ScannerMap
    covariance : tuple of tuple of float, (11, 11)
        Of its parameters, in the order of `ScannerMap.vector`.
    freedom : int
        Degrees of freedom behind it.
    rms : float
        Of the crosses about their places, mm.
    """

    scanner: ScannerMap
    covariance: tuple[tuple[float, ...], ...]
    freedom: int
    rms: float

    def bound(self, points: ArrayLike, height: float = 0.0) -> NDArray[np.float64]:
        """Return how far off the beam may land at points, 95 % bound, shape (N,), mm.

        As a projector's (`calibration.model.uncertainty.bound`).
        """
        slope = _slope(self.scanner, self.scanner.signal_from_platen(points, height), height)
        spread = np.asarray(self.covariance)
        return bound(np.einsum("nip,pq,njq->nij", slope, spread, slope), self.freedom)


def fit_scanner(
    points: ArrayLike,
    signals: ArrayLike,
    stated: ScannerMap,
    height: ArrayLike = 0.0,
    noise: float = 0.3,
) -> ScannerFit:
    """Return the scanner that lets signals land where they were seen to.

    Least squares on the platen with what was stated as a prior; which signal drives the first
    mirror is tried both ways.

    Parameters
    ----------
    points : array_like, shape (N, 2), platen frame, mm
    signals : array_like, shape (N, 2)
        Of each cross, -1 to 1.
    stated : ScannerMap
        As `ScannerMap.hung` gives it.
    height : float or array_like of shape (N,), mm
    noise : float
        Standard deviation of a measured coordinate, mm.

    Raises
    ------
    Refusal
        If there are too few crosses, or they do not belong together.
    """
    seen, given = as_points(points), as_points(signals)
    heights = np.broadcast_to(np.asarray(height, dtype=np.float64), len(seen))
    if len(seen) < LEAST_CROSSES:
        raise Refusal(f"Only {len(seen)} crosses were measured: measure {LEAST_CROSSES} or more.")
    spread = np.linalg.svd(seen - seen.mean(axis=0), compute_uv=False)[1] / np.sqrt(len(seen))
    if spread < 40.0:
        raise Refusal("The crosses cover too little of the platen: spread them to its corners.")
    place = -stated.rotation.T @ (stated.tx, stated.ty, stated.tz)
    angle = 2.0 / abs(stated.gain1)
    tries = [
        _solved(seen, given, heights, ScannerMap.hung(place, angle, SEPARATION, swapped), noise)
        for swapped in (False, True)
    ]
    _, fit, worst = min(tries, key=lambda each: each[0])
    if worst > WORST * max(noise, 0.3) * np.sqrt(2):
        raise Refusal(
            f"A cross lies {worst:.1f} mm from where any scanner could have put it with the "
            "others: measure again, and check which number belongs to which cross."
        )
    return fit


def _solved(
    seen: Points, given: Points, heights: NDArray[np.float64], start: ScannerMap, noise: float
) -> tuple[float, ScannerFit, float]:
    """Return cost, fit and the farthest cross of one way to drive the mirrors."""
    from scipy.optimize import least_squares  # takes a while to import

    usual = start.vector
    spreads = np.array([
        TURN, TURN, TURN, PLACE, PLACE, PLACE, SEPARATION_SD,
        ANGLE * abs(usual[7]), ANGLE * abs(usual[8]), CUBIC, CUBIC,
    ])  # fmt: skip

    def residuals(scaled: NDArray[np.float64]) -> NDArray[np.float64]:
        scanner = ScannerMap.from_vector(usual + scaled * spreads, start.swapped)
        off = (scanner.platen_from_signal(given, heights) - seen) / noise
        return np.concatenate([np.clip(off, -1e6, 1e6).ravel(), scaled])

    found = least_squares(residuals, np.zeros(len(usual)), method="lm", max_nfev=600)
    scanner = ScannerMap.from_vector(usual + found.x * spreads, start.swapped)
    scaled = np.linalg.inv(found.jac.T @ found.jac)
    freedom = 2 * len(seen)  # each parameter has a prior of its own
    excess = max(1.0, 2 * float(found.cost) / freedom)
    covariance = excess * scaled * np.outer(spreads, spreads)
    off = np.hypot(*(scanner.platen_from_signal(given, heights) - seen).T)
    fit = ScannerFit(
        scanner, tuple(map(tuple, covariance.tolist())), freedom, float(np.sqrt(np.mean(off**2)))
    )
    return float(found.cost), fit, float(off.max())


def _slope(scanner: ScannerMap, signals: Points, height: float) -> NDArray[np.float64]:
    """Return how far the beam moves for each parameter, shape (N, 2, 11), by differences."""
    vector = scanner.vector
    columns = []
    for k, value in enumerate(vector):
        step = 1e-5 * max(1.0, abs(value))
        ends = []
        for sign in (1.0, -1.0):
            moved = vector.copy()
            moved[k] += sign * step
            there = ScannerMap.from_vector(moved, scanner.swapped)
            ends.append(there.platen_from_signal(signals, height))
        columns.append((ends[0] - ends[1]) / (2 * step))
    return np.stack(columns, axis=2)
