"""Least squares in a trust region, against `scipy.optimize.least_squares` (SciPy's "trf")."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import least_squares as scipy_least_squares

from calibration.model.trust_region import Evaluated, Loss, cauchy, least_squares, soft_l1

TIMES = np.linspace(0, 4, 60)


def decay(x: np.ndarray) -> Evaluated:
    """A decaying wave with noise and a false reading: four unknowns of very different size."""
    noise = 0.02 * np.sin(37.0 * np.arange(60) ** 2)
    noise[17] += 3.0
    size, rate, turn, level = x[0], x[1], x[2] / 1000, 1000 * x[3]
    fall, wave = np.exp(-rate * TIMES), np.cos(turn * TIMES)
    seen = 2.5 * np.exp(-0.6 * TIMES) * np.cos(2.2 * TIMES) + 0.3 + noise
    slope = [
        fall * wave,
        -TIMES * size * fall * wave,
        -TIMES * size * fall * np.sin(turn * TIMES) / 1000,
        np.full(60, 1000.0),
    ]
    return Evaluated(size * fall * wave + level - seen, np.stack(slope, axis=1))


def rosenbrock(x: np.ndarray) -> Evaluated:
    """Rosenbrock's valley (1960), whose minimum is at (1, 1)."""
    return Evaluated(
        np.array([10 * (x[1] - x[0] ** 2), 1 - x[0]]),
        np.array([[-20 * x[0], 10.0], [-1.0, 0.0]]),
    )


def as_scipy(loss: Loss) -> Callable[[np.ndarray], np.ndarray]:
    return lambda z: np.stack(loss(z))


@pytest.mark.parametrize("evaluations", [4, 100])
@pytest.mark.parametrize(
    ("fitted", "start", "loss"),
    [
        (decay, [1.0, 0.1, 1500.0, 0.0], cauchy(np.full(60, 0.05))),
        (decay, [4.0, 1.0, 2600.0, 1e-3], soft_l1(0.1)),
        (rosenbrock, [-1.2, 1.0], cauchy(np.full(2, 1e9))),
        (rosenbrock, [-1.2, 1.0], soft_l1()),
    ],
)
def test_takes_the_steps_of_scipy(
    fitted: Callable[[np.ndarray], Evaluated], start: list[float], loss: Loss, evaluations: int
) -> None:
    first = np.array(start)
    ours = least_squares(fitted, first, loss, evaluations)
    theirs = scipy_least_squares(
        lambda x: fitted(x).residuals,
        first,
        lambda x: fitted(x).jacobian,
        loss=as_scipy(loss),
        x_scale="jac",
        max_nfev=evaluations,
    )
    np.testing.assert_allclose(ours.point, theirs.x, rtol=1e-7)
    np.testing.assert_allclose(ours.cost, theirs.cost, rtol=1e-9, atol=1e-20)


@pytest.mark.parametrize(("loss", "name"), [(cauchy(np.full(9, 0.7)), "cauchy"),
                                            (soft_l1(0.7), "soft_l1")])  # fmt: skip
def test_losses_are_those_of_scipy(loss: Loss, name: str) -> None:
    """Through a line's fit: SciPy's own losses, by name."""
    x = np.arange(9.0)
    seen = 3 * x - 1 + np.array([0.1, -0.2, 0.3, 9.0, 0.0, -0.1, 0.2, -7.0, 0.1])

    def line(v: np.ndarray) -> Evaluated:
        return Evaluated(v[0] * x + v[1] - seen, np.column_stack([x, np.ones(9)]))

    ours = least_squares(line, np.zeros(2), loss, 100)
    theirs = scipy_least_squares(
        lambda v: line(v).residuals, np.zeros(2), loss=name, f_scale=0.7, x_scale="jac"
    )
    np.testing.assert_allclose(ours.point, theirs.x, rtol=1e-4)
    np.testing.assert_allclose(ours.cost, theirs.cost, rtol=1e-7)


def test_goes_round_places_that_have_no_number() -> None:
    """Beyond 2 there is no residual: steps that end there are taken back."""

    def cliff(v: np.ndarray) -> Evaluated:
        with np.errstate(invalid="ignore", divide="ignore"):
            return Evaluated(np.log(2 - v) + v - 0.5, np.array([[1.0 - 1 / (2 - v[0])]]))

    found = least_squares(cliff, np.array([-3.0]), soft_l1(), 100)
    assert np.isfinite(found.cost)
    assert found.point[0] < 2


def test_does_not_move_what_nothing_depends_on() -> None:
    found = least_squares(
        lambda v: Evaluated(v[:1] - 3.0, np.array([[1.0, 0.0]])),
        np.array([0.0, 7.0]),
        soft_l1(),
        50,
    )
    np.testing.assert_allclose(found.point, [3.0, 7.0], atol=1e-6)
