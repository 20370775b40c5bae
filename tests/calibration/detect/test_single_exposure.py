"""Photos as cv2.projectPoints sees them, whole and torn, against the laws of a single shot."""

import cv2
import numpy as np
import pytest

from calibration.detect.single_exposure import MOST_UNEXPLAINED, unexplained_residual

SIZE = (1920, 1080)
RADIAL = {"phone": (0.05, -0.03), "webcam": (-0.12, 0.03), "wide webcam": (-0.32, 0.12)}
FOCAL = {"phone": 1450.0, "webcam": 1400.0, "wide webcam": 1000.0}


def shot(camera, rng, noise=0.05, bow=0.0, thrown=0.02):
    """Return projector px and photo px of a pattern on a platen bowed by `bow`, mm."""
    x, y = np.meshgrid(np.linspace(-1, 1, 16), np.linspace(-1, 1, 12))
    lit = np.column_stack([x.ravel(), y.ravel()])
    radius = (lit**2).sum(axis=1, keepdims=True)
    places = 200 * lit * (1 + thrown * radius)  # as the projector's lens throws them
    height = bow * (1 - lit[:, 0] ** 2)
    # Light from 30 degrees aside lands elsewhere on what is raised.
    solid = np.column_stack([places[:, 0], places[:, 1] + 0.58 * height, height])
    turn = cv2.Rodrigues(np.array([np.pi - 0.5, 0.1, rng.normal(0, 0.1)]))[0]
    position = np.array([30.0, -320.0, 520.0])
    bent, _ = cv2.projectPoints(
        solid,
        turn,
        -turn @ position,
        np.array([[FOCAL[camera], 0, 959.5], [0, FOCAL[camera], 539.5], [0, 0, 1]]),
        np.array([*RADIAL[camera], 0.001, -0.001, 0.0]),
    )
    pixels = bent.reshape(-1, 2) + rng.normal(0, noise, (len(lit), 2))
    return 960 * lit + 960, pixels


@pytest.mark.parametrize("camera", RADIAL)
@pytest.mark.parametrize("noise", [0.03, 0.3])
@pytest.mark.parametrize("bow", [0.0, 0.5])
def test_a_single_shot_is_whole_however_noisy_its_corners(camera, noise, bow):
    rng = np.random.default_rng(1)
    for _ in range(5):
        assert unexplained_residual(*shot(camera, rng, noise, bow), SIZE) < 0.75 * MOST_UNEXPLAINED


@pytest.mark.parametrize("camera", RADIAL)
@pytest.mark.parametrize("upright", [False, True])
def test_two_shots_that_miss_by_a_pixel_are_told(camera, upright):
    rng = np.random.default_rng(2)
    lit, pixels = shot(camera, rng)
    along = pixels[:, int(upright)] - np.median(pixels[:, int(upright)])
    pixels[:, 1 - int(upright)] += 1.0 / (1 + np.exp(-along / 20))
    assert unexplained_residual(lit, pixels, SIZE) > MOST_UNEXPLAINED


def test_too_few_corners_tell_nothing():
    rng = np.random.default_rng(3)
    lit, pixels = shot("phone", rng)
    pixels[:10] += 5
    assert unexplained_residual(lit[:20], pixels[:20], SIZE) == 0.0
    line = np.column_stack([np.arange(40.0), np.zeros(40)])
    assert unexplained_residual(line, line, SIZE) == 0.0
