"""Garments: sizes, landmarks, and their agreement with the trade's rules of thumb."""

import numpy as np
import pytest
import shapely
from hypothesis import given

from calibration.refusal import Refusal
from chalkbeam.garments import FITS, garment, sizes, styles
from tests.strategies import any_face

INCH = 25.4


def test_adult_medium_agrees_with_itself():
    # common practice, no source: a left chest sits 2 to 3 in above the pit line, and about
    # 8 in (7 1/2 to 9) below the top of the shoulder of an adult medium: both hold at once.
    front = garment("crew_tee", "M").face("front")
    pit_below_shoulder = front.along["pit_line"].value - front.along["shoulder_top"].value
    assert pit_below_shoulder - 2.5 * INCH == pytest.approx(8.0 * INCH, abs=0.25 * INCH)


def test_left_is_the_wearers():
    tee = garment("crew_tee", "M")
    assert tee.face("front").across["left_neck_point"].value > 0
    assert tee.face("back").across["left_neck_point"].value < 0


@pytest.mark.parametrize(
    ("written", "meant"),
    [("xxl", "2XL"), ("Medium", "M"), ("youth m", "YM"), ("5/6", "5-6T"), ("18 months", "18M")],
)
def test_sizes_as_people_write_them(written, meant):
    assert garment("t-shirt", written).size == meant


@given(any_face())
def test_outlines_and_areas_are_sound(choice):
    _, face = choice
    panel = shapely.Polygon(face.outline)
    assert panel.is_valid
    assert panel.area > 0
    for area in face.areas:
        polygon = shapely.Polygon(area.polygon)
        assert polygon.is_valid, area.name
        assert polygon.area > 0, area.name
    assert np.isfinite(face.outline).all()


@pytest.mark.parametrize("group", [["XS", "S", "M", "L", "XL", "2XL", "3XL", "4XL", "5XL"]])
def test_pit_line_falls_with_size(group):
    pits = [garment("crew_tee", size).face("front").along["pit_line"].value for size in group]
    assert pits == sorted(pits)


def test_a_measured_piece_goes_before_the_chart():
    tee = garment("crew_tee", "M", measured={"half_chest": 560.0})
    assert tee.measures["half_chest"].value == 560.0
    assert tee.measures["neck_width"].value > garment("crew_tee", "M").measures["neck_width"].value
    assert tee.measures["neck_width"].derived


@pytest.mark.parametrize(
    ("style", "size", "name", "value", "says"),
    [
        ("crew_tee", "M", "half_chest", 41 * 25.4, "508 mm .20.0 in.*all the way round"),
        ("crew_tee", "M", "half_chest", 205.0, "508 mm .*inches, typed as centimetres"),
        ("crew_tee", "M", "half_chest", 52 * 25.4, "centimetres, typed as inches"),
        ("crew_tee", "M", "half_chest", 10 * 25.4, "folded once more"),
        ("crew_tee", "M", "body_length", 58 * 25.4, "737 mm .*check the length and its unit"),
        ("crew_tee", "M", "collar_height", 2 * 25.4, "20 mm .*typed as inches"),
        ("crew_tee", "5XL", "half_chest", 40 * 25.4, "the chart has for a crew tee 5XL"),
        ("crew_tee", "6M", "half_chest", 8 * 25.4, "the chart has for a crew tee 6M"),
    ],
)
def test_a_slip_of_the_tape_is_refused_with_the_charts_figure(style, size, name, value, says):
    """What slips look like is common practice, no source; an inch is 2.54 cm."""
    with pytest.raises(Refusal, match=says) as refused:
        garment(style, size, measured={name: value})
    assert f"{value:.0f} mm" in str(refused.value)


@pytest.mark.parametrize("size", ["6M", "18M", "5-6T", "YL", "XS", "M", "3XL", "5XL"])
def test_a_piece_two_sizes_off_or_of_a_loose_cut_is_believed(size):
    """Common practice, no source: labels are sewn into the wrong size, makers differ by two."""
    run = sizes("crew_tee")
    place = run.index(size)
    for other in run[max(0, place - 2) : place + 3]:
        for name in ("half_chest", "body_length"):
            value = garment("crew_tee", other).measures[name].value
            piece = garment("crew_tee", size, measured={name: value})
            assert piece.measures[name].value == value


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: garment("kilt", "M"), "crew tee"),
        (lambda: garment("hoody", "M"), "no style “hoody”: did you mean .*“hoodie”"),
        (lambda: garment("crew_tee", "7XL"), "5XL"),
        (lambda: garment("crew_tee", "M", measured={"tail": 3.0}), "half_chest"),
        (
            lambda: garment("crew_tee", "6M", measured={"neck_width": 172, "shoulder_width": 149}),
            "neck width .* is not smaller than the shoulder width",
        ),
        # Measures that once made the draft's edges cross, and a unit mistaken.
        (
            lambda: garment("crew_tee", "M", measured={"pit_depth": 394, "sleeve_length": 145}),
            "edges of the left sleeve cross",
        ),
        (lambda: garment("crew_tee", "YXS", measured={"pit_depth": 400.0}), "measure"),
        (
            lambda: garment("crew_tee", "M", measured={"half_chest": 20.0}),
            "508 mm .*typed as millimetres",
        ),
        (lambda: garment("crew_tee", "M", measured={"sleeve_length": 2000.0}), "far from the"),
        (lambda: garment("crew_tee", "M").face("leg"), "left sleeve"),
    ],
)
def test_refusals_list_what_there_is(call, says):
    with pytest.raises(Refusal, match=says):
        call()


def test_every_size_from_infant_to_5xl():
    assert len(sizes("crew_tee")) == 22


def test_no_figure_of_memory_goes_unmarked():
    # No openly quotable table was at hand for blanks of children and women: each value of the
    # program's own says that it is from memory or common practice.
    for style in styles():
        for fit in FITS:
            for size in sizes(style, fit=fit):
                for name, measure in garment(style, size, fit=fit).measures.items():
                    assert measure.assumed, (style, size, name, measure.source)
    taped = garment("crew_tee", "M", measured={"half_chest": 510.0})
    assert not taped.measures["half_chest"].assumed
