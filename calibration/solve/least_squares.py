"""Weighted, robust least squares over a `ResidualModel` with priors; covariance of the result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.model.pinhole import PARAMETERS, Array, Pinhole
from calibration.model.trust_region import cauchy, least_squares
from calibration.solve.parameters import Indices
from calibration.solve.residuals import Predicted, ResidualModel

CORNER_ROBUST_SCALE = 4.0
"""Residual of a corner, in standard errors, at which its weight has halved. With this scale
Cauchy's loss keeps about 98 % of the efficiency on clean data and gives a false corner hardly
any weight."""

CARD_ROBUST_SCALE = 3.0
"""The same for a card's pose: one card laid badly must not shift the other three."""

NO_LOSS = 1e9
"""A robust scale so large that Cauchy's loss equals the plain square to rounding."""

MAXIMUM_STEPS = 60
"""Fits from a fair start take 5 to 25 steps."""

SETTLED, NEARLY = 1e-8, 1e-5
"""Relative change of the cost at which a fit ends; nearly, where another fit goes on from it."""


class Prior(Protocol):
    """What is known before the photos: residuals in standard errors, and their slope."""

    @property
    def robust_scale(self) -> float | None:
        """Residual at which the weight has halved, standard errors; None where it never does."""

    def residuals(self, vector: Array) -> Array:
        """Return the residuals, shape (M,)."""

    def jacobian(self, vector: Array) -> Array:
        """Return their slope by the long vector, shape (M, layout.size)."""


@dataclass(frozen=True, eq=False)
class GaussianPrior:
    """Unknowns known to a mean and a covariance.

    Attributes
    ----------
    places : ndarray of int, shape (N,)
        Which unknowns.
    mean : ndarray, shape (N,)
    root : ndarray, shape (M, N)
        Whitening matrix: ``root @ (x - mean)`` has unit covariance.
    robust_scale : float or None
    """

    places: Indices
    mean: Array
    root: Array
    robust_scale: float | None = None

    @classmethod
    def each(
        cls, places: ArrayLike, mean: ArrayLike, error: ArrayLike, robust_scale: float | None = None
    ) -> GaussianPrior:
        """Return a prior of unknowns that are independent of each other."""
        where = np.atleast_1d(np.asarray(places, dtype=np.intp))
        means = np.broadcast_to(np.asarray(mean, dtype=np.float64), len(where))
        errors = np.broadcast_to(np.asarray(error, dtype=np.float64), len(where))
        return cls(where, means, np.diag(1 / errors), robust_scale)

    def residuals(self, vector: Array) -> Array:
        """Return the whitened distance from the mean."""
        return np.asarray(self.root @ (vector[self.places] - self.mean))

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals`."""
        slope = np.zeros((len(self.root), len(vector)))
        slope[:, self.places] = self.root
        return slope


@dataclass(frozen=True, eq=False)
class LensPrior:
    """The projector's lens position as measured with a tape.

    Attributes
    ----------
    projector : slice
        Where the projector's parameters stand.
    position : ndarray, shape (3,), platen frame, mm
    error : float
        Standard error of each coordinate, mm.
    robust_scale : float or None
    """

    projector: slice
    position: Array
    error: float
    robust_scale: float | None = None

    def residuals(self, vector: Array) -> Array:
        """Return the distance of the solved lens from the measured one."""
        lens = Pinhole.from_vector(vector[self.projector]).lens
        return np.asarray((lens - self.position) / self.error)

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals`: the lens is at ``-R^T t``."""
        projector = Pinhole.from_vector(vector[self.projector])
        slope = np.zeros((3, len(vector)))
        slope[:, self.projector] = lens_slope(projector) / self.error
        return slope


def lens_slope(pinhole: Pinhole) -> Array:
    """Return the derivative of a pinhole's lens position by its parameters, shape (3, 15)."""
    slope = np.zeros((3, len(PARAMETERS)))
    slope[:, 9:12] = -np.einsum("kab,a->bk", pinhole.rotation_slopes, pinhole.translation)
    slope[:, 12:15] = -pinhole.rotation.T
    return slope


