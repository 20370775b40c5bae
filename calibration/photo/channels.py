"""Grey views of one colour photo: some show ink alone, some light alone.

Under a white-on-red pattern every point gets the same red light. So an ideal red channel
does not see the pattern, which green and blue do. Real cameras mix colours, and some
photos have little colour left: how much of the pattern the red channel sees is measured
in each photo and divided out.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]

_OFFSET = 8.0
"""Added to levels before their logarithm is taken: below it there is only noise."""

_BRIGHT = 0.5  # of the brightest: bare paper and cover sheet, not ink or a dark edge
_MOST_CROSS_TALK = 0.6
"""Beyond it red and blue are so alike that dividing would take the ink away with the light."""


def red(image: NDArray[np.uint8]) -> Grey:
    """Return the red channel: ink under even light."""
    return np.ascontiguousarray(image[..., 2])


def light(image: NDArray[np.uint8]) -> Grey:
    """Return the mean of blue and green, which see the pattern best in colour."""
    blue, green, _ = cv2.split(image)
    return np.asarray(cv2.addWeighted(blue, 0.5, green, 0.5, 0.0), np.uint8)


def grey(image: NDArray[np.uint8]) -> Grey:
    """Return the photo's luma, which sees the pattern with the least noise."""
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)


def equalised(view: Grey) -> Grey:
    """Return a view with its local contrast equalised, for reading markers.

    Contrast-limited adaptive histogram equalisation; on virtual webcam photos in a
    bright room it lets 7 % more markers be read, and in a very bright one most of them.
    """
    return np.asarray(cv2.createCLAHE(2.0, (8, 8)).apply(view), np.uint8)


def cross_talk(image: NDArray[np.uint8], area: NDArray[np.bool_]) -> float:
    """Return how strongly the red channel follows the pattern, from 0 to 0.6.

    ``log(red) = k log(light) + ...`` over what the pattern changes, by least squares
    within `area` after slow changes of the room's light are taken away.

    Parameters
    ----------
    image : ndarray, shape (height, width, 3), uint8
        BGR, some 200,000 px are enough.
    area : ndarray of bool, shape (height, width)
        Where the pattern falls on an even surface without ink.
    """
    channels = [_log(view(image)) for view in (red, light)]
    area = area & (channels[0] > np.log(_BRIGHT * 255 * _top(image, area) + _OFFSET))
    area &= channels[1] < np.log(248.0)  # where blue is clipped it follows nothing
    if area.sum() < 500:
        return 0.0
    size = max(9, round(max(image.shape[:2]) / 25) | 1)
    inside = cv2.blur(area.astype(np.float32), (size, size)) + 1e-6
    quick = [
        view[area] - (cv2.blur(np.where(area, view, 0), (size, size)) / inside)[area]
        for view in channels
    ]
    variance = float((quick[1] ** 2).sum())
    if variance <= 0:
        return 0.0
    return float(np.clip((quick[0] * quick[1]).sum() / variance, 0.0, _MOST_CROSS_TALK))


def ink(image: NDArray[np.uint8], cross_talk: float) -> Grey:
    """Return red with the pattern divided out: ink under even light.

    Parameters
    ----------
    image : ndarray, shape (height, width, 3), uint8
        BGR.
    cross_talk : float
        As `cross_talk` measures it.
    """
    even = np.exp(_log(red(image)) - np.float32(cross_talk) * _log(light(image)))
    top = max(float(np.percentile(even, 99.5)), 1e-6)
    return np.asarray(np.clip(even * (245.0 / top), 0, 255), np.uint8)


def _log(view: Grey) -> NDArray[np.float32]:
    return np.asarray(np.log(view.astype(np.float32) + np.float32(_OFFSET)), np.float32)


def _top(image: NDArray[np.uint8], area: NDArray[np.bool_]) -> float:
    """Return the bright end of red within `area`, of 1."""
    values = image[..., 2][area]
    return float(np.percentile(values, 90)) / 255 if len(values) else 1.0
