"""Homographies against a published construction, scikit-image and OpenCV."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.transform import ProjectiveTransform

from calibration.model import homography
from calibration.model.homography import DegeneratePointsError

TRUE = np.array([[1.2, -0.3, 310.0], [0.25, 1.1, 95.0], [2e-4, -3e-4, 1.0]])
PLATEN = np.random.default_rng(1).uniform((-203, -254), (203, 254), (40, 2))


def _unit_scale(matrix: np.ndarray) -> np.ndarray:
    return matrix / matrix[2, 2]


def _heckbert(quad: np.ndarray) -> np.ndarray:
    """Unit square (0,0), (1,0), (1,1), (0,1) to a quadrilateral.

    P. Heckbert, "Fundamentals of Texture Mapping and Image Warping", UC Berkeley
    1989, section 2.2.3: the published closed form, by determinants.
    """
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = quad
    dx1, dx2, sx = x1 - x2, x3 - x2, x0 - x1 + x2 - x3
    dy1, dy2, sy = y1 - y2, y3 - y2, y0 - y1 + y2 - y3
    below = dx1 * dy2 - dx2 * dy1
    g, h = (sx * dy2 - dx2 * sy) / below, (dx1 * sy - sx * dy1) / below
    return np.array(
        [
            [x1 - x0 + g * x1, x3 - x0 + h * x3, x0],
            [y1 - y0 + g * y1, y3 - y0 + h * y3, y0],
            [g, h, 1],
        ]
    )


@pytest.mark.parametrize(
    "quad",
    [
        [(0, 0), (1, 0), (1, 1), (0, 1)],
        [(56, 65), (368, 52), (389, 390), (28, 387)],
        [(155, 15), (65, 40), (260, 130), (360, 95)],
        [(1900, 12), (1003, -40), (880, 1100), (2100, 870)],
    ],
)
def test_four_points_against_heckberts_closed_form(quad: list[tuple[float, float]]) -> None:
    square = [(0, 0), (1, 0), (1, 1), (0, 1)]
    found = homography.fit(square, quad)
    np.testing.assert_allclose(
        _unit_scale(found), _heckbert(np.array(quad, float)), rtol=1e-9, atol=1e-9
    )


def test_exact_data_are_met_to_rounding() -> None:
    target = homography.apply(TRUE, PLATEN)
    found = homography.fit(PLATEN, target)
    np.testing.assert_allclose(homography.apply(found, PLATEN), target, atol=1e-10)


def test_agrees_with_scikit_image_on_noise() -> None:
    # Both are the normalised DLT; scikit-image scales by the root mean square distance where
    # Hartley & Zisserman take the mean, which weighs noisy points a millionth differently.
    target = homography.apply(TRUE, PLATEN) + np.random.default_rng(2).normal(0, 0.2, (40, 2))
    theirs = ProjectiveTransform.from_estimate(PLATEN, target)
    ours = homography.fit(PLATEN, target, refined=False)
    np.testing.assert_allclose(homography.apply(ours, PLATEN), theirs(PLATEN), atol=1e-5)


def test_refined_agrees_with_opencv_on_noise() -> None:
    # OpenCV refines the same transfer error, but in single precision: 1e-3 px.
    target = homography.apply(TRUE, PLATEN) + np.random.default_rng(3).normal(0, 0.2, (40, 2))
    theirs, _ = cv2.findHomography(PLATEN, target, 0)
    ours = homography.fit(PLATEN, target)
    np.testing.assert_allclose(
        homography.apply(ours, PLATEN), homography.apply(theirs, PLATEN), atol=1e-3
    )


def test_refining_lowers_the_distance() -> None:
    target = homography.apply(TRUE, PLATEN) + np.random.default_rng(4).normal(0, 2.0, (40, 2))
    costs = [
        np.sum((homography.apply(homography.fit(PLATEN, target, refined), PLATEN) - target) ** 2)
        for refined in (False, True)
    ]
    assert costs[1] < costs[0]


@given(st.integers(0, 10**6))
def test_inverse_and_composition(seed: int) -> None:
    random = np.random.default_rng(seed)
    quad = np.array([(0, 0), (400, 0), (400, 500), (0, 500)]) + random.uniform(-90, 90, (4, 2))
    matrix = homography.fit([(0, 0), (1, 0), (1, 1), (0, 1)], quad)
    back = homography.compose(homography.invert(matrix), matrix)
    np.testing.assert_allclose(_unit_scale(back), np.eye(3), atol=1e-8)


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0), (1, 1), (2, 2), (3, 3), (4, 4)],
        [(0, 0), (1, 0), (2, 0), (5, 3)],
        [(1, 1)] * 6,
        [(0, 0), (1, 0), (1, 1)],
    ],
    ids=["one line", "three of four on a line", "one spot", "three points"],
)
def test_points_that_fix_nothing(points: list[tuple[float, float]]) -> None:
    with pytest.raises(DegeneratePointsError):
        homography.fit(points, points)