@dataclass(frozen=True, eq=False)
class FitProblem:
    """What is minimised: a residual model with priors, noise and the unknowns that are free.

    Attributes
    ----------
    model : ResidualModel
    priors : sequence of Prior
    free : ndarray of bool, shape (layout.size,)
    noise : ndarray, shape (groups,)
        Standard error of one coordinate in each noise group.
    """

    model: ResidualModel
    priors: Sequence[Prior]
    free: NDArray[np.bool_]
    noise: Array

    def at(self, vector: Array) -> Fitted:
        """Return residuals and their slope, each worked out when it is asked for."""
        return Fitted(self, self.model.at(vector))

    def residuals(self, vector: Array) -> Array:
        """Return every residual in standard errors, shape (R,)."""
        return self.at(vector).residuals

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals` by the free unknowns, shape (R, F)."""
        return self.at(vector).jacobian

    def robust_scales(self, vector: Array) -> Array:
        """Return each residual's robust scale, shape (R,); `NO_LOSS` where it has none."""
        parts = [np.full(len(self.model.groups), CORNER_ROBUST_SCALE)]
        for prior in self.priors:
            count = len(prior.residuals(vector))
            parts.append(
                np.full(count, NO_LOSS if prior.robust_scale is None else prior.robust_scale)
            )
        return np.concatenate(parts)


@dataclass(frozen=True, eq=False)
class Fitted:
    """A problem at one set of unknowns.

    Attributes
    ----------
    problem : FitProblem
    predicted : Predicted
    """

    problem: FitProblem
    predicted: Predicted

    @cached_property
    def residuals(self) -> Array:
        """Every residual in standard errors, shape (R,)."""
        problem, vector = self.problem, self.predicted.vector
        seen = self.predicted.residuals / problem.noise[problem.model.groups]
        return np.concatenate([seen, *(prior.residuals(vector) for prior in problem.priors)])

    @cached_property
    def jacobian(self) -> Array:
        """The slope of `residuals` by the free unknowns, shape (R, F)."""
        problem, vector = self.problem, self.predicted.vector
        seen = self.predicted.jacobian / problem.noise[problem.model.groups][:, None]
        rows = np.concatenate([seen, *(prior.jacobian(vector) for prior in problem.priors)])
        return np.asarray(rows[:, problem.free])


@dataclass(frozen=True, eq=False)
class _Whole:
    """A problem at one set of unknowns, with all numbers finite.

    Far from any real lens the distortion has no inverse: that counts as a huge residual.
    """

    fitted: Fitted

    @cached_property
    def residuals(self) -> Array:
        return np.nan_to_num(self.fitted.residuals, nan=1e6)

    @cached_property
    def jacobian(self) -> Array:
        return np.nan_to_num(self.fitted.jacobian)


@dataclass(frozen=True, eq=False)
class Result:
    """Where least squares ended.

    Attributes
    ----------
    vector : ndarray, shape (layout.size,)
    cost : float
        Twice the negative log likelihood, up to a constant.
    """

    vector: Array
    cost: float


def minimise(
    problem: FitProblem, start: Array, steps: int = MAXIMUM_STEPS, change: float = SETTLED
) -> Result:
    """Return the free unknowns that explain the observations best, from `start`."""

    def whole(part: Array) -> Array:
        vector = start.copy()
        vector[problem.free] = part
        return vector

    found = least_squares(
        lambda part: _Whole(problem.at(whole(part))),
        start[problem.free],
        cauchy(problem.robust_scales(start)),
        steps,
        cost_change=change,
        step=1e-9,
    )
    return Result(whole(found.point), 2 * found.cost)


def weights(problem: FitProblem, vector: Array) -> Array:
    """Return the robust weight of each residual, shape (R,), from 0 to 1."""
    ratio = problem.residuals(vector) / problem.robust_scales(vector)
    return np.asarray(1 / (1 + ratio**2))


def covariance(problem: FitProblem, vector: Array) -> Array:
    """Return the covariance of the long vector, shape (layout.size, layout.size).

    The inverse of the weighted normal matrix (Gauss-Newton approximation of the
    Hessian; Hartley & Zisserman, 2nd ed., section 5.2.3); zero for unknowns that
    are not free.
    """
    slope = problem.jacobian(vector) * np.sqrt(weights(problem, vector))[:, None]
    inverse, size = _inverse(slope)
    full = np.zeros((len(vector), len(vector)))
    full[np.ix_(problem.free, problem.free)] = inverse / np.outer(size, size)
    return full


def gain_of_freeing(problem: FitProblem, vector: Array, more: NDArray[np.bool_]) -> float:
    """Return by how much the cost would fall if more unknowns were free, to second order.

    The score (Lagrange multiplier) statistic: no second fit is needed to see that a
    richer model would not help.

    Parameters
    ----------
    vector : ndarray
        The minimum with `problem.free` free.
    more : ndarray of bool, shape (layout.size,)
        The unknowns to free as well.
    """
    wider = replace(problem, free=problem.free | more)
    root = np.sqrt(weights(problem, vector))
    slope = wider.jacobian(vector) * root[:, None]
    inverse, size = _inverse(slope)
    gradient = (slope / size).T @ (root * problem.residuals(vector))
    return float(gradient @ inverse @ gradient)


def _inverse(slope: Array) -> tuple[Array, Array]:
    """Return the inverse normal matrix of a slope with its columns scaled, and their sizes.

    Unknowns range from 1e-6 to 1e3: unscaled, the inversion would lose its accuracy.
    """
    size = np.linalg.norm(slope, axis=0)
    size[size == 0] = 1.0
    scaled = slope / size
    return np.linalg.pinv(scaled.T @ scaled, rcond=1e-14, hermitian=True), size


def noise_left(problem: FitProblem, vector: Array) -> Array:
    """Return `noise_by_group`, but crosses are never believed better than was stated."""
    noise = noise_by_group(problem, vector)
    noise[-1] = max(noise[-1], problem.noise[-1])
    return noise


def noise_by_group(problem: FitProblem, vector: Array, floor: float = 0.01) -> Array:
    """Return the standard error of one coordinate in each noise group, as the residuals show it.

    Robust weights and the residuals' own degrees of freedom are taken into account:
    ``sigma^2 = sum(w r^2) / sum(w (1 - leverage))``.

    Parameters
    ----------
    floor : float
        Lower limit, px: corners are never better than a hundredth of a pixel.
    """
    model = problem.model
    count = len(model.groups)
    weight = weights(problem, vector)
    slope = problem.jacobian(vector) * np.sqrt(weight)[:, None]
    normal, size = _inverse(slope)
    basis = slope / size
    leverage = np.einsum("ij,jk,ik->i", basis, normal, basis)[:count]
    squared = weight[:count] * model.residuals(vector) ** 2
    spare = np.clip(weight[:count] * (1 - leverage), 1e-3, None)
    groups = len(problem.noise)
    above = np.bincount(model.groups, squared, groups)
    below = np.bincount(model.groups, spare, groups)
    found = np.sqrt(above / np.where(below > 0, below, 1.0))
    return np.where(below > 0, np.maximum(found, floor), problem.noise)
