"""Which projector the photos show: a plain lens, one not quite centred, or a bent picture.

The models are nested: each frees a little more than the plain lens. Score tests tell whether the
plain lens leaves something to explain; only then are the others fitted, and compared by the same
robust cost. On a board of another height than stated light moves much as a lens out of centre
would have it, so that is a rival, too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.model.pinhole import Array
from calibration.solve.least_squares import (
    FitProblem,
    GaussianPrior,
    Prior,
    gain_of_freeing,
    minimise,
    noise_left,
)
from calibration.solve.priors import DECENTRED, KEYSTONE, projector_places
from calibration.solve.residuals import ResidualModel
from calibration.solve.zones import Zones, with_zone_noise

PLAIN = "pinhole with lens shift and distortion"
OFF_CENTRE = "pinhole with a lens that is not quite centred"
KEYSTONED = "pinhole with keystone"
"""The projector models; the photos decide between them."""

GAIN = 10.0
"""Gain in cost from which something counts as seen: chi-squared with two degrees of freedom is
above in 0.7 % of plain projectors."""

CLEARLY = 10.0
"""By how much a lens out of centre must be cheaper than a board of another height: odds of 150 to
1. Cheaper than a bent picture is enough, since the covariance carries what is left of that."""

STEPS, MOST_STEPS = 40, 240
"""How far a rival is followed. Of two pictures bent by 15 degrees both were told after 200."""

BEND_SPREAD, STRETCH_SPREAD, BOARD_SPREAD = 0.12, 0.03, 3.0
"""Standard errors of what a rival frees: a bend's terms, aspect and skew over focal length, and
the height of a board, mm. Wide, so that a rival is never held to be dearer than it is."""


@dataclass(frozen=True, eq=False)
class Explained:
    """The model chosen, and the fit with it.

    Attributes
    ----------
    model : str
    problem : FitProblem
    vector : ndarray
    cost : float
        Of the fit; nan for a plain lens, which is not fitted again.
    """

    model: str
    problem: FitProblem
    vector: Array
    cost: float = math.nan


def explain(
    problem: FitProblem, vector: Array, zones: tuple[Zones, ...], inherited: bool
) -> Explained:
    """Return the model that the photos ask for, from the fit of a plain lens.

    Parameters
    ----------
    zones : tuple of Zones
        Of the plain lens: what an uneven face explains needs no other lens.
    inherited : bool
        Whether the lens is known from an earlier calibration.
    """
    widened = with_zone_noise(problem, zones)
    bent, off_centre = bend_places(problem.model), projector_places(problem.model, DECENTRED)
    by_bend = _gain(widened, vector, bent) > GAIN
    by_centre = not inherited and _gain(widened, vector, off_centre) > GAIN
    if by_centre or (by_bend and not inherited):
        found = _fitted(OFF_CENTRE, replace(problem, free=problem.free | off_centre), vector)
        if _best(found, problem, vector):
            return found
    if by_bend:
        keystone = projector_places(problem.model, KEYSTONE)
        return _fitted(KEYSTONED, replace(problem, free=problem.free | keystone), vector)
    return Explained(OFF_CENTRE if problem.free[off_centre].any() else PLAIN, problem, vector)


def bend_places(model: ResidualModel) -> NDArray[np.bool_]:
    """Return a mask of the bend of the projector's picture, shape (layout.size,)."""
    mask = np.zeros(model.layout.size, dtype=np.bool_)
    mask[model.layout.bend] = True
    return mask


def _gain(problem: FitProblem, vector: Array, more: NDArray[np.bool_]) -> float:
    """Return how much freeing unknowns gains; with other noise, the fit itself would move, too."""
    nothing = np.zeros_like(problem.free)
    return gain_of_freeing(problem, vector, more) - gain_of_freeing(problem, vector, nothing)


def _best(found: Explained, problem: FitProblem, vector: Array) -> bool:
    """Tell whether a lens out of centre explains the photos best, by the noise that it leaves."""
    boards = [(rival, found.cost + CLEARLY) for rival in _board(problem)]
    return not any(
        _reaches(replace(rival, noise=found.problem.noise), vector, cost)
        for rival, cost in [*boards, (_bent(problem), found.cost)]
    )


def _reaches(problem: FitProblem, vector: Array, cost: float) -> bool:
    """Tell whether a fit becomes as cheap as this; a bend lies at the end of a long valley."""
    before = math.inf
    for _ in range(MOST_STEPS // STEPS):
        result = minimise(problem, vector, STEPS)
        if result.cost <= cost:
            return True
        if result.cost > before - 1e-3:
            return False
        vector, before = result.vector, result.cost
    return False


def _fitted(model: str, problem: FitProblem, vector: Array) -> Explained:
    """Fit a model, with the noise that it leaves."""
    vector = minimise(problem, vector).vector
    problem = replace(problem, noise=noise_left(problem, vector))
    found = minimise(problem, vector)
    return Explained(model, problem, found.vector, found.cost)


def _bent(problem: FitProblem) -> FitProblem:
    """Return the problem of a picture with keystone correction."""
    model = problem.model
    keystone, bent = projector_places(model, KEYSTONE), bend_places(model)
    stretch = np.flatnonzero(keystone)
    errors = STRETCH_SPREAD * np.array([1.0, model.size[0]])
    priors = [
        GaussianPrior.each(stretch, [1.0, 0.0], errors),
        GaussianPrior.each(np.flatnonzero(bent), 0.0, BEND_SPREAD),
    ]
    return replace(problem, priors=[*problem.priors, *priors], free=problem.free | keystone | bent)


def _board(problem: FitProblem) -> list[FitProblem]:
    """Return the problem of boards of another height than stated, if there are boards."""
    layout, levels = problem.model.layout, problem.model.levels
    places = [layout.height_error(level) for level, height in enumerate(levels) if height]
    if not places:
        return []
    others: list[Prior] = [
        each
        for each in problem.priors
        if not (isinstance(each, GaussianPrior) and np.isin(each.places, places).any())
    ]
    wide = GaussianPrior.each(places, 0.0, BOARD_SPREAD)
    return [replace(problem, priors=[*others, wide])]
