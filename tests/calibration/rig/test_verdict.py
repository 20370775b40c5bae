"""What a calibration is good for, against bounds worked out at every height by themselves."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from calibration.model.uncertainty import worst
from calibration.rig.file import Rig, load
from calibration.rig.verdict import ready_up_to, verdict

DATA = Path(__file__).parents[2] / "data" / "demo-rig.json"


def allowing(rig: Rig, tolerance: float) -> Rig:
    return replace(rig, stated=replace(rig.stated, tolerance=tolerance))


def bound(rig: Rig, height: float) -> float:
    (found,) = worst(rig.projector, rig.fit.matrix, rig.fit.freedom, rig.face, (height,))
    return found.bound


@pytest.fixture(scope="module")
def rig() -> Rig:
    return load(DATA)


@pytest.mark.parametrize("height", [0, 2, 7, 18])
def test_ready_up_to_the_last_height_that_is_within(rig: Rig, height: int) -> None:
    at, above = bound(rig, height), bound(rig, height + 1)
    assert at < above
    assert ready_up_to(allowing(rig, (at + above) / 2)) == height


@pytest.mark.parametrize(
    ("height", "sentence"),
    [
        (0, "Ready on the bare platen, but for no cloth: not tees (1 mm), nor hoodies (4 mm), "
            "nor hoodies on a pad (15 mm)."),
        (2, "Ready up to 2 mm: tees; not hoodies (4 mm), nor hoodies on a pad (15 mm)."),
        (10, "Ready up to 10 mm: tees to hoodies; not hoodies on a pad (15 mm)."),
        (17, "Ready up to 17 mm: tees to hoodies on a pad."),
    ],
)  # fmt: skip
def test_it_is_said_in_what_lies_on_platens(rig: Rig, height: int, sentence: str) -> None:
    found = verdict(allowing(rig, (bound(rig, height) + bound(rig, height + 1)) / 2))
    assert found.sentence == sentence
    assert bool(found.more) is (height < 15)


def test_what_is_not_ready_says_so(rig: Rig) -> None:
    found = verdict(allowing(rig, bound(rig, 0) / 2))
    assert found.up_to is None
    assert found.sentence.startswith("Not ready: on the bare platen light may land more than")
