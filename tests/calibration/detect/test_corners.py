"""Corners on pictures whose every edge is known: no error that all photos of a card share.

The pictures are worked out here, apart from the program's own drawing: each pixel is the
mean of 8 x 8 points of an affine view of the card, behind a Gaussian lens.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from calibration.detect.corners import align
from calibration.geometry import PlatenFace
from calibration.targets.cards import layout

FINE = 8  # points a pixel and side
BOARDS = [card.charuco for card in layout(PlatenFace(400.0, 500.0))[:2]]


def seen(charuco, matrix, shift, size, blur):
    """An affine view, photo = matrix @ board + shift, uint8, shape (size, size)."""
    line = (np.arange(size * FINE) + 0.5) / FINE - 0.5
    pixels = np.stack(np.meshgrid(line, line), axis=-1)
    modules = (pixels - shift) @ np.linalg.inv(matrix).T
    raster = np.pad(charuco.raster, charuco.square, constant_values=255) / 255.0
    column, row = np.moveaxis(np.floor(modules).astype(int) + charuco.square, -1, 0)
    rows, columns = raster.shape
    light = 0.05 + 0.85 * raster[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
    light = gaussian_filter(light, blur * FINE)
    light = light.reshape(size, FINE, size, FINE).mean(axis=(1, 3))
    return np.round(light * 230).astype(np.uint8)


def errors(charuco, module, blur, rng):
    """Errors of a card's corners, modules, in a view turned and shifted at random."""
    across = charuco.columns * charuco.square
    c, s = (f(rng.uniform(0, 2 * math.pi)) for f in (math.cos, math.sin))
    matrix = np.array([[c, -s], [s, c]]) @ np.diag([module, 0.8 * module])
    size = math.ceil(1.5 * across * module)
    shift = size / 2 - matrix @ [across / 2, across / 2] + rng.uniform(-0.5, 0.5, 2)
    true = charuco.corners @ matrix.T + shift
    start = true + rng.normal(0, 0.15, true.shape)
    view = seen(charuco, matrix, shift, size, blur)
    kept = np.arange(len(true))
    found, agreement = align(view, lambda p: p @ matrix.T + shift, charuco, kept, start)
    assert agreement.min() > 0.97
    return (found - true) @ np.linalg.inv(matrix).T


@pytest.mark.proof
@pytest.mark.parametrize("module", [4.0, 6.0])
def test_cards_are_seen_at_their_true_size(module):
    """To 2 in 100,000: errors that all photos share do not average out over photos."""
    rng = np.random.default_rng(4)
    off = np.stack([errors(BOARDS[k % 2], module, 0.6, rng) for k in range(16)])
    arm = BOARDS[0].corners - BOARDS[0].corners.mean(axis=0)
    scale = (off * arm).sum(axis=(1, 2)) / (arm**2).sum()
    assert np.sqrt((off**2).mean()) * module < 0.006  # px
    assert abs(scale.mean()) < 2e-5
