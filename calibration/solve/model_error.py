"""What a covariance must allow for beside what was fitted: keystone, and uneven faces.

A projector's electronics can bend its picture so that it looks square on a wall. To first
order a flat scene takes a bent picture for the light of a lens elsewhere; only the centre
of the lens's distortion and what lies higher tell the two apart. A bend is never fitted: a
score test looks for it, and where photos alone tell how light moves with height, the
covariance carries what they leave open of it.

Waves of a face that no quadratic follows show as zones in which all corners miss together
(`solve_zones`); the covariance takes corner noise for as large as they make it, and adds
how far off they are themselves.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.model.pinhole import PARAMETERS, Array
from calibration.solve.least_squares import FitProblem, Gauss, covariance, gain_of_freeing
from calibration.solve.priors import KEYSTONE, projector_places
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import Inherited, Stated
from calibration.solve.zones import EVEN, Zones, by_level, inflated

BEND_DOUBT = 0.04
"""Standard error of a bend's terms. Ten degrees of keystone correction are three of them (the
angle's tangent over the throw ratio, here 1.4). Simulated (cards laid to 0.3 mm), of 24
calibrations with ten degrees left on and a board 19 are refused and 5 are within the bound up
to 20 mm; on the bare platen 17 of 24 sound rigs are accepted at 4 mm, as many as without."""

STRETCH_DOUBT = 0.01
"""Standard error of aspect, and of skew over focal length: a bent picture is also scaled
unevenly, by 1.5 % where ten degrees shorten it."""

BEND_GAIN = 10.0
"""Gain in cost from which a bend counts as seen: chi-squared with two degrees of freedom is
above in 0.7 % of plain projectors."""


def bent(task: FitProblem, vector: Array) -> bool:
    """Tell whether the photos show a bend, beyond what uneven faces can feign."""
    even = inflated(task, by_level(task, vector))
    nothing = np.zeros_like(task.free)  # with other noise, the fit itself would move a little
    gain = gain_of_freeing(even, vector, _bend(task.problem))
    return gain - gain_of_freeing(even, vector, nothing) > BEND_GAIN


def map_covariance(
    task: FitProblem,
    vector: Array,
    stated: Stated,
    inherited: Inherited | None = None,
    even: bool = False,
) -> Array:
    """Return the covariance of the map's parameters, shape (20, 20).

    It allows for a keystone correction left on, unless a tape has told where the lens is
    or the fit has freed the keystone already. That is an approximation: the map itself keeps
    the bend at 0 even where the photos lean to another value, short of what `bent` refuses;
    that the bounds hold all the same is simulated (`BEND_DOUBT`). A lens told by an earlier
    calibration is doubted as far as it was then. With `even` it takes the faces for even.
    """
    problem = task.problem
    zones = tuple(Zones() for _ in problem.levels) if even else by_level(task, vector)
    task = inflated(task, zones)
    if stated.lens is None:
        task = doubting(task, vector, inherited)
    spread = covariance(task, vector)[np.ix_(problem.layout.map, problem.layout.map)]
    # Bounds are told point by point: there, zones that are off each their own way are off like
    # a projector shifted as far.
    off = zones[0].off if zones[0].ratio > EVEN else 0.0
    shift = np.zeros((len(spread), 2))
    shift[[PARAMETERS.index(name) for name in ("tx", "ty", "tz")]] = (
        problem.projector(vector).rotation[:, :2] * off
    )
    return np.asarray(spread + shift @ shift.T)


def doubting(task: FitProblem, vector: Array, inherited: Inherited | None = None) -> FitProblem:
    """Return the task with a keystone correction left on allowed for, as `map_covariance` does."""
    problem = task.problem
    keystone, bend = projector_places(problem, KEYSTONE), _bend(problem)
    if task.free[keystone].all():
        return task
    if inherited is not None:
        known = np.zeros_like(task.free)
        known[problem.layout.map[np.diag(np.array(inherited.covariance)) > 0]] = True
        return replace(task, free=task.free | (known & (keystone | bend)))
    places = np.flatnonzero(keystone)
    errors = STRETCH_DOUBT * np.array([1.0, problem.projector(vector).focal])
    doubts = [
        Gauss.each(places, vector[places], errors),
        Gauss.each(np.flatnonzero(bend), 0.0, BEND_DOUBT),
    ]
    return replace(task, priors=[*task.priors, *doubts], free=task.free | keystone | bend)


def light_sees(task: FitProblem, vector: Array, place: int, known: float) -> tuple[float, float]:
    """Return what the photos alone say of an unknown, and its standard error.

    What was known of it beforehand (mean 0, standard error `known`) is taken out again:
    for normal errors precisions add, and so do means weighed by them. The picture is taken
    for unbent unless the task is `doubting`. Where faces are uneven the mean is that of the
    fit, which took them for even, and the standard error is widened.

    Parameters
    ----------
    place : int
        Where the unknown stands in the long vector.
    known : float
        Infinite standard error is returned where the photos add less than a thousandth to it.
    """
    even = inflated(task, by_level(task, vector))
    left = float(covariance(even, vector)[place, place]) / known**2
    if left > 0.999:
        return 0.0, math.inf
    return float(vector[place]) / (1 - left), known * math.sqrt(left / (1 - left))


def _bend(problem: ResidualModel) -> NDArray[np.bool_]:
    """Return a mask of the bend of the projector's picture, shape (layout.size,)."""
    mask = np.zeros(problem.layout.size, dtype=np.bool_)
    mask[problem.layout.bend] = True
    return mask
