"""Predicted against sampled covariance: the numbers that the program promises, proved."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
from scipy.special import fdtri

from calibration.geometry import PlatenFace
from calibration.model.pinhole import Pinhole
from calibration.model.platen_surface import Bow
from calibration.model.projector import ProjectorMap
from calibration.model.uncertainty import (
    bound,
    landing_covariance,
    landing_slope,
    over_platen,
    place_in_words,
    standard_error,
    worst,
)
from calibration.rig import by_hand
from calibration.solve.fit import Solution, solve
from calibration.solve.priors import LENS_ERROR
from calibration.solve.values import Stated
from tests.support import synthetic_rig
from tests.support.synthetic_rig import Bench

GRID = synthetic_rig.grid(columns=5, rows=5)
HEIGHTS = (0.0, 10.0, 20.0)
DRAWS = 36

Runs = Callable[[], tuple[tuple[Bench, Solution], ...]]


def misses(bench: Bench, solution: Solution, height: float) -> np.ndarray:
    return bench.landing(solution.map.projector_from_platen(GRID, height), height) - GRID


def told(bench: Bench, rng: np.random.Generator) -> tuple[float, float, float]:
    """The lens position as a tape gives it, with the error that the solver reckons with."""
    x, y, z = bench.projector.position + rng.normal(0, LENS_ERROR, 3)
    return float(x), float(y), float(z)


@cache
def from_photos() -> tuple[tuple[Bench, Solution], ...]:
    """Benches drawn at random, cards laid and printed as inexactly as promised, one photo each."""
    runs = []
    for draw in range(DRAWS):
        rng = np.random.default_rng(1000 + draw)
        bench = synthetic_rig.bench(rng, card_error=0.4, print_error=0.001)
        stated = Stated(laid=0.8, bar=100.0, lens=told(bench, rng))
        seen = [bench.photo(synthetic_rig.posed(synthetic_rig.phone(rng), rng), rng, 0.2)]
        runs.append((bench, solve(seen, bench.cards, bench.pattern, bench.face, stated)))
    return tuple(runs)


@cache
def from_crosses() -> tuple[tuple[Bench, Solution], ...]:
    """Benches drawn at random, calibrated by hand."""
    runs = []
    for draw in range(DRAWS):
        rng = np.random.default_rng(2000 + draw)
        bench = synthetic_rig.bench(rng)
        marks = np.array([cross.point for cross in by_hand.suggested_points(bench.face, 9)])
        lit = np.column_stack([marks + rng.normal(0, 0.25, marks.shape), np.zeros(len(marks))])
        pixels = bench.projector.project(lit)
        stated = Stated(nudge=0.5, lens=told(bench, rng))
        size = bench.projector.size
        runs.append((bench, by_hand.solve_by_hand(marks, pixels, bench.face, size, stated)))
    return tuple(runs)


both = pytest.mark.parametrize("runs", [from_photos, from_crosses], ids=["photos", "crosses"])


@pytest.mark.proof
@both
@pytest.mark.parametrize("height", HEIGHTS)
def test_sampled_errors_are_as_large_as_predicted(runs: Runs, height: float) -> None:
    sampled = [np.sum(misses(b, s, height) ** 2, axis=1) for b, s in runs()]
    predicted = [
        standard_error(landing_covariance(s.map, s.fit.matrix, GRID, height)) ** 2
        for _, s in runs()
    ]
    # 36 draws of some three loose modes: the ratio's standard error is about 0.07.
    assert 0.75 < np.sqrt(np.mean(sampled) / np.mean(predicted)) < 1.25


@pytest.mark.proof
@both
@pytest.mark.parametrize("height", HEIGHTS)
def test_errors_follow_the_predicted_covariance(runs: Runs, height: float) -> None:
    """Normalised squared errors (Bar-Shalom et al. 2001, section 5.4), mode by mode.

    In the modes of the covariance predicted for all points together (a shift, a turn,
    a stretch ...), each error over its predicted standard error has mean square 1.
    """
    squares = []
    for bench, solution in runs():
        slope = landing_slope(solution.map, GRID, height).reshape(-1, 20)
        sizes, modes = np.linalg.eigh(slope @ solution.fit.matrix @ slope.T)
        error = misses(bench, solution, height).ravel()
        squares.append((modes[:, -5:].T @ error) ** 2 / sizes[-5:])
    each = np.mean(squares, axis=0)  # standard error of one: sqrt(2 / 36) = 0.24
    assert np.all(each < 1.9), each
    assert np.mean(each) == pytest.approx(1.0, abs=0.45)


@pytest.mark.proof
@both
@pytest.mark.parametrize("height", HEIGHTS)
def test_the_bound_holds_as_often_as_it_says(runs: Runs, height: float) -> None:
    held = [
        np.linalg.norm(misses(b, s, height), axis=1)
        < bound(landing_covariance(s.map, s.fit.matrix, GRID, height), s.fit.freedom)
        for b, s in runs()
    ]
    assert np.mean(held) > 0.93


LEANING = ProjectorMap(
    (1920, 1080), Pinhole(2400.0, 960.0, 1100.0, -0.02, rx=2.6, tz=1100.0), Bow(0.05, 0.02, -0.1)
)


@pytest.mark.proof
def test_covariance_is_that_of_sampled_projectors() -> None:
    """First-order propagation (Hartley & Zisserman, 2nd ed., Result 5.6) against samples."""
    rng = np.random.default_rng(5)
    size = np.array([1, 0.5, 0.5, 1e-4, 1e-4, 0, 0, 1e-4, 0.1, 1e-4, 1e-4, 1e-4, 0.1, 0.1, 0.5])
    bent = np.array([0.02, 0.03, 0.01])
    spread = np.diag(np.concatenate([size, bent, [0, 0]]) ** 2)
    chosen = LEANING.projector_from_platen(GRID, 5.0)
    landed = [
        ProjectorMap(
            LEANING.size,
            Pinhole.from_vector(LEANING.pinhole.vector + rng.normal(0, size)),
            Bow(*(LEANING.bow.vector + rng.normal(0, bent))),
        ).platen_from_projector(chosen, 5.0)
        for _ in range(4000)
    ]
    sampled = np.einsum("dni,dnj->nij", landed - GRID, landed - GRID) / len(landed)
    predicted = landing_covariance(LEANING, spread, GRID, 5.0)
    np.testing.assert_allclose(sampled, predicted, atol=0.09 * predicted.max())


def test_bound_of_a_round_error_is_hotellings() -> None:
    # F(0.95; 2, 10) = 4.103 and chi-squared(0.95; 2) = 5.991: printed tables.
    round_error = np.eye(2)[None] * 0.04
    assert bound(round_error, 10)[0] == pytest.approx(0.2 * np.sqrt(2 * 4.103), rel=1e-3)
    assert bound(round_error, 10**6)[0] == pytest.approx(0.2 * np.sqrt(5.991), rel=1e-3)
    for freedom in (1, 2, 7, 400):  # SciPy's quantile of F
        quantile = fdtri(2, freedom, 0.95)
        assert bound(round_error, freedom)[0] == pytest.approx(0.2 * np.sqrt(2 * quantile))


def test_bound_never_falls_short_of_a_thin_error() -> None:
    rng = np.random.default_rng(6)
    thin = np.diag([0.09, 1e-8])[None]
    inside = np.abs(rng.normal(0, 0.3, 10_000)) < bound(thin, 10**6)[0]
    assert 0.975 < inside.mean() < 0.995


def test_worst_point_and_its_name() -> None:
    face = PlatenFace(400.0, 500.0)
    spread = np.zeros((20, 20))
    spread[9, 9] = 1e-6  # a turn about the projector's x axis moves the far edge most
    found = worst(LEANING, spread, 1000, face, (0.0, 20.0))
    assert [each.height for each in found] == [0.0, 20.0]
    limits = bound(landing_covariance(LEANING, spread, over_platen(face, 2.0)), 1000)
    assert found[0].bound == pytest.approx(limits.max(), rel=1e-3)
    assert place_in_words((-190, 240), face) == "the back left corner"
    assert place_in_words((0, -250), face) == "the middle of the front edge"
    assert place_in_words((199, 10), face) == "the middle of the right edge"
    assert place_in_words((3, -4), face) == "the middle of the platen"
