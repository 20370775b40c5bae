"""A photo is measured as far as it can be relied on, and judged once."""

import cv2
import numpy as np
import pytest

from calibration.detect.diagnose import judge
from calibration.detect.measure import Measurements
from calibration.targets.pattern import Pattern
from tests.support.render_photos import Bench

BENCH = Bench()
PATTERN = Pattern(BENCH.projector_size)


def measured(photo, pattern=PATTERN):
    return Measurements(photo, photo, tuple(BENCH.cards), pattern)


def parts(seen):
    """Which parts have been measured so far."""
    return {name for name in vars(seen) if name not in ("photo", "pattern_photo", "cards")}


@pytest.fixture(scope="module")
def photo():
    return BENCH.photo()


def test_a_good_photo_is_measured_in_full_and_nothing_is_said(photo):
    seen = measured(photo)
    assert judge(seen) is None
    assert not seen.missing
    assert parts(seen) >= {"card_search", "layout", "pattern_search", "lit_zones", "free_zones"}
    # The middle cross of the platen is bare, its corners lie under the cards.
    assert seen.free_zones[1].all()
    assert seen.lit_zones[1].all()


def test_the_judge_says_the_same_of_the_same_measurements(photo):
    seen = measured(photo, Pattern((1280, 720)))
    first, second = judge(seen), judge(seen)
    assert "1280 x 720" in str(first)
    assert str(first) == str(second)


def test_nothing_is_measured_that_rests_on_a_fault(photo):
    image = photo.image.copy()
    x, y = BENCH.camera_pixels(np.array([BENCH.cards[0].centre]))[0]
    cv2.circle(image, (int(x), int(y)), 200, (200, 200, 200), -1)
    seen = measured(type(photo)(photo.name, image, photo.camera))
    assert "front-left card" in str(judge(seen))
    assert [card.name for card in seen.missing] == ["front-left"]
    assert "pattern_search" not in parts(seen)
