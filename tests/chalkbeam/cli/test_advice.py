"""Refusals of what is not sure enough tell options that can be followed."""

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig import by_hand
from calibration.solve.acceptance import examine
from calibration.solve.values import Stated
from chalkbeam.cli.advice import for_crosses, for_photos
from tests.support.oblique_projector import oblique_map

FACE = PlatenFace(406.4, 508.0, 12.0)
SIZE = (1920, 1080)


def refused(count, **stated):
    """Set crosses a tenth of a millimetre off on a known projector; return what is said."""
    rng = np.random.default_rng(2)
    true = oblique_map(SIZE, roll=0.05, tilt=0.5, turn=0.1, distance=1200, throw=1.2, k1=-0.02)
    marks = np.array([mark.point for mark in by_hand.suggested_points(FACE, count)])
    pixels = true.projector_from_platen(marks + rng.normal(0, 0.1, marks.shape))
    asked = Stated(**stated)
    solution = by_hand.solve_by_hand(marks, pixels, FACE, SIZE, asked)
    with pytest.raises(Refusal) as caught:
        examine(solution, FACE)
    said = str(for_crosses(caught.value, solution, FACE))
    assert said.endswith(".")
    assert said.count(". ") == 0
    return said.partition("is allowed: ")[2]


def test_where_height_is_in_doubt_tape_data_sheet_or_thin_cloth():
    advice = refused(9, heights=(0.0, 20.0))
    assert "measure with a tape where the projector's lens is (--lens)" in advice
    assert "(--throw)" in advice
    assert "--up-to 1mm" in advice
    assert "--count" not in advice
    assert refused(4, heights=(0.0, 20.0)).startswith("set 9 crosses (--count 9), or measure")
    advice = refused(9, heights=(0.0, 100.0), throw=1.2)
    assert "--throw" not in advice


def test_more_crosses_only_where_more_can_be_set():
    assert refused(4, tolerance=0.5) == "set 9 crosses (--count 9)."
    assert refused(9, tolerance=0.5).startswith("measure the marks again")


def test_photos_of_thin_cloth_may_say_so():
    wide = Refusal(
        "Light could land 1.3 mm off at the back; 1 mm is allowed",
        "add a photo with the cards on a flat board (--raised)",
        remedy=Remedy(RemedyKind.HEIGHT),
    )
    assert str(wide).endswith(
        "1 mm is allowed: add a photo with the cards on a flat board (--raised)."
    )
    assert str(for_photos(wide, 4.0)).endswith(
        "board (--raised); if you press thin cloth only, say --up-to 1mm."
    )
    assert for_photos(wide, 4.0).remedy == wide.remedy
    assert for_photos(wide, 1.0) is wide
    other = Refusal("The cards are swapped.")
    assert for_photos(other, 4.0) is other
