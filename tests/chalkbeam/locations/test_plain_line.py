"""A location of the shop's own from one plain line."""

import pytest

from calibration.refusal import Refusal
from chalkbeam.basics.units import MM_PER_INCH
from chalkbeam.garments import garment
from chalkbeam.locations.library import read_location
from chalkbeam.locations.plain_line import plain_text, read_line
from chalkbeam.placement import place
from tests.support.artwork_files import block_art


def placed(tmp_path, line, face="front", style="crew_tee"):
    path = tmp_path / "house-rule.toml"
    text = plain_text(read_line(line, face), "house-rule", face, 89.0)
    path.write_text(text, encoding="utf-8")
    return place(garment(style, "M"), read_location(path)[0], block_art(80, 50))


@pytest.mark.parametrize("face", ["front", "back"])
def test_seven_down_and_four_across_is_where_a_ruler_says(tmp_path, face):
    found = placed(tmp_path, "7 in down from the shoulder, 4 in across", face)
    x, y = found.centre
    assert y - found.face.along["shoulder_top"].value == pytest.approx(7 * MM_PER_INCH)
    # on the wearer's left: to the right as one looks at the front, to the left at the back
    assert x == pytest.approx((4 if face == "front" else -4) * MM_PER_INCH)


def test_edges_of_the_ink_count_from_hem_and_side(tmp_path):
    found = placed(tmp_path, "2 in above the hem and 3 in in from the left side")
    hull = found.hull()
    assert found.face.along["hem"].value - hull[:, 1].max() == pytest.approx(2 * MM_PER_INCH)
    side = found.face.across["left_side_seam"].value
    assert side - found.centre[0] == pytest.approx(3 * MM_PER_INCH)


def test_a_line_alone_is_centred(tmp_path):
    found = placed(tmp_path, "3 in below the collar")
    assert found.centre[0] == pytest.approx(0.0)
    assert found.hull()[:, 1].min() == pytest.approx(3 * MM_PER_INCH)
    on = placed(tmp_path, "on the armpit line, centred")
    assert on.centre[1] == pytest.approx(on.face.along["pit_line"].value)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("where it looks right", "is not understood"),
        ("4 in across", "does not say how far up or down"),
        ("7 down from the shoulder", "no unit|unit"),
        ("3 in below the moon", "is not understood"),
    ],
)
def test_what_is_not_understood_is_refused_with_an_example(line, said):
    with pytest.raises(Refusal, match=said) as caught:
        read_line(line)
    assert "schema" not in str(caught.value)
