"""What the covariance must allow for that the fit leaves out: keystone, and uneven faces.

A projector's electronics can distort its picture so that it looks square on a wall (keystone
correction). Seen on a flat surface, such a picture can hardly be told from the light of a lens
elsewhere; only the centre of the lens's distortion, and surfaces at another height, tell the
two apart. The distortion, here called the *bend* of the picture, is never fitted. A score test
looks for it, and where photos alone tell how light moves with height, the covariance carries
what they leave open of it.

Waves of a face that no quadratic follows show as zones in which all corners miss together
(`zones`). The covariance then takes corner noise to be as large as they make it, and adds how
far off the zones themselves are.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from calibration.model.pinhole import PARAMETERS, Array
from calibration.solve.least_squares import FitProblem, GaussianPrior, covariance
from calibration.solve.models import bend_places
from calibration.solve.priors import DECENTRED, KEYSTONE, projector_places
from calibration.solve.values import Inherited, Stated
from calibration.solve.zones import Zones, with_zone_noise

BEND_ERROR = 0.04
"""Standard error of a bend's terms. Ten degrees of keystone correction are three of them (the
angle's tangent over the throw ratio, here 1.4). Simulated (cards laid to 0.3 mm), of 24
calibrations with ten degrees left on and a spacer 19 are refused and 5 are within the bound up
to 20 mm; on the bare platen 17 of 24 sound rigs are accepted at 4 mm, as many as without."""

STRETCH_ERROR = 0.01
"""Standard error of aspect, and of skew over focal length: a bent picture is also scaled
unevenly, by 1.5 % where ten degrees shorten it."""


def map_covariance(
    problem: FitProblem,
    vector: Array,
    zones: tuple[Zones, ...],
    stated: Stated,
    inherited: Inherited | None = None,
) -> Array:
    """Return the covariance of the map's parameters, shape (20, 20).

    It allows for a keystone correction left on, unless a tape has told where a lens is that is
    well centred, or the fit has freed the keystone already. That is an approximation: the map
    itself keeps the bend at 0 even where the photos favour another value, short of what
    `models.explain` tells; that the bounds hold all the same is simulated (`BEND_ERROR`). A lens
    known from an earlier calibration keeps the doubt that it had then.
    """
    model = problem.model
    problem = with_zone_noise(problem, zones)
    off_centre = problem.free[projector_places(model, DECENTRED)].any()
    if stated.lens is None or off_centre:
        problem = with_keystone_prior(problem, vector, inherited)
    spread = covariance(problem, vector)[np.ix_(model.layout.map, model.layout.map)]
    # Bounds are stated for single points. There, zones that are each off in their own direction
    # are off like a projector shifted as far.
    off = zones[0].off if zones[0].beyond_noise else 0.0
    shift = np.zeros((len(spread), 2))
    shift[[PARAMETERS.index(name) for name in ("tx", "ty", "tz")]] = (
        model.projector(vector).rotation[:, :2] * off
    )
    return np.asarray(spread + shift @ shift.T)


def with_keystone_prior(
    problem: FitProblem, vector: Array, inherited: Inherited | None = None
) -> FitProblem:
    """Return the problem with keystone freed and a prior that a little may be left on."""
    model = problem.model
    keystone, bend = projector_places(model, KEYSTONE), bend_places(model)
    if problem.free[keystone].all():
        return problem
    if inherited is not None:
        known = np.zeros_like(problem.free)
        known[model.layout.map[np.diag(np.array(inherited.covariance)) > 0]] = True
        return replace(problem, free=problem.free | (known & (keystone | bend)))
    places = np.flatnonzero(keystone)
    errors = STRETCH_ERROR * np.array([1.0, model.projector(vector).focal])
    priors = [
        GaussianPrior.each(places, vector[places], errors),
        GaussianPrior.each(np.flatnonzero(bend), 0.0, BEND_ERROR),
    ]
    return replace(problem, priors=[*problem.priors, *priors], free=problem.free | keystone | bend)


def estimate_without_prior(
    problem: FitProblem, vector: Array, zones: tuple[Zones, ...], place: int, known: float
) -> tuple[float, float]:
    """Return what the photos alone say of an unknown, and its standard error.

    What was known of it beforehand (mean 0, standard error `known`) is taken out again:
    for normal errors precisions add, and so do means weighted by them. Keystone is taken to be
    off, unless the problem comes from `with_keystone_prior`. Where faces are uneven the mean
    is that of the fit, which took them to be even, and the standard error is widened.

    Parameters
    ----------
    place : int
        Where the unknown stands in the long vector.
    known : float
        The standard error returned is infinite where the photos add less than a thousandth to
        what was known.
    """
    widened = with_zone_noise(problem, zones)
    left = float(covariance(widened, vector)[place, place]) / known**2
    if left > 0.999:
        return 0.0, math.inf
    return float(vector[place]) / (1 - left), known * math.sqrt(left / (1 - left))
