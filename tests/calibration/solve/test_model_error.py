"""What a fit leaves open: keystone, uneven faces, and what the light says by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.model.projector import ProjectorMap
from calibration.model.uncertainty import landing_slope, worst
from calibration.refusal import Refusal
from calibration.solve.acceptance import examine
from calibration.solve.fit import Solution, solve
from calibration.solve.model_error import (
    estimate_without_prior,
    map_covariance,
    with_keystone_prior,
)
from calibration.solve.models import KEYSTONED, PLAIN
from calibration.solve.priors import SPACER_HEIGHT_ERROR
from calibration.solve.values import Stated
from tests.support import synthetic_rig
from tests.support.synthetic_rig import Bench

GRID = synthetic_rig.grid()
TEN_DEGREES = float(np.tan(np.radians(10))) / 1.4
HEIGHTS = (0.0, 4.0, 10.0)


def calibrated(
    bench: Bench, rng: np.random.Generator, flat: int, spacer: float = 0.0, said: float = 10.0
) -> Solution:
    """A rig from flat photos and one of a spacer `spacer` mm high, said to be of another height."""
    lens = synthetic_rig.phone(rng)
    seen = [
        bench.photo(synthetic_rig.posed(lens, rng), rng, 0.08, name=f"{k}.jpg") for k in range(flat)
    ]
    if spacer:
        raised = bench.photo(synthetic_rig.posed(lens, rng), rng, 0.08, spacer, name="board.jpg")
        seen.append(replace(raised, raised=said))
    return solve(seen, bench.cards, bench.pattern, bench.face, Stated(bar=100.0))


def farthest(bench: Bench, solution: Solution, height: float) -> float:
    landed = bench.landing(solution.map.projector_from_platen(GRID, height), height)
    return float(np.linalg.norm(landed - GRID, axis=1).max())


def within(bench: Bench, solution: Solution, heights: tuple[float, ...] = HEIGHTS) -> bool:
    fit = solution.fit
    bounds = worst(solution.map, fit.matrix, fit.freedom, bench.face, heights)
    return all(farthest(bench, solution, each.height) < each.bound for each in bounds)


@pytest.mark.parametrize("bend", [(1e-4, 0.0), (0.0, 1e-4)])
def test_slope_by_a_bend_is_that_of_a_bent_picture(bend: tuple[float, float]) -> None:
    """The bench bends by the whole homography, the slope is its first order."""
    plain = synthetic_rig.bench(np.random.default_rng(1)).projector
    aimed = ProjectorMap(plain.size, synthetic_rig.pinhole(plain))
    for height in (0.0, 20.0):
        pixels = aimed.projector_from_platen(GRID, height)
        missed = replace(plain, bend=bend).land(pixels, height) - GRID
        slope = landing_slope(aimed, GRID, height)[:, :, 18:]
        np.testing.assert_allclose(missed, slope @ -np.array(bend), atol=2e-5)


@pytest.mark.proof
def test_a_bend_is_seen_where_there_is_one_and_only_there() -> None:
    seen = {True: 0, False: 0}
    for seed in range(2):
        plain = synthetic_rig.bench(np.random.default_rng(200 + seed))
        for keystone in seen:
            bend = (0.0, 1.5 * TEN_DEGREES * keystone)
            bench = replace(plain, projector=replace(plain.projector, bend=bend))
            rng = np.random.default_rng(300 + seed)
            solution = calibrated(bench, rng, 1, 10.0)
            seen[keystone] += solution.fit.model == KEYSTONED
    assert seen[False] == 0
    assert seen[True] >= 1  # a projector without distortion may hide it


@pytest.mark.proof
@pytest.mark.parametrize("seed", range(3))
def test_ten_degrees_left_on_are_refused_or_within_the_bound(seed: int) -> None:
    plain = synthetic_rig.bench(np.random.default_rng(210 + seed), card_error=0.3)
    bench = replace(plain, projector=replace(plain.projector, bend=(0.0, TEN_DEGREES)))
    solution = calibrated(bench, np.random.default_rng(310 + seed), 3, 10.0)
    try:
        examine(solution, bench.face)
    except Refusal:
        return
    assert within(bench, solution)


def test_a_tape_takes_the_doubt_away() -> None:
    rng = np.random.default_rng(220)
    bench = synthetic_rig.bench(rng)
    solution = calibrated(bench, rng, 1)
    problem, vector = solution.problem, solution.vector
    lens = tuple(float(value) for value in bench.projector.position)
    doubted, sure = (
        map_covariance(problem, vector, solution.zones, stated)
        for stated in (Stated(), Stated(lens=(lens[0], lens[1], lens[2])))
    )
    assert np.all(np.diag(doubted)[-2:] > 0)
    assert not sure[-2:].any()


@pytest.mark.proof
@pytest.mark.parametrize("tangential", [(0.004, 0.0), (0.0, 0.004)])
def test_a_decentred_lens_whose_place_a_tape_tells_is_within_the_bound(
    tangential: tuple[float, float],
) -> None:
    for seed in range(4):
        rng = np.random.default_rng(280 + seed)
        plain = synthetic_rig.bench(rng, card_error=0.3)
        bench = replace(plain, projector=replace(plain.projector, tangential=tangential))
        lens = synthetic_rig.phone(rng)
        photo = bench.photo(synthetic_rig.posed(lens, rng), rng, 0.08)
        place = bench.projector.position + rng.normal(0, 6, 3)
        stated = Stated(bar=100.0, lens=(float(place[0]), float(place[1]), float(place[2])))
        solution = solve([photo], bench.cards, bench.pattern, bench.face, stated)
        assert within(bench, solution, (0.0, 4.0, 10.0, 20.0))


@pytest.mark.proof
@pytest.mark.parametrize("tangential", [(0.003, -0.002), (-0.0006, 0.0008)])
def test_a_decentred_lens_is_taken_with_a_board_and_within_the_bound(
    tangential: tuple[float, float],
) -> None:
    taken = 0
    for seed in range(4):
        plain = synthetic_rig.bench(np.random.default_rng(290 + seed), card_error=0.3)
        bench = replace(plain, projector=replace(plain.projector, tangential=tangential))
        solution = calibrated(bench, np.random.default_rng(390 + seed), 2, 10.0)
        assert solution.fit.model != KEYSTONED
        try:
            examine(solution, bench.face)
        except Refusal:
            continue
        taken += 1
        assert within(bench, solution)
    assert taken >= 3  # a true board is measured once more in one of 36


@pytest.mark.proof
def test_a_lens_that_bends_lines_is_followed_and_within_the_bound() -> None:
    """As much as the one real projector that was looked at (`test_real_projector`)."""
    for seed in range(3):
        plain = synthetic_rig.bench(np.random.default_rng(295 + seed), card_error=0.3)
        bench = replace(plain, projector=replace(plain.projector, radial=(-0.11, 0.0)))
        solution = calibrated(bench, np.random.default_rng(395 + seed), 2, 10.0)
        assert solution.fit.model == PLAIN
        assert abs(solution.map.pinhole.k1 + 0.11) < 0.04
        assert within(bench, solution)


@pytest.mark.proof
def test_even_faces_are_even_and_wavy_ones_are_not() -> None:
    """Fisher's ratio is about 1 where corners scatter by noise alone, bowed or not."""
    for seed in range(4):
        plain = synthetic_rig.bench(np.random.default_rng(230 + seed))
        for bench, even in (
            (plain, True),
            (replace(plain, bow=(0.08, 0.05, -0.06)), True),
            (replace(plain, wave=0.3), False),
        ):
            solution = calibrated(bench, np.random.default_rng(330 + seed), 1)
            (bare,) = solution.zones
            assert 0.2 < bare.ratio < 2.8 if even else bare.ratio > 4.0
            assert (bare.unevenness == 0.0) == even


