"""Calibration and touch-up by hand, on true benches."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.model.uncertainty import worst
from calibration.refusal import Refusal
from calibration.rig import by_hand
from calibration.rig.file import Rig, load, save
from calibration.solve.acceptance import examine
from calibration.solve.fit import solve
from calibration.solve.values import Stated
from tests.support import synthetic_rig
from tests.support.synthetic_rig import Bench

GRID = synthetic_rig.grid()


def set_on(bench: Bench, marks: np.ndarray, rng: np.random.Generator, error: float) -> np.ndarray:
    """Where the crosses stand once they lie on their marks to within `error`, px."""
    lit = marks + rng.normal(0, error, marks.shape)
    return bench.projector.project(np.column_stack([lit, np.zeros(len(lit))]))


def rms(bench: Bench, projector: object) -> float:
    missed = bench.landing(projector.projector_from_platen(GRID)) - GRID  # type: ignore[attr-defined]
    return float(np.sqrt(np.mean(np.sum(missed**2, axis=1))))


def marks_of(bench: Bench, count: int) -> np.ndarray:
    return np.array([cross.point for cross in by_hand.suggested_points(bench.face, count)])


@pytest.mark.parametrize("count", [4, 5, 6, 7, 8, 9])
def test_exact_crosses_find_the_map(count: int) -> None:
    """What a homography cannot see of the lens's distortion remains with few crosses."""
    rng = np.random.default_rng(count)
    bench = synthetic_rig.bench(rng)
    marks = marks_of(bench, count)
    solution = by_hand.solve_by_hand(
        marks, set_on(bench, marks, rng, 0.0), bench.face, bench.projector.size
    )
    assert rms(bench, solution.map) < 0.25


def test_more_crosses_are_surer() -> None:
    rng = np.random.default_rng(3)
    bench = synthetic_rig.bench(rng)
    bounds = []
    for count in (4, 6, 9):
        marks = marks_of(bench, count)
        solution = by_hand.solve_by_hand(
            marks, set_on(bench, marks, rng, 0.1), bench.face, bench.projector.size
        )
        fit = solution.fit
        bounds.append(worst(solution.map, fit.matrix, fit.freedom, bench.face, (0.0,))[0].bound)
    assert bounds[0] > bounds[1] > bounds[2]


def test_a_cross_on_the_wrong_mark_is_named() -> None:
    rng = np.random.default_rng(4)
    bench = synthetic_rig.bench(rng)
    marks = marks_of(bench, 9)
    pixels = set_on(bench, marks, rng, 0.1)
    pixels[2] += (18.0, -14.0)
    stated = Stated(lens=tuple(float(v) for v in bench.projector.position))
    solution = by_hand.solve_by_hand(marks, pixels, bench.face, bench.projector.size, stated)
    with pytest.raises(Refusal, match=r"cross at the back right corner is \d+\.\d mm off"):
        examine(solution, bench.face)


def test_careful_crosses_make_a_rig() -> None:
    rng = np.random.default_rng(5)
    bench = synthetic_rig.bench(rng)
    marks = marks_of(bench, 9)
    stated = Stated(lens=tuple(float(v) for v in bench.projector.position))
    solution = by_hand.solve_by_hand(
        marks, set_on(bench, marks, rng, 0.2), bench.face, bench.projector.size, stated
    )
    assert examine(solution, bench.face)[0].bound < 1.0
    assert rms(bench, solution.map) < 0.4


@pytest.mark.parametrize(
    ("marks", "said"),
    [
        ([(0, 0), (100, 0), (0, 100)], "Only 3 crosses"),
        ([(0, 0), (30, 0), (30, 40), (0, 40)], "cover too little of the platen"),
        ([(-150, -200), (-50, -66), (50, 66), (150, 200)], "cover too little of the platen"),
    ],
    ids=["three", "bunched", "one line"],
)
def test_crosses_that_do_not_do(marks: list[tuple[float, float]], said: str) -> None:
    bench = synthetic_rig.bench(np.random.default_rng(6))
    pixels = bench.projector.project(np.column_stack([np.array(marks), np.zeros(len(marks))]))
    with pytest.raises(Refusal, match=said):
        by_hand.solve_by_hand(marks, pixels, bench.face, (1920, 1080))


@pytest.mark.parametrize("count", [3, 10])
def test_counts_that_cannot_be(count: int) -> None:
    with pytest.raises(Refusal, match="choose 4 to 9"):
        by_hand.suggested_points(synthetic_rig.FACE, count)


@pytest.fixture(scope="module")
def laid_badly() -> tuple[Bench, Rig]:
    rng = np.random.default_rng(7)
    bench = synthetic_rig.bench(rng, card_error=0.8)
    seen = [bench.photo(synthetic_rig.posed(synthetic_rig.phone(rng), rng), rng, 0.05)]
    stated = Stated(laid=1.6, bar=100.0)
    solution = solve(seen, bench.cards, bench.pattern, bench.face, stated)
    return bench, Rig.of(solution, "Boathouse press", bench.face)


def test_touch_up_takes_out_the_mean_laying_error(laid_badly: tuple[Bench, Rig]) -> None:
    bench, rig = laid_badly
    marks = np.array([(-180.0, -230.0), (180.0, -230.0), (0.0, 230.0)])
    pixels = set_on(bench, marks, np.random.default_rng(8), 0.05)
    solution = by_hand.touch_up(rig, by_hand.crosses(marks, pixels))
    assert rms(bench, rig.projector) > 0.3
    assert rms(bench, solution.map) < 0.2
    before, after = (
        worst(m, fit.matrix, fit.freedom, bench.face, (0.0,))[0].bound
        for m, fit in ((rig.projector, rig.fit), (solution.map, solution.fit))
    )
    assert after < 0.6 * before


def test_touch_up_needs_crosses_far_apart(laid_badly: tuple[Bench, Rig]) -> None:
    _, rig = laid_badly
    with pytest.raises(Refusal, match="far apart"):
        by_hand.touch_up(rig, by_hand.crosses([(0, 0), (20, 10)], [(900, 500), (950, 520)]))


def test_a_rig_file_solves_again_to_the_same(laid_badly: tuple[Bench, Rig], tmp_path) -> None:  # type: ignore[no-untyped-def]
    _, rig = laid_badly
    save(rig, tmp_path / "rig.json")
    again = by_hand.solve_again(load(tmp_path / "rig.json"))
    points = GRID * 0.98
    np.testing.assert_allclose(
        again.map.projector_from_platen(points, 4.0),
        rig.projector.projector_from_platen(points, 4.0),
        atol=1e-6,
    )
    np.testing.assert_allclose(again.fit.matrix, rig.fit.matrix, rtol=1e-6, atol=1e-12)
