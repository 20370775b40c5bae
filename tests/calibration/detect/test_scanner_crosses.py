"""Crosses of a scanner found in pictures that a camera's own rays were followed back for."""

import functools
import math

import cv2
import numpy as np
import pytest

from calibration.detect.scanner_crosses import crosses_seen
from calibration.model.pinhole import Pinhole

CAMERA = Pinhole(
    focal=940.0, cx=399.5, cy=299.5, k1=-0.08, rx=math.pi - 0.35, tx=0.0, ty=-20.0, tz=1150.0
)
MEANT = np.array([(x, y) for y in (-120.0, 0.0, 120.0) for x in (-120.0, 0.0, 120.0)])


def lifted(points):
    return np.column_stack([points, np.zeros(len(points))])


@functools.cache
def seen_ground(size):
    u, v = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    return CAMERA.unproject(np.column_stack([u.ravel(), v.ravel()]))


def picture(crosses, turn=0.0, arm=15.0, size=(800, 600), noise=2.0, seed=1):
    """Return lit and dark pictures; every pixel's ray is followed to the platen."""
    ground = seen_ground(size)
    rng = np.random.default_rng(seed)
    room = 60 + 20 * np.sin(ground[:, 0] / 90)
    light = np.zeros(len(ground))
    for place in crosses:
        off = ground - place
        a = off[:, 0] * math.cos(turn) + off[:, 1] * math.sin(turn)
        b = off[:, 1] * math.cos(turn) - off[:, 0] * math.sin(turn)
        for along, across in ((a, b), (b, a)):
            light += 110 * np.exp(-((across / 0.9) ** 2)) * (np.abs(along) <= arm)
    shots = []
    for level in (room + light, room):
        level = cv2.GaussianBlur(level.reshape(size[1], size[0]), (0, 0), 0.7).ravel()  # its lens
        seen = level[:, None] * (1.0, 0.6, 0.5) + rng.normal(0, noise, (len(level), 3))
        shots.append(np.clip(np.rint(seen), 0, 255).astype(np.uint8).reshape(size[1], size[0], 3))
    return shots


@pytest.mark.parametrize("turn", [0.0, 0.07])
def test_crosses_are_found_to_a_seventh_of_a_pixel(turn):
    rng = np.random.default_rng(6)
    true = MEANT + rng.uniform(-20, 20, MEANT.shape)
    lit, dark = picture(true, turn)
    seen = crosses_seen(lit, dark, CAMERA, MEANT, 15.0)
    off = CAMERA.project(lifted(seen)) - CAMERA.project(lifted(true))
    assert np.hypot(*off.T).max() < 1 / 7


def test_a_cross_that_is_not_there_is_not_seen():
    lit, dark = picture(MEANT[:8])
    seen = crosses_seen(lit, dark, CAMERA, MEANT, 15.0)
    assert np.isnan(seen[8]).all()
    assert not np.isnan(seen[:8]).any()
