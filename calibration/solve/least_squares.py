"""Weighted, robust least squares over a `ResidualModel` with priors; covariance of the result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.model.pinhole import PARAMETERS, Array, Pinhole
from calibration.solve.parameters import Indices
from calibration.solve.residuals import ResidualModel

CORNER_REACH = 4.0
"""Residual, in standard errors, at which a corner's pull has halved. Cauchy's loss keeps
about 98 % of the efficiency on clean data here and lets a false corner go."""

LAY_REACH = 3.0
"""The same for a card's lay: one card laid badly must not drag the other three along."""

NEVER = 1e9
"""A reach so far away that Cauchy's loss is the plain square to rounding."""

MAXIMUM_STEPS = 60
"""Fits from a fair start take 5 to 25 steps."""


class Prior(Protocol):
    """What is known before the photos: residuals in standard errors, and their slope."""

    @property
    def reach(self) -> float | None:
        """Where the pull halves, standard errors; None where it never does."""

    def residuals(self, vector: Array) -> Array:
        """Return the residuals, shape (M,)."""

    def jacobian(self, vector: Array) -> Array:
        """Return their slope by the long vector, shape (M, layout.size)."""


@dataclass(frozen=True, eq=False)
class Gauss:
    """Unknowns known to a mean and a covariance.

    Attributes
    ----------
    places : ndarray of int, shape (N,)
        Which unknowns.
    mean : ndarray, shape (N,)
    root : ndarray, shape (M, N)
        Whitening matrix: ``root @ (x - mean)`` has unit covariance.
    reach : float or None
    """

    places: Indices
    mean: Array
    root: Array
    reach: float | None = None

    @classmethod
    def each(
        cls, places: ArrayLike, mean: ArrayLike, error: ArrayLike, reach: float | None = None
    ) -> Gauss:
        """Return a prior of unknowns that are independent of each other."""
        where = np.atleast_1d(np.asarray(places, dtype=np.intp))
        means = np.broadcast_to(np.asarray(mean, dtype=np.float64), len(where))
        errors = np.broadcast_to(np.asarray(error, dtype=np.float64), len(where))
        return cls(where, means, np.diag(1 / errors), reach)

    def residuals(self, vector: Array) -> Array:
        """Return the whitened distance from the mean."""
        return np.asarray(self.root @ (vector[self.places] - self.mean))

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals`."""
        slope = np.zeros((len(self.root), len(vector)))
        slope[:, self.places] = self.root
        return slope


@dataclass(frozen=True, eq=False)
class LensAt:
    """The projector's lens position as measured with a tape.

    Attributes
    ----------
    projector : slice
        Where the projector's parameters stand.
    position : ndarray, shape (3,), platen frame, mm
    error : float
        Standard error of each coordinate, mm.
    reach : float or None
    """

    projector: slice
    position: Array
    error: float
    reach: float | None = None

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
    """A problem with its priors, its noise and the unknowns that are free.

    Attributes
    ----------
    problem : ResidualModel
    priors : sequence of Prior
    free : ndarray of bool, shape (layout.size,)
    noise : ndarray, shape (groups,)
        Standard error of one coordinate in each noise group.
    """

    problem: ResidualModel
    priors: Sequence[Prior]
    free: NDArray[np.bool_]
    noise: Array

    def residuals(self, vector: Array) -> Array:
        """Return every residual in standard errors, shape (R,)."""
        seen = self.problem.residuals(vector) / self.noise[self.problem.groups]
        return np.concatenate([seen, *(prior.residuals(vector) for prior in self.priors)])

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals` by the free unknowns, shape (R, F)."""
        seen = self.problem.jacobian(vector) / self.noise[self.problem.groups][:, None]
        rows = np.concatenate([seen, *(prior.jacobian(vector) for prior in self.priors)])
        return np.asarray(rows[:, self.free])

    def reaches(self, vector: Array) -> Array:
        """Return where each residual's pull halves, shape (R,); `NEVER` where it does not."""
        parts = [np.full(len(self.problem.groups), CORNER_REACH)]
        for prior in self.priors:
            count = len(prior.residuals(vector))
            parts.append(np.full(count, NEVER if prior.reach is None else prior.reach))
        return np.concatenate(parts)


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


