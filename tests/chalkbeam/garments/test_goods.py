"""Goods beside tees and sweatshirts: what each must say of itself, and what is pressed on it.

The trade's figures here are from memory or common practice, no source, as their data files say.
"""

import pytest

from calibration.refusal import Refusal
from chalkbeam.garments import garment
from chalkbeam.locations import location
from chalkbeam.placement import Severity, place
from chalkbeam.placement.loading import fitting
from tests.support.artwork_files import block_art

INCH = 25.4


def kinds(style, size, face="front"):
    return {area.kind for area in garment(style, size).face(face).areas if area.hard}


def placed(style, size, where, width=3 * INCH, height=2 * INCH):
    return place(garment(style, size), location(where), block_art(width, height))


@pytest.mark.parametrize(
    ("style", "size", "where", "width", "height"),
    [
        ("jersey", "XL", "player-number", 200, 203),
        ("button_jersey", "L", "left-chest", 85, 60),
        ("quarter_zip", "M", "left-chest", 85, 60),
        ("jacket", "2XL", "left-chest", 85, 60),
        ("button_shirt", "M", "left-chest", 85, 60),
        ("bodysuit", "6M", "full-front", 100, 80),
        ("shorts", "L", "left-leg", 80, 60),
        ("apron", "standard", "bib", 180, 80),
        ("drawstring_bag", "standard", "tote", 250, 200),
        ("cap", "mid", "cap-front", 100, 50),
        ("pullover_hood", "M", "left-hood", 95, 80),
        ("zip_hood", "YM", "right-hood", 70, 60),
    ],
)
def test_what_is_usually_pressed_goes_there(style, size, where, width, height):
    there = placed(style, size, where, width, height)
    assert there.worst < Severity.STOP
    assert fitting(there), "no platen on file takes it"


@pytest.mark.parametrize(
    ("style", "size", "there"),
    [
        ("quarter_zip", "M", {"zip", "collar"}),
        ("jacket", "M", {"zip", "collar", "pocket_edge"}),
        ("button_shirt", "M", {"placket", "button", "collar"}),
        ("button_jersey", "M", {"placket", "button"}),
    ],
)
def test_zips_buttons_and_pockets_are_kept_clear_of(style, size, there):
    assert there <= kinds(style, size)
    full = placed(style, size, "full-front", 280, 250)
    assert full.worst is Severity.STOP  # across the opening no print goes


def test_a_quarter_zip_leaves_the_lower_front_free():
    face = garment("quarter_zip", "L").face("front")
    end = face.along["zip_end"].value
    assert 6 * INCH < end < 9 * INCH
    zip_area = next(area for area in face.areas if area.kind == "zip")
    assert end < zip_area.polygon[:, 1].max() < end + INCH


def test_a_yoke_lies_where_a_back_print_would_begin():
    back = garment("button_shirt", "M").face("back")
    assert 2 * INCH < back.along["yoke_seam"].value < 4 * INCH
    said = [str(c.sentence) for c in placed("button_shirt", "M", "upper-back", 280, 80).warnings]
    assert any("yoke seam" in each for each in said)


def test_shorts_end_above_the_knee_and_keep_their_width():
    leg = garment("shorts", "M").face("left_leg")
    assert leg.along["hem"].value - leg.along["crotch_line"].value == pytest.approx(9 * INCH)
    low = leg.outline[abs(leg.outline[:, 1] - leg.along["hem"].value) < 1e-6]
    assert abs(low[:, 0]).max() == pytest.approx(11.8 * INCH, abs=0.1)


def test_a_bodysuit_narrows_to_its_press_studs():
    suit = garment("bodysuit", "6M")
    front = suit.face("front")
    low = front.outline[front.outline[:, 1] > front.along["hem"].value - 1.0]
    assert abs(low[:, 0]).max() == pytest.approx(suit.measures["crotch_width"].value / 2)
    assert suit.age == "infant"


def test_a_hood_is_printed_between_its_hem_and_its_seam():
    # common practice, no source: half way from the opening's hem to the back, on either side alike
    for size in ("YS", "M", "4XL"):
        left, right = (placed("pullover_hood", size, f"{side}-hood") for side in ("left", "right"))
        assert left.worst < Severity.STOP
        assert left.centre == pytest.approx((-right.centre[0], right.centre[1]))
        assert left.face.across["hood_opening"].value < 0 < right.face.across["hood_opening"].value
    with pytest.raises(Refusal, match="it has front, back"):
        placed("crew_tee", "M", "left-hood")


def test_a_cap_says_what_light_can_and_cannot_do():
    # A head of 23 in round has a radius of 93 mm: at 1 in beside the middle a cylinder of that
    # radius has dropped by r (1 - cos(25.4 / r)) = 3.4 mm, which light 30 degrees aslant shows
    # 2 mm off: a worked example of plane geometry.
    there = placed("cap", "mid", "cap-front", 100, 50)
    told = [str(c.sentence) for c in there.warnings if c.about == "garment"]
    assert any("within 1 in of its centre seam" in each for each in told)
    bottom = there.hull()[:, 1].max()
    assert there.face.along["brim_seam"].value - bottom >= 0.5 * INCH - 0.01


def test_goods_are_no_place_for_each_others_prints():
    for style, size, where in (("apron", "standard", "tote"), ("cap", "mid", "bib"),
                               ("tote", "standard", "cap-front")):  # fmt: skip
        with pytest.raises(Refusal):
            placed(style, size, where)
