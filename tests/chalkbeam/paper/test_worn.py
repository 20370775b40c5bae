"""The worn view: cloth keeps its lengths, lies on the right side, and what is hidden is counted."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe

from calibration.geometry import Isometry
from calibration.refusal import Refusal
from chalkbeam.garments import garment
from chalkbeam.paper.worn import Worn, look, losses, under_hood
from chalkbeam.paper.worn.drape import drape
from chalkbeam.paper.worn.form import ellipse_quarter, top_half
from chalkbeam.paper.worn.others import legs_figure
from chalkbeam.paper.worn.raster import grid_triangles, rasterise
from chalkbeam.paper.worn.surfaces import sleeve_map, top_figure


def _solid(width=60, height=40, colour=(200, 30, 30, 255)):
    return np.full((height, width, 4), colour, dtype=np.uint8)


def _on(style, size, face, x, y, width, art=None):
    return Worn(garment(style, size), face, _solid() if art is None else art, Isometry(x, y), width)


@given(st.floats(0.3, 1.2))
def test_ellipse_perimeter_against_scipy(roundness):
    # Independent: the complete elliptic integral of the second kind, scipy.special.ellipe.
    longest, shortest = max(1.0, roundness), min(1.0, roundness)
    exact = longest * ellipe(1 - (shortest / longest) ** 2)
    assert float(ellipse_quarter(roundness)) == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize(
    ("style", "size", "fit"),
    [
        ("crew_tee", "M", "regular"),
        ("crew_tee", "5XL", "regular"),
        ("v_neck", "XS", "womens"),
        ("crew_tee", "12M", "regular"),
        ("pullover_hood", "YM", "regular"),
    ],
)
@pytest.mark.parametrize("name", ["front", "back"])
def test_cloth_keeps_its_lengths_where_art_goes(style, size, fit, name):
    piece = garment(style, size, fit=fit)
    face = piece.face(name)
    lie = drape(top_half(piece, name), face)
    half = 0.75 * piece.measures["half_chest"].value / 2
    xs, ys = np.meshgrid(
        np.linspace(-half, half, 25),
        np.linspace(0.1, 1.0, 25) * face.along["hem_seam"].value,
    )
    points = np.column_stack([xs.ravel(), ys.ravel()])
    inside = shapely.contains_xy(shapely.Polygon(face.outline).buffer(-20), points)
    stretch = lie.stretch(points[inside])
    # Within 3 % for nine points in ten; up to 15 % where shoulder and side curve at once.
    assert np.abs(np.quantile(stretch, [0.05, 0.95]) - 1).max() < 0.03
    assert np.abs(stretch - 1).max() < 0.15


def test_cloth_has_the_garments_girth():
    piece = garment("crew_tee", "L")
    halves = [top_half(piece, name) for name in ("front", "back")]
    fall = np.array([0.9 * piece.measures["pit_depth"].value + 60.0])
    turns = np.linspace(-math.pi / 2, math.pi / 2, 2001)
    girth = 0.0
    for half in halves:
        ring = half.surface(turns, np.full_like(turns, fall[0]))
        girth += float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum())
    assert girth == pytest.approx(2 * piece.measures["half_chest"].value, rel=2e-3)


def test_left_is_the_wearers_on_both_faces():
    figure = top_figure(garment("crew_tee", "M"), 0.25)
    chest = figure.places["front"](np.array([[90.0, 100.0]]))[0]
    assert chest[0] > 50
    assert chest[2] > 50
    back = figure.places["back"](np.array([[90.0, 100.0]]))[0]
    assert back[0] < -50
    assert back[2] < -50


def test_front_and_back_meet_at_the_sides():
    piece = garment("crew_tee", "M")
    figure = top_figure(piece, 0.6)
    side = piece.measures["half_chest"].value / 2
    for depth in (60.0, 200.0, 350.0):
        front = figure.places["front"](
            np.array([[side, piece.face("front").along["pit_line"].value + depth]])
        )[0]
        back = figure.places["back"](
            np.array([[-side, piece.face("back").along["pit_line"].value + depth]])
        )[0]
        assert np.linalg.norm(front - back) < 12


def test_sleeves_hang_outside_with_their_front_in_front():
    piece = garment("crew_tee", "M")
    for name, side in (("left_sleeve", 1.0), ("right_sleeve", -1.0)):
        lie = sleeve_map(piece, name, np.array([side * 210.0, -45.0, -20.0]))
        outer, front = lie.place(np.array([[0.0, 120.0], [-side * 40.0, 120.0]]))
        assert side * outer[0] > 210
        assert front[2] > outer[2] + 20
        # round the tube the cloth keeps its width
        across = lie.place(np.column_stack([np.linspace(-80, 80, 400), np.full(400, 120.0)]))
        assert np.linalg.norm(np.diff(across, axis=0), axis=1).sum() == pytest.approx(160, rel=1e-3)


@pytest.mark.trade("worn-low")
def test_a_low_print_rides_to_the_belly():
    # The belly stands out under a low print, and nothing of the chest does.
    slim, full = (top_figure(garment("crew_tee", "XL"), belly).places["front"] for belly in (0, 1))
    high, low = ([(0.0, y)] for y in (120.0, 420.0))
    ahead = [float((full(at) - slim(at))[0, 2]) for at in (high, low)]
    assert ahead[0] < 1.0
    assert ahead[1] > 20.0


def test_legs_have_the_hips_outside():
    figure = legs_figure(garment("trousers", "M"))
    left = figure.places["left_leg"](np.array([[-10.0, 120.0], [-200.0, 120.0]]))
    assert left[0, 0] > 150
    assert left[1, 2] > left[0, 2] + 50
    right = figure.places["right_leg"](np.array([[10.0, 120.0]]))
    assert right[0, 0] == pytest.approx(-left[0, 0])


@pytest.mark.parametrize("size", ["18M", "YM", "M", "5XL"])
def test_legs_meet_down_to_where_they_part(size):
    from chalkbeam.paper.worn.others import legs_figure

    figure = legs_figure(garment("trousers", size))
    rise = garment("trousers", size).face("left_leg").along["crotch_line"].value
    leg = next(surface for surface in figure.surfaces if surface.face == "left_leg")
    above = -leg.points[..., 1] < rise
    nearest = np.where(above, leg.points[..., 0], np.inf).min(axis=1)
    assert nearest[above.any(axis=1)].max() < 3.0  # mm off the wearer's middle


def test_the_nearest_triangle_is_seen_and_interpolated():
    pixels = np.array([[0, 0], [10, 0], [0, 10], [0, 0], [10, 0], [0, 10]], dtype=float)
    depth = np.array([5.0, 5, 5, 3, 3, 9])
    values = np.column_stack([np.arange(6.0), pixels])
    triangles = np.array([[0, 1, 2], [3, 4, 5]])
    seen = rasterise(pixels, depth, values, triangles, (12, 12))
    # worked by hand: the tilted triangle's depth is 3 + 0.6 y, less than 5 where y < 10/3
    assert seen.depth[2, 2] == pytest.approx(4.2)
    assert seen.depth[5, 2] == pytest.approx(5.0)
    assert seen.values[5, 2, 1:] == pytest.approx([2.0, 5.0])
    assert not seen.seen[11, 11]
    assert not seen.seen[8, 8]


def test_a_grid_is_covered_without_holes():
    rows, columns = 7, 9
    y, x = np.mgrid[0:rows, 0:columns] * 5.0
    pixels = np.column_stack([x.ravel(), y.ravel()])
    seen = rasterise(pixels, np.ones(len(pixels)), pixels, grid_triangles(rows, columns), (41, 31))
    assert seen.seen.all()
    assert seen.values[17, 23] == pytest.approx([23.0, 17.0])


@settings(max_examples=6)
@given(st.floats(60, 330), st.floats(120, 320))
def test_share_under_the_hood_against_shapely(y, width):
    # Independent: area of the intersection of two polygons.
    worn = _on("pullover_hood", "L", "back", 0.0, y, width)
    back = worn.garment.face("back")
    shadow = next(area.polygon for area in back.areas if area.kind == "hood_shadow")
    art = shapely.box(-width / 2, y - width / 3, width / 2, y + width / 3)
    expected = art.intersection(shapely.Polygon(shadow)).area / art.area
    assert under_hood(worn) == pytest.approx(expected, abs=0.02)


@pytest.mark.trade("worn-hood")
def test_a_back_print_below_the_hood_is_whole():
    # common practice, no source: 5 to 6 in or more below the hood seam
    high = losses(_on("pullover_hood", "M", "back", 0.0, 120.0, 200.0))
    low = losses(_on("pullover_hood", "M", "back", 0.0, 5.5 * 25.4 + 70, 200.0))
    assert high.under_hood > 0.3
    assert low.under_hood == 0.0
    assert high.out_of_sight >= low.out_of_sight


@pytest.mark.trade("worn-chest")
def test_chest_prints_are_in_sight_and_sleeve_prints_half_out_of_it():
    chest = losses(_on("crew_tee", "M", "front", 90.0, 90.0, 90.0))
    assert chest.out_of_sight == 0.0
    assert chest.edge_on == 0.0
    sleeve = losses(_on("crew_tee", "M", "left_sleeve", 0.0, 140.0, 80.0))
    assert 0.45 < sleeve.out_of_sight < 0.75
    wide = losses(_on("crew_tee", "M", "front", 0.0, 250.0, 500.0))
    assert wide.edge_on > 0.15


def test_transparent_pixels_do_not_count():
    art = _solid(80, 40)
    art[:, 40:, 3] = 0
    whole, half = (
        losses(_on("crew_tee", "M", "left_sleeve", x, 140.0, width, art=a))
        for x, width, a in ((-20.0, 40.0, _solid(40, 40)), (0.0, 80.0, art))
    )
    assert half.out_of_sight == pytest.approx(whole.out_of_sight, abs=0.05)
    with pytest.raises(Refusal, match="no ink"):
        losses(_on("crew_tee", "M", "front", 0.0, 150.0, 80.0, art=art * (1, 1, 1, 0)))


def _red(picture):
    red = picture.astype(int)
    return ((red[..., 0] > 90) & (red[..., 0] - red[..., 1] > 60)).sum()


@pytest.mark.parametrize(
    ("style", "size", "face", "x", "y", "width"),
    [
        ("crew_tee", "M", "front", 0.0, 150.0, 250.0),
        ("placket_shirt", "3T", "front", 45.0, 70.0, 50.0),
        ("tank", "XL", "back", 0.0, 200.0, 250.0),
        ("zip_hood", "S", "left_sleeve", 0.0, 200.0, 80.0),
        ("trousers", "L", "leg", -70.0, 140.0, 80.0),
        ("tote", "large", "panel", 0.0, 200.0, 200.0),
        ("pullover_hood", "L", "left_hood", 0.0, 180.0, 100.0),
        ("apron", "standard", "panel", 0.0, 150.0, 150.0),
    ],
)
def test_pictures_show_the_art(style, size, face, x, y, width):
    worn = _on(style, size, face, x, y, width)
    for view in ("straight", "three_quarter"):
        picture = look(worn, view, 150)
        assert picture.shape[0] == 150
        assert _red(picture) > 8
    assert (look(worn, "straight", 150) == look(worn, "straight", 150)).all()


def test_straight_view_shows_left_chest_on_the_viewers_right():
    picture = look(_on("crew_tee", "M", "front", 90.0, 90.0, 90.0), "straight", 200)
    red = picture.astype(int)
    columns = np.nonzero((red[..., 0] > 90) & (red[..., 0] - red[..., 1] > 60))[1]
    assert columns.mean() > picture.shape[1] / 2 + 5
