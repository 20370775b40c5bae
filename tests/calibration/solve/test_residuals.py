"""Residuals and slopes of the joint problem, against finite differences and the true bench."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.solve.least_squares import LensPrior
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import CardPlan, Cross
from tests.support import synthetic_rig


@pytest.fixture(scope="module")
def model() -> ResidualModel:
    rng = np.random.default_rng(11)
    bench = synthetic_rig.bench(rng, size=(640, 360))
    lens = synthetic_rig.webcam(rng)
    photos = [
        bench.photo(synthetic_rig.posed(lens, rng), rng, noise=0.0),
        bench.photo(synthetic_rig.posed(lens, rng), rng, noise=0.0, raised=10.0),
    ]
    plans = [CardPlan.of(card) for card in bench.cards]
    pixels = bench.pattern.pixels(np.arange(bench.pattern.count))
    crosses = [Cross((10.0, 20.0), (300.0, 200.0)), Cross((-90.0, 150.0), (150.0, 120.0), 10.0)]
    return ResidualModel.of(photos, plans, pixels, bench.projector.size, crosses)


@pytest.fixture(scope="module")
def vector(model: ResidualModel) -> np.ndarray:
    """A point with every unknown away from zero."""
    layout = model.layout
    vector = np.random.default_rng(12).normal(0, 1e-3, layout.size)
    vector[layout.camera(0)] = [1400, 950, 545, -0.2, 0.03, 1e-3, -1e-3, 1.01, 0.4]
    vector[layout.pose(0)] = [3.0, 0.2, 0.1, 10, -20, 700]
    vector[layout.pose(1)] = [2.8, -0.2, 0.3, 30, 40, 800]
    vector[layout.projector] = [900, 322, 300, -0.02, 0.01, 0, 0, 1, 0, 2.6, 0, 0.1, 5, -90, 900]
    vector[layout.bow(0)], vector[layout.bow(1)] = [0.1, -0.2, 0.15], [-0.05, 0.02, 0.1]
    vector[layout.spacer_pose(1)] = [3.0, -4.0, 0.02]
    vector[layout.card_pose(0, 2)] = [1.0, -2.0, 0.03]
    return vector


def test_slope(model: ResidualModel, vector: np.ndarray) -> None:
    slope = model.jacobian(vector)
    for place in range(model.layout.size):
        step = np.zeros(model.layout.size)
        step[place] = 1e-6 * max(1.0, abs(vector[place]))
        ahead, behind = model.residuals(vector + step), model.residuals(vector - step)
        numeric = (ahead - behind) / (2 * step[place])
        size = max(1.0, float(np.abs(numeric).max()))
        np.testing.assert_allclose(slope[:, place] / size, numeric / size, atol=3e-6)


def test_slope_of_a_measured_lens(model: ResidualModel, vector: np.ndarray) -> None:
    prior = LensPrior(model.layout.projector, np.array([0.0, 500.0, 900.0]), 10.0)
    slope = prior.jacobian(vector)
    for place in range(model.layout.size):
        step = np.zeros(model.layout.size)
        step[place] = 1e-5
        numeric = (prior.residuals(vector + step) - prior.residuals(vector - step)) / 2e-5
        np.testing.assert_allclose(slope[:, place], numeric, atol=1e-5)


def test_the_truth_leaves_nothing() -> None:
    """The solver's world and the bench's, written apart, describe the same light."""
    rng = np.random.default_rng(13)
    bench = synthetic_rig.bench(rng, card_error=0.8, print_error=0.003)
    camera = synthetic_rig.posed(synthetic_rig.phone(rng), rng)
    photo = bench.photo(camera, rng, noise=0.0, raised=10.0)
    plans = [CardPlan.of(card) for card in bench.cards]
    pixels = bench.pattern.pixels(np.arange(bench.pattern.count))
    model = ResidualModel.of([photo], plans, pixels, bench.projector.size)

    layout, vector = model.layout, np.zeros(model.layout.size)
    true = synthetic_rig.pinhole(camera)
    vector[layout.camera(0)], vector[layout.pose(0)] = true.vector[:9], true.vector[9:]
    vector[layout.projector] = synthetic_rig.pinhole(bench.projector).vector
    vector[layout.scale] = bench.print_scale - 1
    for k, card in enumerate(bench.cards):
        vector[layout.card_pose(1, k)] = bench.card_poses[10.0, card.name]
    np.testing.assert_allclose(model.residuals(vector), 0, atol=1e-6)
