"""What a reading of the press means for the run: light that follows, a proposal, or words."""

import math

import numpy as np
import pytest

from calibration.geometry import Isometry
from chalkbeam.eye.garment import GarmentFound
from chalkbeam.eye.read import PieceRead
from chalkbeam.eye.values import ColourSeen, GarmentSeen, HeightSeen, Reading, RigSeen, SizeSeen
from chalkbeam.placement.shift import Shift
from chalkbeam.station.following import follow_garment, shift_to
from overlay.colour.colorimetry import lab_from_linear, linear_from_srgb
from tests.support.crew_order import open_run

RIGHT = "The collar, the shoulders and the sides agree."


@pytest.fixture(scope="module")
def station(tmp_path_factory):
    return open_run(tmp_path_factory.mktemp("following"))


def read(station, shift=Shift(), sure=True, size=RIGHT, colour=None, heights=None, seen=True):  # noqa: B008
    """Return a reading of the current garment, off its planned load."""
    planned = station.readiness.ready.planned.platen_from_garment
    pose = Isometry(planned.x + shift.x, planned.y + shift.y, planned.angle + shift.angle, True)
    garment = GarmentSeen(seen, sure, (pose.x, pose.y), pose.angle, why="Not sure.")
    sized = SizeSeen(None, sure, size)
    height = None
    if heights is not None:
        height = HeightSeen((-200.0, -250.0), 10.0, heights)
    measured = None
    if colour is not None:
        lab = lab_from_linear(np.array([linear_from_srgb(np.array(colour))]))[0]
        code = "#" + "".join(f"{each:02x}" for each in colour)
        measured = ColourSeen(code, tuple(lab), "paper")
    reading = Reading(garment, sized, height, measured, None, RigSeen(0.1, "unchanged"))
    return PieceRead(reading, GarmentFound(garment, sized, platen_from_garment=pose), pose)


def follow(station, **how):
    return follow_garment(read(station, **how), station.readiness.ready, station.readiness)


def test_the_light_follows_a_garment_that_surely_lies_a_little_askew(station):
    lies = Shift(3.0, 4.0, math.radians(0.8))
    found = follow(station, shift=lies)
    assert found.sure
    assert (found.shift.x, found.shift.y) == pytest.approx((3.0, 4.0))
    assert found.shift.angle == pytest.approx(lies.angle, abs=1e-6)
    assert found.words == ""


def test_where_pressing_does_not_allow_it_words_say_how_to_move(station):
    found = follow(station, shift=Shift(0.0, -120.0))
    assert not found.sure
    assert found.shift is None
    assert found.words.startswith("120 mm away from you")


def test_not_sure_is_a_proposal_and_nothing_seen_is_none(station):
    unsure = follow(station, shift=Shift(3.0, 1.0), sure=False)
    assert (unsure.sure, unsure.shift) == (False, Shift(3.0, 1.0))
    assert "Space" in unsure.words
    assert follow(station, seen=False).shift is None


def test_another_size_or_colour_is_told_and_never_followed_by_itself(station):
    size = "Check the piece: it looks like L, the order says M."
    assert follow(station, size=size).words == size
    name, (red, green, blue) = station.readiness.colour
    right = follow(station, colour=(red, green, blue))
    assert right.sure
    wrong = follow(station, colour=(255 - red, 255 - green, 255 - blue))
    assert not wrong.sure
    assert name in wrong.words


def test_a_fold_under_the_print_is_told_and_the_cloths_height_taken(station):
    flat = np.full((51, 41), 1.2)
    assert follow(station, heights=flat).cloth.height == pytest.approx(1.2)
    folded = flat.copy()
    folded[:, ::2] += 7.0
    assert "uneven by 7 mm" in follow(station, heights=folded).words


def test_a_turn_is_the_shorter_way_round():
    planned = Isometry(0.0, 0.0, math.radians(179.0), True)
    shift = shift_to(planned, Isometry(1.0, 2.0, math.radians(-179.0), True))
    assert (shift.x, shift.y) == (1.0, 2.0)
    assert math.degrees(shift.angle) == pytest.approx(2.0, abs=1e-4)


def test_the_right_garment_is_known_only_where_size_and_colour_are(station):
    navy = station.readiness.colour[1]
    assert follow(station, colour=navy).right_piece
    assert not follow(station).right_piece  # no colour was measured
    assert not follow(station, colour=navy, sure=False).right_piece
    assert not follow(station, colour=(200, 30, 30)).right_piece
