"""How a garment lies on the platen: pose, overhang, pressed area, refusals that help."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.locations import location
from chalkbeam.placement import Severity, place
from chalkbeam.placement.loading import EDGE, OffPlaten, fitting, load, loading_words, plain_loading
from chalkbeam.placement.platens import Pad, platen
from tests.strategies import any_garment
from tests.support.artwork_files import block_art


def left_chest(width=89.0, height=60.0, size="M"):
    return place(garment("crew_tee", size), location("left-chest"), block_art(width, height))


def test_collar_away_and_towards_are_half_a_turn_apart():
    placed, plate = left_chest(), platen("16x20in")
    away = load(placed, plate, collar="away")
    towards = load(placed, plate, collar="towards")
    # Wearer's left chest is at garment x > 0: to the operator's right with the collar away,
    # to the left with it towards; the garment's y runs down, the platen's away from the operator.
    art_away = away.platen_from_garment.apply([placed.centre])[0]
    art_towards = towards.platen_from_garment.apply([placed.centre])[0]
    assert art_away[0] == pytest.approx(placed.centre[0])
    assert art_away[1] == pytest.approx(254 + away.overhang - placed.centre[1])
    assert art_towards == pytest.approx(-art_away)
    assert away.overhang == towards.overhang == pytest.approx(12.7)
    assert away.platen_from_garment.mirrored


@pytest.mark.parametrize(
    ("collar", "down"),
    [("away", (0, -1)), ("towards", (0, 1)), ("left", (1, 0)), ("right", (-1, 0))],
)
def test_the_hem_lies_opposite_the_collar(collar, down):
    pose = load(left_chest(), platen("16x16in"), collar=collar).platen_from_garment
    assert pose.matrix @ (0, 1) == pytest.approx(down)
    assert np.linalg.det(pose.matrix) == pytest.approx(-1)


def test_art_moves_the_garment_no_more_than_it_must():
    tall = place(garment("crew_tee", "XL"), location("full-back"), block_art(300, 400))
    loading = load(tall, platen("16x20in"))
    # top of the ink 102 mm below the seam, 400 high, 508 of platen less both edges
    assert loading.overhang >= 502 - 508 + EDGE
    lowest = loading.platen_from_garment.apply(tall.hull())[:, 1].min()
    assert lowest >= -254 + EDGE
    small = load(tall, platen("16x20in"), overhang=40.0, aside=12.0)
    assert (small.overhang, small.aside) == pytest.approx((40.0, 12.0))


def test_small_platen_is_slid_under_the_art():
    placed = left_chest()
    loading = load(placed, platen("pocket-6x6in"))
    assert loading.aside < -50
    ink = loading.platen_from_garment.apply(placed.hull())
    assert np.abs(ink).max() <= 76.2 - EDGE + 1e-9


def test_pad_carries_height_and_takes_the_art():
    plate = platen("16x20in").with_pad(Pad(PlatenFace(160, 120, 10), 12.0, (30, -40)))
    placed = left_chest()
    loading = load(placed, plate)
    assert loading.height == pytest.approx(12.0 + placed.garment.thickness)
    ink = loading.platen_from_garment.apply(placed.hull())
    assert (ink.min(axis=0) + ink.max(axis=0)) / 2 == pytest.approx((30, -40), abs=5)
    on_top = load(placed, plate, threaded=False)
    assert on_top.height == pytest.approx(12.0 + 2 * placed.garment.thickness)


def test_ink_off_the_pressed_area_is_refused_with_what_works():
    placed = place(garment("crew_tee", "M"), location("full-front"), block_art(300, 250))
    with pytest.raises(OffPlaten, match="load it with the neck seam away from you") as caught:
        load(placed, platen("16x20in"), overhang=100.0)
    assert caught.value.instead is not None
    again = caught.value.instead
    load(placed, again.platen, overhang=again.overhang, aside=again.aside)
    with pytest.raises(OffPlaten, match="use 15x15in") as caught:
        load(placed, platen("11x15in"))
    assert "11 3/4 in" in caught.value.words.say(Unit.INCH)
    # It hangs over on both sides alike: each by half of what is too much.
    over = (300 - (11 * 25.4 - 2 * EDGE)) / 2
    assert f"by {over:.0f} mm" in caught.value.words.say(Unit.MM)
    huge = place(garment("crew_tee", "5XL"), location("full-back"), block_art(420, 520))
    with pytest.raises(OffPlaten, match="no platen on file holds it"):
        load(huge, platen("16x20in"))


def test_rounded_corners_count():
    placed = left_chest(88, 88)
    square, round_corners = PlatenFace(102, 102, 0), PlatenFace(102, 102, 45)
    load(placed, platen("pocket-6x6in").__class__("square", square))
    with pytest.raises(Refusal):
        load(placed, platen("pocket-6x6in").__class__("round", round_corners))


def test_seams_under_pressure_are_told_and_a_pad_cures_them():
    placed = place(garment("placket_shirt", "L"), location("left-chest"), block_art(80, 50))
    bare = load(placed, platen("16x20in"))
    said = next(str(c.sentence) for c in bare.concerns if c.about == "pressed")
    assert said.startswith("The press will close on: ")
    assert "placket" in said
    padded = load(placed, platen("16x20in").with_pad(Pad(PlatenFace(110, 80, 5), 10.0)))
    assert not any("placket" in str(c.sentence) for c in padded.concerns)


def test_a_garment_too_narrow_is_not_threaded():
    placed = place(garment("crew_tee", "6M"), location("centre-chest"), block_art(80, 50))
    loading = load(placed, platen("16x20in"))
    assert any(c.about == "threading" and c.severity is Severity.CAUTION for c in loading.concerns)
    assert not any(
        c.about == "threading" for c in load(placed, platen("16x20in"), threaded=False).concerns
    )
    assert not any(c.about == "threading" for c in load(placed, platen("pocket-6x6in")).concerns)


def test_fitting_platens_all_work_best_first():
    placed = place(garment("crew_tee", "M"), location("full-front"), block_art(280, 300))
    found = fitting(placed)
    assert [fit.platen.name for fit in found] == ["15x15in", "16x16in", "16x20in"]
    assert fitting(left_chest())[0].platen.face.width < 200


def test_words_name_the_end_that_depths_count_from():
    sleeve = place(garment("crew_tee", "L"), location("left-sleeve"), block_art(60, 40))
    words = loading_words(sleeve, load(sleeve, platen("sleeve-4x16in"), collar="left"))
    assert words.say().startswith("shoulder seam to your left")
    leg = place(garment("trousers", "M"), location("left-leg"), block_art(89, 60))
    assert abs(load(leg, platen("11x15in")).aside) < 1
    plain = plain_loading(leg, load(leg, platen("11x15in"), aside=-15.0))
    assert plain["aside_mm"] == -15.0
    assert "nearer" not in plain["sentence"]
    assert "15 mm to the left of the middle" in plain["sentence"]


@pytest.mark.slow
@settings(max_examples=150)
@given(
    piece=any_garment(),
    name=st.sampled_from(
        ["centre-chest", "full-back", "left-chest", "left-sleeve", "left-leg", "tote"]
    ),
    width=st.floats(20, 450),
    height=st.floats(20, 550),
    plate=st.sampled_from(["16x20in", "15x15in", "11x15in", "sleeve-4x16in", "pocket-6x6in"]),
    collar=st.sampled_from(["away", "towards", "left", "right"]),
    overhang=st.one_of(st.none(), st.floats(-200, 200)),
    aside=st.one_of(st.none(), st.floats(-200, 200)),
    angle=st.sampled_from([0.0, 0.02, -0.1]),
)
def test_ink_is_never_off_the_platen(
    piece, name, width, height, plate, collar, overhang, aside, angle
):
    art = block_art(width, height)
    try:
        placed = place(piece, location(name), art)
        loading = load(
            placed, platen(plate), collar=collar, overhang=overhang, aside=aside, angle=angle
        )
    except Refusal:
        return
    ink = shapely.Polygon(loading.platen_from_garment.apply(placed.hull()))
    assert shapely.Polygon(platen(plate).pressed()).buffer(-EDGE + 1e-6).contains(ink)
    down = loading.platen_from_garment.matrix @ (0, 1)
    assert math.isclose(np.hypot(*down), 1.0)
