"""Robust nonlinear least squares with a trust region, for fits that cannot wait for SciPy.

The method, its scaling and its ends are those of ``scipy.optimize.least_squares`` (method "trf",
no bounds, ``x_scale="jac"``), and the tests hold it against that. Importing SciPy takes as long as
finding the cards in a photo, and its wrappers as long as the small fits themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRADIENT_GONE = 1e-8
_ROUNDING = float(np.finfo(np.float64).eps)
_NEAR_ENOUGH, _TRIES = (
    0.01,
    10,
)  # how near the trust region's edge a step must end, in how many tries


class Evaluation(Protocol):
    """What is fitted, at one point."""

    @property
    def residuals(self) -> Array:
        """The residuals there, shape (M,)."""

    @property
    def jacobian(self) -> Array:
        """Their slope there, shape (M, N); asked for only where a step ends."""


@dataclass(frozen=True, eq=False)
class Evaluated:
    """An `Evaluation` whose slope is worked out with the residuals.

    Attributes
    ----------
    residuals : ndarray, shape (M,)
    jacobian : ndarray, shape (M, N)
    """

    residuals: Array
    jacobian: Array


Loss = Callable[[Array], tuple[Array, Array, Array]]
"""Squared residuals, shape (M,), to what each costs, and the first and second slope of that."""


def cauchy(scales: Array) -> Loss:
    """Return Cauchy's loss: a residual as large as its scale has half its weight."""
    squares = scales**2

    def loss(z: Array) -> tuple[Array, Array, Array]:
        ratio = z / squares
        weight = 1 / (1 + ratio)
        return squares * np.log1p(ratio), weight, -(weight**2) / squares

    return loss


def soft_l1(scale: float = 1.0) -> Loss:
    """Return the loss that grows as the square up to the scale, and then as the residual."""
    square = scale**2

    def loss(z: Array) -> tuple[Array, Array, Array]:
        t = 1 + z / square
        return 2 * square * (np.sqrt(t) - 1), t**-0.5, -0.5 * t**-1.5 / square

    return loss


@dataclass(frozen=True, eq=False)
class Minimum:
    """Where a fit ended.

    Attributes
    ----------
    point : ndarray, shape (N,)
    cost : float
        Half the sum of what the residuals cost.
    """

    point: Array
    cost: float


def least_squares(
    evaluate: Callable[[Array], Evaluation],
    start: Array,
    loss: Loss,
    evaluations: int,
    cost_change: float = 1e-8,
    step: float = 1e-8,
) -> Minimum:
    """Return a minimum of what residuals cost, from a start.

    Levenberg and Marquardt's steps in a trust region whose axes are scaled by the largest slope
    met so far (Moré 1978), with Triggs' correction for the loss (Triggs et al. 2000).

    Parameters
    ----------
    evaluate : callable
        From a point, shape (N,), to its `Evaluation`; all finite.
    start : ndarray, shape (N,)
    loss : Loss
    evaluations : int
        After so many the fit ends wherever it is.
    cost_change, step : float
        The fit ends where a step changes the cost, or the point, by less than this share.
    """
    point, here = start.copy(), evaluate(start)
    cost = 0.5 * float(np.sum(loss(here.residuals**2)[0]))
    slope, gradient = _corrected(here, loss)
    size = np.sqrt(np.sum(slope**2, axis=0))
    size[size == 0] = 1.0
    radius = float(np.linalg.norm(point * size)) or 1.0
    damping, done, count = 0.0, False, 1
    while not done and count < evaluations and np.abs(gradient).max() >= GRADIENT_GONE:
        steps = _Steps.of(slope / size, gradient / size)
        gained = -1.0
        while gained <= 0 and count < evaluations and not done:
            scaled, damping = steps.within(radius, damping)
            foretold = -steps.change(scaled)
            there = evaluate(point + scaled / size)
            count += 1
            reach = float(np.linalg.norm(scaled))
            if not np.isfinite(there.residuals).all():
                radius = 0.25 * reach
                continue
            new_cost = 0.5 * float(np.sum(loss(there.residuals**2)[0]))
            gained = cost - new_cost
            ratio = gained / foretold if foretold > 0 else float(foretold == gained == 0)
            moved = float(np.linalg.norm(scaled / size))
            done = (gained < cost_change * cost and ratio > 0.25) or moved < step * (
                step + float(np.linalg.norm(point))
            )
            if not done:
                wider = _radius(radius, ratio, reach)
                damping *= radius / wider
                radius = wider
        if gained > 0:
            point, here, cost = point + scaled / size, there, new_cost
            if not done:
                slope, gradient = _corrected(here, loss)
                size = np.maximum(size, np.sqrt(np.sum(slope**2, axis=0)))
    return Minimum(point, cost)


