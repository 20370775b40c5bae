"""The solver against true benches (see `synthetic_rig`): how near it comes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.model.uncertainty import worst
from calibration.refusal import Refusal, RemedyKind
from calibration.solve.acceptance import examine
from calibration.solve.advice import worst_with_cards_exact
from calibration.solve.values import Stated
from tests.support import synthetic_rig
from tests.support.remedies import kinds
from tests.support.solved_bench import CAREFUL, GRID, off, photos, rms, solved


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("camera", [synthetic_rig.phone, synthetic_rig.webcam])
def test_exact_corners_lead_to_the_truth(seed: int, camera: object) -> None:
    rng = np.random.default_rng(seed)
    bench = synthetic_rig.bench(rng)
    lens = camera(rng)  # type: ignore[operator] # one of the two above
    solution = solved(bench, photos(bench, rng, 2, 1, noise=1e-4, camera=lens))
    # The solver never believes corners better than 0.01 px, so priors keep a little weight.
    assert rms(off(bench, solution)) < 3e-3
    assert rms(off(bench, solution, 20.0)) < 0.015


@pytest.mark.parametrize("shift", [-0.6, 0.4])
def test_either_sign_of_the_lens_shift(shift: float) -> None:
    rng = np.random.default_rng(20)
    bench = synthetic_rig.bench(rng, lens_shift=shift)
    solution = solved(bench, photos(bench, rng, 2, 1, noise=0.02))
    assert solution.map.pinhole.cy == pytest.approx(bench.projector.centre[1], abs=40)
    np.testing.assert_allclose(solution.map.pinhole.lens, bench.projector.position, atol=15)


@pytest.mark.proof
def test_one_photo_is_enough_and_more_are_better() -> None:
    errors = {1: 0.0, 3: 0.0}
    for seed in range(3):
        rng = np.random.default_rng(30 + seed)
        bench = synthetic_rig.bench(rng)
        seen = photos(bench, rng, 3, noise=0.15)
        for count in errors:
            errors[count] += rms(off(bench, solved(bench, seen[:count]))) / 3
    assert errors[1] < 0.06
    assert errors[3] < errors[1]


@pytest.mark.proof
def test_raised_photos_settle_the_height() -> None:
    with_board, without = [], []
    for seed in range(3):
        rng = np.random.default_rng(40 + seed)
        bench = synthetic_rig.bench(rng)
        seen = photos(bench, rng, 3, 1)
        without.append(rms(off(bench, solved(bench, seen[:3]), 20.0)))
        with_board.append(rms(off(bench, solved(bench, seen), 20.0)))
    assert np.mean(with_board) < 0.06
    assert np.mean(with_board) < np.mean(without)
    (note,) = (each for each in solved(bench, seen).fit.notes if "callipers" in each)
    x, y, z = bench.projector.position  # a beam's slope, times how much the board is off
    steepest = max(np.hypot(x - u, y - v) / z for u, v in bench.face.outline())
    assert float(note.split("up to ")[1].split(" mm")[0]) == pytest.approx(steepest, rel=0.1)


def test_a_measured_lens_settles_the_height() -> None:
    rng = np.random.default_rng(50)
    bench = synthetic_rig.bench(rng)
    seen = photos(bench, rng, 1, noise=0.3)
    lens = tuple(float(v) for v in bench.projector.position + np.array([6, -5, 8]))
    told = solved(bench, seen, replace(CAREFUL, lens=lens))
    guessed = solved(bench, seen)
    high = (20.0,)
    bounds = [worst_with_cards_exact(s, bench.face, high[0]).bound for s in (told, guessed)]
    assert bounds[0] < 0.7 * bounds[1]
    assert rms(off(bench, told, 20.0)) < 0.3
    assert told.fit.height_from == "the measured lens position"


def test_print_scale_comes_from_the_bar() -> None:
    rng = np.random.default_rng(60)
    bench = replace(synthetic_rig.bench(rng), print_scale=0.994)
    seen = photos(bench, rng, 2)
    with_bar = solved(bench, seen, Stated(bar=99.4))
    assert with_bar.fit.print_scale == pytest.approx(0.994, abs=0.0015)
    assert rms(off(bench, with_bar)) < 0.25


def test_laid_badly_the_shape_stays_right() -> None:
    rng = np.random.default_rng(70)
    bench = synthetic_rig.bench(rng, card_error=1.0)
    solution = solved(bench, photos(bench, rng, 3), Stated(laid=2.0, bar=100.0))
    missed = off(bench, solution)
    left = missed - missed.mean(axis=0)
    # What is left after a shift, a turn and the print's scale (the bar is good to 0.1 %).
    for mode in (GRID, np.column_stack([-GRID[:, 1], GRID[:, 0]])):
        left -= np.sum(mode * left) / np.sum(GRID**2) * mode
    assert rms(missed) > 0.2
    assert rms(left) < 0.05


@pytest.mark.proof
def test_false_corners_are_let_go() -> None:
    rng = np.random.default_rng(90)
    bench = synthetic_rig.bench(rng)
    seen = photos(bench, rng, 2)
    clean = rms(off(bench, solved(bench, seen)))
    spoilt = []
    for photo in seen:
        moved = [
            replace(c, pixel=(c.pixel[0] + 9.0, c.pixel[1] - 6.0)) if k % 20 == 0 else c
            for k, c in enumerate(photo.pattern)
        ]
        spoilt.append(replace(photo, pattern=tuple(moved)))
    assert rms(off(bench, solved(bench, spoilt))) < clean + 0.02


@pytest.mark.proof
def test_keystone_is_told_from_plain_lenses() -> None:
    rng = np.random.default_rng(100)
    plain = synthetic_rig.bench(rng)
    seen = photos(plain, rng, 2, 1)
    assert solved(plain, seen).fit.model == "pinhole with lens shift and distortion"

    bent = replace(plain.projector, aspect=0.93, skew=40.0)
    bench = replace(plain, projector=bent)
    # Without square pixels nothing but the board's place tells the lens's: so measure that.
    lens = tuple(float(v) for v in bent.position + np.array([6, -5, 8]))
    solution = solved(bench, photos(bench, rng, 2, 1), replace(CAREFUL, lens=lens))
    assert solution.fit.model == "pinhole with keystone"
    assert rms(off(bench, solution)) < 0.06
    (high,) = worst(solution.map, solution.fit.matrix, solution.fit.freedom, bench.face, (20.0,))
    assert np.hypot(*off(bench, solution, 20.0).T).max() < high.bound
    assert rms(off(bench, solution, 20.0)) < 0.3
    examine(solution, bench.face)
    with pytest.raises(
        Refusal, match=r"a board 10 mm high: measure how high.*keystone correction is off"
    ) as caught:
        examine(solved(bench, photos(bench, rng, 2, 1)), bench.face)
    assert kinds(caught.value) == [RemedyKind.SPACER, RemedyKind.ALL_AGAIN, RemedyKind.LENS]


@pytest.mark.parametrize("aspect", [0.975, 1.025])
def test_a_slight_keystone_on_a_bare_platen_is_within_the_bound(aspect: float) -> None:
    """A flat scene cannot show it, so the bound must hold it."""
    rng = np.random.default_rng(102)
    plain = synthetic_rig.bench(rng)
    bench = replace(plain, projector=replace(plain.projector, aspect=aspect))
    solution = solved(bench, photos(bench, rng, 1))
    fit = solution.fit
    for each in worst(solution.map, fit.matrix, fit.freedom, bench.face, (4.0, 20.0)):
        assert np.hypot(*off(bench, solution, each.height).T).max() < each.bound
    assert "keystone correction to be off" in fit.notes[0]


@pytest.mark.proof
@pytest.mark.parametrize("bow", [(0.12, 0.0, 0.08), (0.0, 0.15, 0.0), (-0.1, 0.05, 0.1)])
def test_a_bowed_platen_is_seen_as_one(bow: tuple[float, float, float]) -> None:
    rng = np.random.default_rng(106)
    bench = replace(synthetic_rig.bench(rng), bow=bow)
    solution = solved(bench, photos(bench, rng, 3, 1))
    np.testing.assert_allclose(solution.map.bow.vector, bow, atol=0.01)
    for height in (0.0, 20.0):
        assert rms(off(bench, solution, height)) < 0.06
    assert solution.fit.model == "pinhole with lens shift and distortion"


def test_the_model_needs_a_photo_of_the_bare_platen() -> None:
    rng = np.random.default_rng(110)
    bench = synthetic_rig.bench(rng)
    with pytest.raises(Refusal, match="bare platen"):
        solved(bench, photos(bench, rng, 0, 1))
