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
from chalkbeam.placement.platens import Pad, padded, platen
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
    said = next(str(c.sentence) for c in bare.concerns if c.severity is Severity.CAUTION)
    assert said.startswith("Under the head: button 2 ")
    padded = load(placed, platen("16x20in").with_pad(Pad(PlatenFace(110, 80, 5), 10.0)))
    assert not any("placket" in str(c.sentence) for c in padded.concerns)


def test_a_garment_too_narrow_is_not_threaded():
    placed = place(garment("crew_tee", "6M"), location("centre-chest"), block_art(80, 50))
    loading = load(placed, platen("16x20in"))
    assert any(c.about == "threading" for c in loading.concerns)
    assert not loading.threaded
    assert loading.height == pytest.approx(2 * placed.garment.thickness)
    assert "on top with both layers" in loading_words(placed, loading).say()
    on_top = load(placed, platen("16x20in"), threaded=False)
    assert not any(c.about == "threading" for c in on_top.concerns)
    small = load(placed, platen("pocket-6x6in"))
    assert small.threaded
    assert not any(c.about == "threading" for c in small.concerns)


def test_fitting_platens_all_work_best_first():
    placed = place(garment("crew_tee", "M"), location("full-front"), block_art(280, 300))
    found = fitting(placed)
    assert [fit.platen.name for fit in found] == ["15x15in", "16x16in", "16x20in"]
    assert fitting(left_chest())[0].platen.face.width < 200


def test_sleeves_and_legs_go_on_by_the_cuff():
    sleeve = place(garment("crew_tee", "L"), location("left-sleeve"), block_art(60, 40))
    words = loading_words(sleeve, load(sleeve, platen("sleeve-4x16in"), collar="left"))
    assert words.say().startswith("sleeve's hem to your right")
    usual = load(sleeve, platen("sleeve-4x16in"))
    assert usual.collar == "towards"
    hem = sleeve.face.along["sleeve_hem"].value
    far = usual.platen_from_garment.apply([(0.0, hem)])[0, 1] - 16 * 25.4 / 2
    said = next(length for length in loading_words(sleeve, usual).lengths)
    assert said == pytest.approx(abs(float(far)))
    leg = place(garment("trousers", "M"), location("left-leg"), block_art(89, 60))
    assert abs(load(leg, platen("11x15in")).aside) <= 5  # off the side seam, by a whole step
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


def under(placed, loading):
    """Return the names of areas under the head, by polygons laid over one another anew."""
    pressed = shapely.Polygon(loading.platen.pressed())
    found = set()
    for area in placed.face.areas:
        shape = shapely.Polygon(loading.platen_from_garment.apply(area.polygon)).buffer(0)
        if area.kind != "hood_shadow" and shape.intersection(pressed).area > EDGE * EDGE:
            found.add(area.name)
    return found


def test_the_back_of_a_placket_shirt_is_laid_so_that_the_collar_hangs_over():
    # At a fixed half inch of overhang its folded collar lies under the head.
    placed = place(garment("placket_shirt", "L"), location("full-back"), block_art(280, 200))
    assert "collar" in under(placed, load(placed, platen("16x20in"), overhang=12.7))
    sought = load(placed, platen("16x20in"))
    assert "collar" not in under(placed, sought)
    assert 12.7 < sought.overhang < 80
    assert not any(c.severity > Severity.NOTE for c in sought.concerns)


@pytest.mark.parametrize("size", ["S", "L", "2XL"])
def test_a_pad_is_put_between_placket_and_sleeve(size):
    placed = place(garment("placket_shirt", size), location("left-chest"), block_art(85, 60))
    loading = load(placed, padded(platen("16x20in"), "6x6x0.5in"))
    assert not under(placed, loading) & {"placket", "button 1", "button 2", "left armhole seam"}
    ink = shapely.Polygon(loading.platen_from_garment.apply(placed.hull()))
    assert shapely.Polygon(loading.platen.pressed()).buffer(-EDGE + 1e-6).contains(ink)
    # threaded, the garment is moved aside no further than its width gives
    give = (placed.garment.measures["half_chest"].value - 16 * 25.4) / 2
    assert abs(loading.aside) <= give + 1e-6
    # one whose place is given stays there
    given = load(placed, padded(platen("16x20in"), "6x6x0.5in", "1 in left"))
    assert given.platen.pad.centre == pytest.approx((-25.4, 0.0))


def test_what_is_told_of_a_ridge_goes_by_its_height_and_how_near_it_is():
    placed = place(garment("zip_hood", "L"), location("left-chest"), block_art(85, 60))
    worst = [c for c in load(placed, platen("16x20in")).concerns if c.severity > Severity.NOTE]
    assert any("zip" in str(c.sentence) for c in worst)  # it gives way to nothing, however far
    tee = place(garment("crew_tee", "YM"), location("left-chest"), block_art(70, 50))
    told = load(tee, platen("16x20in")).concerns
    assert told
    assert all(c.severity is Severity.NOTE for c in told)
    assert any("As usual under the head" in str(c.sentence) for c in told)


def test_the_pad_that_is_offered_keeps_out_what_is_told_of():
    placed = place(garment("zip_hood", "L"), location("left-chest"), block_art(85, 60))
    bare = load(placed, platen("16x20in"))
    (told,) = (c for c in bare.concerns if c.severity > Severity.NOTE)
    wide, deep = told.sentence.lengths[-4:-2] if len(told.sentence.lengths) > 3 else (0, 0)
    smaller = load(placed, padded(platen("16x20in"), "5x5x0.5in"))
    assert min(wide, deep) >= 5 * 25.4
    assert not any(c.severity > Severity.NOTE for c in smaller.concerns)


def test_the_sheet_keeps_clear_of_the_platens_edge_where_it_can():
    # A long sleeve's sheet once ended 1/16 in from the edge.
    art = block_art(240, 60, margin=12)
    placed = place(garment("long_sleeve", "L"), location("left-sleeve-long"), art)
    loading = load(placed, platen("sleeve-5x18in"))
    sheet = loading.platen_from_garment.apply(placed.sheet())
    assert 18 * 25.4 / 2 - np.abs(sheet[:, 1]).max() >= 12.7 - 1e-6
