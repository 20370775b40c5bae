import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.transform import SimilarityTransform

from calibration.geometry import Isometry, PlatenFace, rectangle, resample

coordinates = st.floats(-1000, 1000)
isometries = st.builds(Isometry, coordinates, coordinates, st.floats(-7, 7), st.booleans())
point_sets = st.lists(st.tuples(coordinates, coordinates), min_size=1, max_size=6)


@given(isometries, point_sets)
def test_inverse_undoes(transform, points):
    there_and_back = transform.inverse().apply(transform.apply(points))
    assert np.allclose(there_and_back, points, atol=1e-8)


@given(isometries, isometries, point_sets)
def test_composition_is_application_in_turn(outer, inner, points):
    assert np.allclose((outer @ inner).apply(points), outer.apply(inner.apply(points)), atol=1e-8)


def test_turn_and_shift_agree_with_an_outside_library():
    # Reference: skimage.transform.SimilarityTransform.
    reference = SimilarityTransform(rotation=0.3, translation=(12.0, -7.0))
    points = np.array([[0.0, 0.0], [100.0, 0.0], [3.0, 55.0]])
    assert np.allclose(Isometry(12.0, -7.0, 0.3).apply(points), reference(points))


def test_a_garment_with_its_collar_away_lies_y_down_on_the_platen():
    platen_from_garment = Isometry(0.0, 150.0, 0.0, mirrored=True)
    assert np.allclose(platen_from_garment.apply([[90.0, 75.0]]), [[90.0, 75.0]])
    assert np.allclose(platen_from_garment.apply([[0.0, 400.0]]), [[0.0, -250.0]])


def test_rounded_rectangle_has_the_area_of_the_closed_form():
    x, y = rectangle(406, 508, 30, arc_step=0.5).T
    area = 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    assert area == pytest.approx(406 * 508 - (4 - math.pi) * 30**2, rel=1e-4)


def test_platen_outline_reaches_its_size():
    outline = PlatenFace(406, 508, 25).outline()
    assert np.ptp(outline, axis=0) == pytest.approx([406, 508])


@given(point_sets, st.floats(5, 500), st.booleans())
def test_resampling_keeps_vertices_and_shortens_segments(points, step, closed):
    dense = resample(points, step, closed)
    ring = np.vstack([dense, dense[:1]]) if closed else dense
    assert np.all(np.hypot(*np.diff(ring, axis=0).T) <= step + 1e-9)
    for vertex in np.asarray(points):
        assert np.min(np.hypot(*(dense - vertex).T)) < 1e-9


def test_nearest_is_the_least_squares_isometry():
    rng = np.random.default_rng(7)
    move = Isometry(3.0, -2.0, 0.1)
    points = rng.uniform(-200, 200, (30, 2))
    found = Isometry.nearest(points, move.apply(points))
    assert (found.x, found.y, found.angle) == pytest.approx((3.0, -2.0, 0.1))
    noisy = move.apply(points) + rng.normal(0, 1.0, points.shape)
    # cv2 fits the same with a scale besides; `skimage`'s Euclidean transform without.
    from skimage.transform import EuclideanTransform

    other = EuclideanTransform.from_estimate(points, noisy)
    ours = Isometry.nearest(points, noisy)
    np.testing.assert_allclose(ours.apply(points), other(points), atol=1e-9)
