"""How sharp a picture is: told from the edges of a card, or from the picture as a whole."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from calibration.model import homography
from calibration.targets.charuco import Charuco

LARGEST_BLUR = 0.45
"""Largest blur, modules (standard deviation). A webcam in focus has 0.2 to 0.4; from 0.5
on markers are lost."""

_ALONG = (2.0, 3.0, 4.0, 5.0, 6.0)  # modules along a square's side, clear of its ends
_ACROSS = np.linspace(-1.0, 1.0, 41)  # modules: black on one side, a white gap on the other

_LEAST_CONTRAST = 10.0  # grey levels

_DEVIATIONS = np.linspace(0.05, 1.0, 96)  # modules
_RATIOS = (
    np.array([math.erf(0.5 / deviation / math.sqrt(2)) for deviation in _DEVIATIONS])
    * math.sqrt(2 * math.pi)
    * _DEVIATIONS
    / -np.expm1(-0.5 / _DEVIATIONS**2)
)
"""Height over steepest rise of a gap so blurred, modules (see `edge_blur`)."""


def is_blurred(grey: NDArray[np.uint8]) -> bool:
    """Tell whether a picture without anything readable in it is out of focus or shaken.

    Blurring a sharp picture takes most of its differences between neighbouring pixels away;
    a blurred one hardly changes (Crete et al., "The blur effect", 2007). Only used to name a
    cause once a search has failed, since it is too coarse to refuse a photo by.
    """
    factor = min(1.0, 1200 / max(grey.shape))
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    sharp = cv2.GaussianBlur(small, (3, 3), 0).astype(np.float32)
    again = cv2.blur(sharp, (9, 9))
    lost = []
    for axis in (0, 1):
        steps, left = (np.abs(np.diff(picture, axis=axis)) for picture in (sharp, again))
        strong = steps > max(4.0, float(np.percentile(steps, 99)))
        if strong.any():
            lost.append(float(np.maximum(steps - left, 0)[strong].sum() / steps[strong].sum()))
    # A shaken picture is smeared in one direction, one out of focus in both alike.
    return bool(lost) and (min(lost) < 0.58 or min(lost) < min(0.66, 0.82 * max(lost)))


def edge_blur(
    view: NDArray[np.uint8], photo_from_charuco: NDArray[np.float64], charuco: Charuco
) -> float:
    """Return the standard deviation of the blur across a chessboard's edges, modules.

    Beside each edge runs a white gap of one module between two black ones. Blurred by a
    Gaussian of deviation s it rises to ``2 F(1 / 2s) - 1`` of its height, and by at most
    ``(f(0) - f(1 / s)) / s`` a module (F and f the normal distribution and density); the
    ratio of the two tells s, whatever the contrast. Edges along the rows and along the
    columns are measured apart, since a shaken picture is smeared in one direction; the
    larger blur counts.
    Infinite where there is no edge at all.

    Parameters
    ----------
    view : ndarray, shape (height, width), uint8
        Grey picture.
    photo_from_charuco : ndarray, shape (3, 3)
        Modules to px.
    charuco : Charuco
    """
    return max(
        _blur_across(view, photo_from_charuco, _edges(charuco, upright=True)),
        _blur_across(view, photo_from_charuco, _edges(charuco, upright=False)),
    )


def _edges(charuco: Charuco, upright: bool) -> Points:
    """Return profiles across the sides that black and white squares share, modules.

    Shape (edges, points along, points across, 2).
    """
    square = charuco.square
    columns, rows = (charuco.columns, charuco.rows) if upright else (charuco.rows, charuco.columns)
    starts = [(k * square, j * square) for k in range(1, columns) for j in range(rows)]
    across, along = np.meshgrid(_ACROSS, _ALONG)
    profile = np.stack([across, along], axis=-1)
    placed: Points = np.array(starts, np.float64)[:, None, None] + profile
    return placed if upright else placed[..., ::-1]


def _blur_across(view: NDArray[np.uint8], matrix: NDArray[np.float64], places: Points) -> float:
    pixels = homography.apply(matrix, places.reshape(-1, 2)).astype(np.float32)
    shape = (len(places), -1)
    at = pixels.reshape(*shape, 2)
    levels = cv2.remap(
        view, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    profiles = levels.astype(np.float64).reshape(places.shape[:3]).mean(axis=1)
    height = np.ptp(profiles, axis=1)
    # Over a tenth of a module, so that noise makes no edge look steep.
    slope = np.abs(profiles[:, 2:] - profiles[:, :-2]).max(axis=1) / (_ACROSS[2] - _ACROSS[0])
    clear = height > _LEAST_CONTRAST
    if not clear.any():
        return math.inf
    ratio = float(np.median(height[clear] / slope[clear]))
    return float(np.interp(ratio, _RATIOS, _DEVIATIONS))
