"""Lines as polygons, against shapely's buffers and intersections."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LinearRing, LineString, Point, Polygon

from overlay.draw.strokes import REACH, STEP, hatch, stroke
from overlay.marks import Dash

ZIGZAG = np.array([[0, 0], [60, 0], [60, 40], [20, 55], [90, 80.0]])


def union(contours):
    return shapely.union_all([Polygon(polygon) for polygon in contours.polygons()])


@pytest.mark.parametrize("width", [0.4, 1.2, 5.0])
def test_open_line_is_shapelys_flat_buffer(width):
    """Reference: shapely's buffer with flat ends; sharp turns are round here, pointed there."""
    drawn = union(stroke(ZIGZAG, width))
    expected = LineString(ZIGZAG).buffer(
        width / 2, cap_style="flat", join_style="mitre", mitre_limit=2
    )
    assert drawn.symmetric_difference(expected).area < 0.5 * width**2
    assert drawn.area == pytest.approx(expected.area, rel=0.02)


def test_ring_is_shapelys_buffer():
    ring = np.array([[0, 0], [80, 0], [80, 50], [0, 50.0]])
    drawn = union(stroke(ring, 2.0, closed=True))
    expected = LinearRing(ring).buffer(1.0, join_style="mitre")
    assert drawn.symmetric_difference(expected).area < 1e-6


def test_pieces_neither_overlap_nor_leave_wedges_on_a_curve():
    t = np.linspace(0, 2, 120)
    curve = np.column_stack([100 * np.cos(t), 70 * np.sin(t)])
    contours = stroke(curve, 3.0)
    assert contours.areas().sum() == pytest.approx(union(contours).area, rel=1e-9)
    assert (contours.areas() > 0).all()


@given(
    st.lists(st.tuples(st.floats(-200, 200), st.floats(-200, 200)), min_size=1, max_size=12),
    st.floats(0.2, 8),
    st.booleans(),
    st.sampled_from(Dash),
)
def test_any_line_turns_one_way_and_stays_near(points, width, closed, dash):
    contours = stroke(np.array(points), width, closed, dash)
    assert len(contours) > 0
    # A polygon that turned the other way would cut a hole into its neighbours.
    assert (contours.areas() > -1e-9).all()
    line = LinearRing(points) if closed and len(points) > 2 else LineString(points * 2)
    distance = shapely.distance(shapely.points(contours.points), line)
    # A mitre at the steepest turn that still gets one, seen from its vertex.
    assert distance.max() <= width / 2 / math.cos(math.radians(50)) + 2e-3


@pytest.mark.parametrize("dash", [Dash.DASHED, Dash.DOTTED, Dash.CHAIN])
def test_dashed_legs_begin_and_end_lit(dash):
    corners = np.array([[0, 0], [100, 0], [100, 63], [0, 63.0]])
    lit = union(stroke(corners, 1.0, closed=True, dash=dash))
    for corner in corners:
        assert lit.buffer(1e-6).contains(Point(corner))
    ends = union(stroke(corners, 1.0, dash=dash))
    assert ends.buffer(1e-6).contains(Point(corners[0]))
    assert ends.buffer(1e-6).contains(Point(corners[-1]))


@pytest.mark.parametrize(
    ("dash", "lit"), [(Dash.DASHED, 9 / 14), (Dash.DOTTED, 1.8 / 5), (Dash.CHAIN, 16.5 / 23.5)]
)
def test_share_of_a_dashed_line_that_is_lit(dash, lit):
    length = 14 * 5 * 23.5
    contours = stroke(np.array([[0, 0], [length / 4, 0]]), 1.0, dash=dash)
    assert contours.areas().sum() == pytest.approx(length / 4 * lit, rel=0.02)


def test_no_piece_is_longer_than_the_step():
    contours = stroke(np.array([[-300, -200], [300, 250.0]]), 1.0)
    for polygon in contours.polygons():
        sides = np.hypot(*np.diff(np.vstack([polygon, polygon[:1]]), axis=0).T)
        assert sides.max() <= STEP + 1e-9


def test_a_point_is_a_dot():
    for points in ([[5, 6.0]], [[5, 6.0]] * 4):
        dot = union(stroke(np.array(points), 3.0))
        assert dot.centroid.distance(Point(5, 6)) < 1e-9
        assert dot.area == pytest.approx(math.pi * 1.5**2, rel=0.06)


