"""Places that hard rules forbid or that spoil the garment, and what is offered instead."""

import math
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.locations import location
from chalkbeam.placement import Impossible, Severity, alternatives, place
from chalkbeam.placement.answers import fitting_locations
from chalkbeam.placement.solve import takes
from tests.support.artwork_files import block_art


@given(width=st.floats(100, 300), height=st.floats(190, 400))
def test_scaling_by_the_offered_width_fits_and_a_little_more_does_not(width, height):
    piece, place_name = garment("pullover_hood", "YM"), location("full-front")
    art = block_art(width, height)
    conflict = None
    try:
        place(piece, place_name, art)
    except Impossible as raised:
        conflict = raised
    assume(conflict is not None)
    assert conflict.width is not None
    place(piece, place_name, art.scaled(conflict.width / width * (1 - 1e-9)))
    with pytest.raises(Impossible):
        place(piece, place_name, art.scaled(conflict.width / width * 1.01))
    assert "never onto the collar" in str(conflict)
    assert "clear of the pocket" in str(conflict)


def test_impossible_offers_places_that_work():
    piece, art = garment("pullover_hood", "M"), block_art(250, 380)
    with pytest.raises(Impossible) as caught:
        place(piece, location("full-front"), art)
    conflict = caught.value
    assert "full-back" in conflict.others
    for other in conflict.others:
        assert place(piece, location(other), art).worst < Severity.STOP
    assert " in wide" in conflict.words.say(Unit.INCH)
    assert str(conflict) == conflict.words.say(Unit.MM)


def test_what_is_offered_lies_on_the_same_face_first_and_takes_any_art():
    placed = place(garment("crew_tee", "L"), location("upper-back"), block_art(280, 150))
    names = fitting_locations(placed.garment, placed.location, placed.artwork)
    faces = [location(name).face for name in names]
    assert faces == sorted(faces, key=lambda face: face != "back")
    assert faces[0] == "back"
    for name in ("player-number", "left-sleeve-long", "left-chest-script"):
        assert not takes(location(name), lettering=True)
    assert takes(location("left-chest-name"), lettering=True)
    assert not takes(location("left-chest-name"), lettering=False)


def test_lettering_and_slanted_places_are_not_offered_for_other_art():
    placed = place(garment("pocket_tee", "M"), location("left-chest"), block_art(89, 80))
    elsewhere = next(a.template for a in alternatives(placed) if "elsewhere" in a.template)
    assert "above-pocket" in elsewhere
    assert "name" not in elsewhere
    assert "script" not in elsewhere


@pytest.mark.parametrize(
    ("style", "name", "art"),
    [
        ("pocket_tee", "left-chest", block_art(89, 60)),
        ("pullover_hood", "nape", block_art(50, 30)),
        ("placket_shirt", "nape", block_art(50, 30)),
        ("pullover_hood", "left-hem", block_art(89, 60)),
        ("zip_hood", "centre-chest", block_art(220, 100)),
    ],
)
def test_alternatives_work(style, name, art):
    from chalkbeam.placement.alternatives import STEP
    from chalkbeam.placement.clearance import clearance as touch

    def fine(found):
        # More than a twentieth of the ink under a hood calls for another place.
        return found.covered <= 0.5 and not any(c.severity is Severity.STOP for c in found.warnings)

    piece, spot = garment(style, "L"), location(name)
    placed = place(piece, spot, art)
    answers = alternatives(placed)
    assert answers
    for answer in answers:
        way = answer.template.partition("elsewhere")[0]
        if "higher" in way or "lower" in way:
            by = answer.lengths[0] * (-1 if "higher" in answer.template else 1)
            pose = placed.garment_from_art
            assert fine(touch(placed.face, art, replace(pose, y=pose.y + by)))
            nearer = by - math.copysign(STEP, by)
            assert not fine(touch(placed.face, art, replace(pose, y=pose.y + nearer)))
        elif "wide" in answer.template:
            smaller = place(piece, spot, art.scaled(answer.lengths[0] / art.ink.width))
            assert smaller.worst < Severity.STOP
        else:
            for other in answer.template.removeprefix("elsewhere: ").split(", "):
                assert place(piece, location(other), art).worst < Severity.STOP


def test_where_nothing_is_wrong_nothing_is_offered():
    assert alternatives(place(garment("crew_tee", "M"), location("nape"), block_art(50, 30))) == ()
