"""The pinhole against Zhang's published camera, OpenCV and finite differences."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.model.pinhole import PARAMETERS, Pinhole, undistort

BENT = Pinhole(
    1500.0, 960.5, 541.0, -0.21, 0.08, 0.001, -0.002, 1.01, 0.7, 2.9, 0.3, -0.2, 12.0, -8.0, 900.0
)
POINTS = np.random.default_rng(5).uniform((-200, -250, 0), (200, 250, 20), (60, 3))


def test_zhangs_camera() -> None:
    # Z. Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22 (2000):
    # the intrinsic result published with his data set (alpha 832.5, gamma 0.204494,
    # beta 832.53, u0 303.959, v0 206.585, k1 -0.228601, k2 0.190353; from memory). The
    # expected pixel is the check value of a published test of his model.
    camera = Pinhole(832.5, 303.959, 206.585, -0.228601, 0.190353, aspect=832.53 / 832.5)
    camera = Pinhole.from_vector([*camera.vector[:8], 0.204494, *([0.0] * 6)])
    pixel = camera.project([[40, 70, 800]])
    np.testing.assert_allclose(pixel, [[345.5060273, 279.2636757]], atol=2e-7)


def test_project_agrees_with_opencv() -> None:
    square = Pinhole.from_vector([*BENT.vector[:8], 0.0, *BENT.vector[9:]])  # OpenCV has no skew
    matrix = square.intrinsic_matrix
    lens = np.array([square.k1, square.k2, square.p1, square.p2])
    rotation = np.array([square.rx, square.ry, square.rz])
    expected, _ = cv2.projectPoints(POINTS, rotation, square.translation, matrix, lens)
    np.testing.assert_allclose(square.project(POINTS), expected.reshape(-1, 2), atol=1e-9)


@pytest.mark.parametrize("index", range(len(PARAMETERS)), ids=PARAMETERS)
def test_slope_by_parameter(index: int) -> None:
    _, slopes, _ = BENT.jacobian(POINTS)
    step = 1e-6 * max(1.0, abs(BENT.vector[index]))
    shift = np.zeros(len(PARAMETERS))
    shift[index] = step
    ahead = Pinhole.from_vector(BENT.vector + shift).project(POINTS)
    behind = Pinhole.from_vector(BENT.vector - shift).project(POINTS)
    np.testing.assert_allclose(
        slopes[:, :, index], (ahead - behind) / (2 * step), rtol=2e-6, atol=2e-5
    )


def test_slope_by_point() -> None:
    pixels, _, slopes = BENT.jacobian(POINTS)
    np.testing.assert_allclose(pixels, BENT.project(POINTS), atol=1e-12)
    for axis in range(3):
        shift = np.zeros(3)
        shift[axis] = 1e-3
        numeric = (BENT.project(POINTS + shift) - BENT.project(POINTS - shift)) / 2e-3
        np.testing.assert_allclose(slopes[:, :, axis], numeric, atol=1e-7)


def test_unproject_undoes_project_at_each_height() -> None:
    back = BENT.unproject(BENT.project(POINTS), POINTS[:, 2])
    np.testing.assert_allclose(back, POINTS[:, :2], atol=1e-9)


def test_undistort_agrees_with_opencv() -> None:
    square = Pinhole.from_vector([*BENT.vector[:8], 0.0, *BENT.vector[9:]])
    pixels = square.project(POINTS)
    lens = np.array([square.k1, square.k2, square.p1, square.p2])
    criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-14)
    expected = cv2.undistortPoints(
        pixels.reshape(-1, 1, 2), square.intrinsic_matrix, lens, criteria=criteria
    )
    np.testing.assert_allclose(undistort(square, pixels), expected.reshape(-1, 2), atol=1e-9)


def test_lens_is_where_all_rays_meet() -> None:
    pixels = BENT.project(POINTS)
    low, high = BENT.unproject(pixels, 0.0), BENT.unproject(pixels, 300.0)
    share = BENT.lens[2] / 300.0
    np.testing.assert_allclose(
        low + share * (high - low), np.tile(BENT.lens[:2], (len(low), 1)), atol=1e-8
    )


def test_points_behind_the_lens_have_no_pixel() -> None:
    assert np.isnan(Pinhole(1000.0, 0.0, 0.0).project([[0, 0, -5]])).all()