@pytest.mark.parametrize("width", [0.0, -1.0, math.nan, math.inf])
def test_no_width_no_line(width):
    assert len(stroke(ZIGZAG, width)) == 0


def test_line_from_afar_is_cut_at_the_reach_and_stays_in_place():
    for far in (2e3, 1e6, 1e300):
        contours = stroke(np.array([[-far, 7.0], [far, 7.0]]), 1.0)
        low, high = contours.points.min(axis=0), contours.points.max(axis=0)
        np.testing.assert_allclose([low, high], [[-REACH, 6.5], [REACH, 7.5]], atol=1e-6)


def test_line_from_afar_that_leans_by_next_to_nothing_is_cut_too():
    contours = stroke(np.array([[0, 0], [0, 2e-311], [0, 2e3]]), 1.0)
    np.testing.assert_allclose(contours.points.max(axis=0), [0.5, REACH], atol=1e-6)


def test_ring_larger_than_the_reach_leaves_only_what_passes_through():
    ring = np.array([[-5000, -100], [5000, -100], [5000, 100], [-5000, 100.0]])
    levels = {round(float(y)) for y in stroke(ring, 1.0, closed=True).points[:, 1]}
    assert levels <= {-100, -101, -99, 100, 99, 101}
    far = stroke(ring + np.array([0, 9000]), 1.0, closed=True)
    assert len(far) == 0


def test_vertices_that_are_no_numbers_are_passed_over():
    points = np.array([[0, 0], [math.nan, 5], [10, 0], [math.inf, 1], [20, 0]])
    assert union(stroke(points, 1.0)).area == pytest.approx(20.0)
    assert len(stroke(np.array([[math.nan, math.nan]]), 1.0)) == 0
    assert len(stroke(np.zeros((0, 2)), 1.0)) == 0


def test_dense_line_keeps_its_shape():
    t = np.linspace(0, math.tau, 20_000)
    circle = np.column_stack([40 * np.cos(t), 40 * np.sin(t)])
    contours = stroke(circle, 1.0)
    # An exact annulus: 2 pi r w.
    assert contours.areas().sum() == pytest.approx(math.tau * 40, rel=1e-3)


STAR = np.array([[0, 80], [25, -60], [-70, 30], [70, 30], [-25, -60.0]])


@pytest.mark.parametrize("polygon", [np.array([[-40, -30], [50, -20], [10, 70.0]]), STAR])
@pytest.mark.parametrize("angle", [0.0, 0.7, 2.0])
def test_hatching_fills_the_inside(polygon, angle):
    """Reference: shapely's intersection of the same lines with the polygon, even-odd."""
    spacing = 6.0
    contours = hatch(polygon, spacing, angle, 0.5)
    c, s = math.cos(angle), math.sin(angle)
    inside = shapely.make_valid(Polygon(polygon), method="linework")
    length = 0.0
    for k in range(-60, 60):
        level = (k + 0.5) * spacing
        line = LineString([(x * c - level * s, x * s + level * c) for x in (-400, 400)])
        length += line.intersection(inside).length
    assert contours.areas().sum() == pytest.approx(length * 0.5, rel=1e-6)


def test_hatching_of_neighbours_meets():
    left = hatch(np.array([[-50, -50], [0, -50], [0, 50], [-50, 50.0]]), 10, 0, 1)
    right = hatch(np.array([[0, -50], [50, -50], [50, 50], [0, 50.0]]), 10, 0, 1)
    assert {round(y, 6) for y in left.points[:, 1]} == {round(y, 6) for y in right.points[:, 1]}


@pytest.mark.parametrize(
    "polygon", [[], [[0, 0]], [[0, 0], [9, 9]], [[3, 3]] * 5, [[0, 0], [math.nan, 1], [9, 9]]]
)
def test_hatching_of_what_has_no_inside(polygon):
    assert hatch(np.array(polygon).reshape(-1, 2), 5, 0.3, 1).areas().sum() == pytest.approx(0)


def test_hatching_of_a_huge_area_is_bounded():
    huge = np.array([[-1e9, -1e9], [1e9, -1e9], [1e9, 1e9], [-1e9, 1e9]])
    assert 0 < len(hatch(huge, 0.0, 0.5, 1.0)) < 2_000_000
    for spacing, angle in itertools.product((math.nan, math.inf, -5.0), (0.0, math.nan)):
        hatch(huge / 1e7, spacing, angle, 1.0)