def _corrected(here: Evaluation, loss: Loss) -> tuple[Array, Array]:
    """Return the slope with the loss's curvature in it, and the gradient of the cost."""
    residuals = here.residuals
    _, first, second = loss(residuals**2)
    root = np.sqrt(np.maximum(first + 2 * second * residuals**2, _ROUNDING))
    slope = here.jacobian * root[:, None]
    return slope, slope.T @ (residuals * first / root)


def _radius(radius: float, ratio: float, reach: float) -> float:
    """Return the next radius, by how much of what was foretold a step gained."""
    if ratio < 0.25:
        return 0.25 * reach
    return 2.0 * radius if ratio > 0.75 and reach > 0.95 * radius else radius


@dataclass(frozen=True, eq=False)
class _Steps:
    """The steps from one point, by the singular values of the scaled slope.

    Attributes
    ----------
    triangle : ndarray, shape (min(M, N), N)
        Of the slope's QR decomposition; as long as the slope in every direction.
    gradient : ndarray, shape (N,)
    sizes, axes : ndarray, shape (N,), (N, N)
        Singular values, and their directions in rows.
    along : ndarray
        The gradient in these directions.
    full_rank : bool
    """

    triangle: Array
    gradient: Array
    sizes: Array
    axes: Array
    along: Array
    full_rank: bool

    @classmethod
    def of(cls, slope: Array, gradient: Array) -> _Steps:
        """Decompose a slope, shape (M, N)."""
        rows, columns = slope.shape
        triangle = np.asarray(np.linalg.qr(slope, mode="r"))
        _, sizes, axes = np.linalg.svd(triangle, full_matrices=False)
        full_rank = rows >= columns and bool(sizes[-1] > _ROUNDING * rows * sizes[0])
        return cls(triangle, gradient, sizes, axes, axes @ gradient, full_rank)

    def change(self, step: Array) -> float:
        """Return how a step would change the cost if the slope stayed the same."""
        moved = self.triangle @ step
        return float(0.5 * (moved @ moved) + self.gradient @ step)

    def within(self, radius: float, damping: float) -> tuple[Array, float]:
        """Return the best step no longer than a radius, and the damping that it takes.

        Newton's method on the damping from a first guess (Moré 1978, section 5).
        """
        squares = self.sizes**2
        low = 0.0
        if self.full_rank:
            step = -(self.along / squares) @ self.axes
            if np.linalg.norm(step) <= radius:
                return step, 0.0
            excess, slope = self._excess(0.0, radius)
            low = -excess / slope
        high = float(np.linalg.norm(self.along)) / radius
        if not self.full_rank and damping == 0:
            damping = max(0.001 * high, (low * high) ** 0.5)
        for _ in range(_TRIES):
            if not low <= damping <= high:
                damping = max(0.001 * high, (low * high) ** 0.5)
            excess, slope = self._excess(damping, radius)
            if excess < 0:
                high = damping
            ratio = excess / slope
            low = max(low, damping - ratio)
            damping -= (excess + radius) * ratio / radius
            if abs(excess) < _NEAR_ENOUGH * radius:
                break
        step = -(self.along / (squares + damping)) @ self.axes
        return step * (radius / float(np.linalg.norm(step))), damping

    def _excess(self, damping: float, radius: float) -> tuple[float, float]:
        """Return by how much a damped step is longer than the radius, and the slope of that."""
        below = self.sizes**2 + damping
        length = float(np.linalg.norm(self.along / below))
        return length - radius, -float(np.sum(self.along**2 / below**3)) / length
