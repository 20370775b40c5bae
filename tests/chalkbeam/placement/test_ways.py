"""The ways to place a print: which line it goes by, and what then only checks it."""

import pytest

from calibration.refusal import Refusal
from chalkbeam.basics.units import MM_PER_INCH
from chalkbeam.garments import garment
from chalkbeam.locations import location
from chalkbeam.placement import place
from tests.support.artwork_files import block_art

ART = block_art(80, 50)


def below_shoulder(name, size):
    placed = place(garment("crew_tee", size), location(name), ART)
    return placed.centre[1] - placed.face.along["shoulder_top"].value


def test_a_left_chest_by_the_shoulder_lies_as_deep_on_every_adult_size():
    # 8 in below the shoulder, nominal for an adult medium: common practice, no source.
    for size in ("M", "L", "3XL"):
        assert below_shoulder("left chest by the shoulder", size) == pytest.approx(8 * MM_PER_INCH)
    assert below_shoulder("left chest", "2XL") > below_shoulder("left chest", "M") + 20


def test_the_way_not_chosen_checks():
    spot = location("left-chest by shoulder")
    assert spot is location("left chest, by the shoulder") is location("left-chest-by-shoulder")
    placed = place(garment("crew_tee", "M"), spot, ART)
    assert any("armpit" in check.checked_by.rule.says for check in placed.cross_checks)
    assert all(check.agrees for check in placed.cross_checks)  # 10.5 less 2.5 in is 8 in


def test_a_front_by_the_armpits_is_balanced_on_their_line():
    placed = place(garment("crew_tee", "M"), location("full front by the armpits"), ART)
    assert placed.centre[1] == pytest.approx(placed.face.along["pit_line"].value, abs=0.1)


def test_where_a_way_says_nothing_of_an_age_the_usual_one_holds():
    assert below_shoulder("left chest by the shoulder", "3T") == pytest.approx(
        below_shoulder("left chest", "3T")
    )


def test_a_way_that_there_is_not_is_refused_with_those_there_are():
    with pytest.raises(Refusal, match=r"not placed by the moon: write by the armpits or shoulder"):
        location("left chest by the moon")
    with pytest.raises(Refusal, match="one way alone"):
        location("tote by the handle")