@pytest.mark.proof
@pytest.mark.parametrize("flat", [1, 2])
def test_waves_are_within_the_bound_and_not_called_keystone(flat: int) -> None:
    for seed in range(3):
        rng = np.random.default_rng(240 + seed)
        bench = replace(synthetic_rig.bench(rng, card_error=0.3), wave=0.3)
        solution = calibrated(bench, rng, flat)
        assert solution.fit.model != KEYSTONED or solution.zones[0].unevenness
        assert within(bench, solution, (0.0, 4.0))


def test_uneven_light_is_called_so() -> None:
    rng = np.random.default_rng(250)
    bench = replace(synthetic_rig.bench(rng), wave=0.4)
    with pytest.raises(Refusal, match=r"from one part of the platen .* uneven face.*flat"):
        examine(calibrated(bench, rng, 1), bench.face)


@pytest.mark.proof
def test_the_light_sees_how_high_the_board_is() -> None:
    """As far off as it says, whatever was stated: the square of both has mean 1."""
    squares = []
    for seed in range(6):
        rng = np.random.default_rng(260 + seed)
        bench = synthetic_rig.bench(rng)
        truly = float(rng.uniform(9.5, 10.5))
        solution = calibrated(bench, rng, 1, truly)
        place = solution.problem.model.layout.height_error(1)
        off_by, error = estimate_without_prior(
            solution.problem, solution.vector, solution.zones, place, SPACER_HEIGHT_ERROR
        )
        squares.append(((10.0 + off_by - truly) / error) ** 2)
        assert 0.05 < error < 4.0
    assert 0.1 < np.mean(squares) < 3.5  # of 6 draws: chi-squared is within in 999 of 1000


def test_keystone_could_hide_a_wrong_board_and_the_report_says_so() -> None:
    """A bend and a board of another height move light alike: each alone is seen, not both.

    So no gate can be sharper; the report says what the light sees of the board either way,
    and what a millimetre costs.
    """
    rng = np.random.default_rng(270)
    bench = synthetic_rig.bench(rng)
    solution = calibrated(bench, rng, 1, 10.0)
    problem, vector = solution.problem, solution.vector
    place = problem.model.layout.height_error(1)
    plain, hidden = (
        estimate_without_prior(each, vector, solution.zones, place, SPACER_HEIGHT_ERROR)[1]
        for each in (problem, with_keystone_prior(problem, vector))
    )
    assert hidden > 2 * plain
    (note,) = (said for said in solution.fit.notes if "callipers" in said)
    assert f"± {2 * plain:.1f} mm (± {2 * hidden:.1f} mm were some keystone" in note
