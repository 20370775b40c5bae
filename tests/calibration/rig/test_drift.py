"""Drift: what a bench's projector truly did, against what the check says and repairs."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.model.uncertainty import worst
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal
from calibration.rig import by_hand, drift
from calibration.rig.drift import DriftVerdict
from calibration.rig.file import Rig
from calibration.rig.heights import check_heights
from calibration.solve.fit import solve
from calibration.solve.values import Cross, Stated
from tests.support import synthetic_rig
from tests.support.synthetic_rig import Bench

GRID = synthetic_rig.grid()
MARKS = np.array([(-180.0, -230.0), (180.0, -230.0), (180.0, 230.0), (-180.0, 230.0)])


@pytest.fixture(scope="module")
def bench() -> Bench:
    return synthetic_rig.bench(np.random.default_rng(1), card_error=0.2)


@pytest.fixture(scope="module")
def rig(bench: Bench) -> Rig:
    rng = np.random.default_rng(2)
    lens = synthetic_rig.phone(rng)
    seen = [
        bench.photo(synthetic_rig.posed(lens, rng), rng, 0.05, raised)
        for raised in (0.0, 0.0, 10.0)
    ]
    solution = solve(seen, bench.cards, bench.pattern, bench.face, Stated(bar=100.0))
    return Rig.of(solution, "Boathouse press", bench.face)


def relaid(bench: Bench, rng: np.random.Generator) -> Bench:
    return replace(bench, card_poses=synthetic_rig.card_poses(rng, bench.cards, 0.2))


def bumped(bench: Bench, turn: float = 0.008, shift: float = 4.0) -> Bench:
    rng = np.random.default_rng(3)
    small = cv2.Rodrigues(rng.normal(0, turn, 3))[0]
    projector = replace(
        bench.projector,
        rotation=small @ bench.projector.rotation,
        position=bench.projector.position + rng.normal(0, shift, 3),
    )
    return replace(relaid(bench, rng), projector=projector)


def photo(bench: Bench, seed: int = 4) -> PhotoObservation:
    rng = np.random.default_rng(seed)
    camera = synthetic_rig.posed(synthetic_rig.phone(rng), rng)
    return bench.photo(camera, rng, 0.05, name="now.jpg", key="another phone")


def crosses(bench: Bench) -> tuple[Cross, ...]:
    rng = np.random.default_rng(5)
    lit = np.column_stack([MARKS + rng.normal(0, 0.1, MARKS.shape), np.zeros(len(MARKS))])
    return by_hand.crosses(MARKS, bench.projector.project(lit))


def true_movement(rig: Rig, before: Bench, after: Bench) -> np.ndarray:
    pixels = rig.projector.projector_from_platen(GRID)
    return after.landing(pixels) - before.landing(pixels)


def worst_off(bench: Bench, projector: object, height: float = 0.0) -> float:
    pixels = projector.projector_from_platen(GRID, height)  # type: ignore[attr-defined] # a map
    return float(np.linalg.norm(bench.landing(pixels, height) - GRID, axis=1).max())


def test_a_rig_left_alone_is_unchanged(rig: Rig, bench: Bench) -> None:
    found = drift.check_photos(rig, [photo(relaid(bench, np.random.default_rng(6)))])
    assert found.verdict is DriftVerdict.UNCHANGED
    assert found.largest < found.detectable < 1.5
    assert found.sentence.startswith("Unchanged")
    assert drift.check_crosses(rig, crosses(bench)).verdict is DriftVerdict.UNCHANGED


def test_a_bump_is_measured_and_repaired_from_a_photo(rig: Rig, bench: Bench) -> None:
    after = bumped(bench)
    truth = true_movement(rig, bench, after)
    now = drift.solve_bumped(rig, [photo(after)])
    found = drift.compare(rig, now)
    assert found.verdict is DriftVerdict.MOVED
    assert found.largest == pytest.approx(np.linalg.norm(truth, axis=1).max(), abs=0.8)
    middle = truth.mean(axis=0)
    np.testing.assert_allclose(found.shift, middle, atol=0.6)
    assert "repair the rig" in found.sentence
    for height in (0.0, 10.0):
        assert worst_off(after, rig.projector, height) > 5.0
        assert worst_off(after, now.map, height) < 0.7
    assert now.fit.height_from == "the projector's lens as it was calibrated before"
    assert not any("bare platen alone" in note for note in now.fit.notes)
    (high,) = worst(now.map, now.fit.matrix, now.fit.freedom, rig.face, (20.0,))
    assert worst_off(after, now.map, 20.0) < high.bound < 1.5


def test_a_bump_is_measured_and_repaired_by_hand(rig: Rig, bench: Bench) -> None:
    after = bumped(bench)
    now = drift.solve_bumped(rig, crosses=crosses(after))
    assert drift.compare(rig, now).verdict is DriftVerdict.MOVED
    assert worst_off(after, now.map) < 0.7


@pytest.mark.parametrize("seed", range(3))
def test_keystone_asks_for_a_new_calibration(rig: Rig, bench: Bench, seed: int) -> None:
    bent = replace(bench.projector, aspect=0.95, skew=30.0)
    found = drift.check_photos(rig, [photo(replace(bench, projector=bent), seed)])
    assert found.verdict is DriftVerdict.RECALIBRATE
    assert "keystone" in found.sentence


def test_a_repaired_rig_can_be_repaired_again(rig: Rig, bench: Bench) -> None:
    once = bumped(bench)
    first = Rig.of(drift.solve_bumped(rig, [photo(once)]), rig.name, rig.face)
    assert first.inherited is not None
    np.testing.assert_allclose(
        by_hand.solve_again(first).map.projector_from_platen(GRID),
        first.projector.projector_from_platen(GRID),
        atol=1e-5,
    )
    twice = bumped(once, 0.004, 2.0)
    now = drift.solve_bumped(first, [photo(twice, 9)])
    assert worst_off(twice, now.map) < 0.8


@pytest.mark.parametrize("marks", [MARKS[:2], [(0, 0), (50, 0), (0, 50)]], ids=["two", "close"])
def test_too_few_crosses(rig: Rig, marks: object) -> None:
    few = by_hand.crosses(marks, rig.projector.projector_from_platen(marks))
    with pytest.raises(Refusal, match="Three crosses far apart"):
        drift.check_crosses(rig, few)


def at_height(bench: Bench, lies: float, given: float, seed: int = 4) -> PhotoObservation:
    """A photo of cards that lie at one height, given with another."""
    rng = np.random.default_rng(seed)
    camera = synthetic_rig.posed(synthetic_rig.phone(rng), rng)
    return replace(bench.photo(camera, rng, 0.05, lies, name="now.jpg"), raised=given)


@pytest.mark.parametrize(
    ("lies", "given", "said"),
    [
        (10.0, 0.0, r"now\.jpg was given as of cards on the bare platen.*a board of (9|10|11) mm"),
        (0.0, 10.0, r"given as of cards on a board of 10 mm, and its light falls as on the bare"),
        (10.0, 5.0, r"on a board of 5 mm, and its light falls as on one of (9|10|11) mm: measure"),
    ],
)
def test_cards_at_another_height_than_said_are_no_bump(
    rig: Rig, bench: Bench, lies: float, given: float, said: str
) -> None:
    with pytest.raises(Refusal, match=said):
        check_heights(rig, [at_height(bench, lies, given)])


def test_a_bump_is_no_board(rig: Rig, bench: Bench) -> None:
    check_heights(rig, [photo(bench), at_height(bench, 10.0, 10.0), photo(bumped(bench))])