def minimise(task: FitProblem, start: Array, steps: int = MAXIMUM_STEPS) -> Result:
    """Return the free unknowns that explain the observations best, from `start`."""
    from scipy.optimize import least_squares  # takes 0.4 s to import

    squares = task.reaches(start) ** 2

    def whole(part: Array) -> Array:
        vector = start.copy()
        vector[task.free] = part
        return vector

    def residuals(part: Array) -> Array:
        # Far from any sense a lens model has no inverse: call that very wrong.
        return np.nan_to_num(task.residuals(whole(part)), nan=1e6)

    def cauchy(z: Array) -> Array:
        weight = 1 / (1 + z / squares)
        return np.stack([squares * np.log1p(z / squares), weight, -(weight**2) / squares])

    found = least_squares(
        residuals,
        start[task.free],
        lambda part: np.nan_to_num(task.jacobian(whole(part))),
        loss=cauchy,
        x_scale="jac",
        xtol=1e-9,
        ftol=1e-8,
        gtol=1e-8,
        max_nfev=steps,
    )
    return Result(whole(found.x), 2 * float(found.cost))


def weights(task: FitProblem, vector: Array) -> Array:
    """Return the robust weight of each residual, shape (R,), from 0 to 1."""
    ratio = task.residuals(vector) / task.reaches(vector)
    return np.asarray(1 / (1 + ratio**2))


def covariance(task: FitProblem, vector: Array) -> Array:
    """Return the covariance of the long vector, shape (layout.size, layout.size).

    The inverse of the weighted normal matrix (Gauss-Newton approximation of the
    Hessian; Hartley & Zisserman, 2nd ed., section 5.2.3); zero for unknowns that
    are not free.
    """
    slope = task.jacobian(vector) * np.sqrt(weights(task, vector))[:, None]
    inverse, size = _inverse(slope)
    full = np.zeros((len(vector), len(vector)))
    full[np.ix_(task.free, task.free)] = inverse / np.outer(size, size)
    return full


def gain_of_freeing(task: FitProblem, vector: Array, more: NDArray[np.bool_]) -> float:
    """Return by how much the cost would fall if more unknowns were free, to second order.

    The score (Lagrange multiplier) statistic: no second fit is needed to see that a
    richer model would not help.

    Parameters
    ----------
    vector : ndarray
        The minimum with `task.free` free.
    more : ndarray of bool, shape (layout.size,)
        The unknowns to free as well.
    """
    wider = replace(task, free=task.free | more)
    pull = np.sqrt(weights(task, vector))
    slope = wider.jacobian(vector) * pull[:, None]
    inverse, size = _inverse(slope)
    gradient = (slope / size).T @ (pull * task.residuals(vector))
    return float(gradient @ inverse @ gradient)


def _inverse(slope: Array) -> tuple[Array, Array]:
    """Return the inverse normal matrix of a slope with its columns scaled, and their sizes.

    Unknowns span 1e-6 to 1e3, which would cost an unscaled inversion its accuracy.
    """
    size = np.linalg.norm(slope, axis=0)
    size[size == 0] = 1.0
    scaled = slope / size
    return np.linalg.pinv(scaled.T @ scaled, rcond=1e-14, hermitian=True), size


def noise_by_group(task: FitProblem, vector: Array, floor: float = 0.01) -> Array:
    """Return the standard error of one coordinate in each noise group, as the residuals show it.

    Robust weights and the residuals' own degrees of freedom are taken into account:
    ``sigma^2 = sum(w r^2) / sum(w (1 - leverage))``.

    Parameters
    ----------
    floor : float
        Least noise believed, px: corners are never better than a hundredth of a pixel.
    """
    problem = task.problem
    count = len(problem.groups)
    weight = weights(task, vector)
    slope = task.jacobian(vector) * np.sqrt(weight)[:, None]
    normal, size = _inverse(slope)
    basis = slope / size
    leverage = np.einsum("ij,jk,ik->i", basis, normal, basis)[:count]
    squared = weight[:count] * problem.residuals(vector) ** 2
    spare = np.clip(weight[:count] * (1 - leverage), 1e-3, None)
    groups = len(task.noise)
    above = np.bincount(problem.groups, squared, groups)
    below = np.bincount(problem.groups, spare, groups)
    found = np.sqrt(above / np.where(below > 0, below, 1.0))
    return np.where(below > 0, np.maximum(found, floor), task.noise)
