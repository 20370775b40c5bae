"""Grey views of one colour photo: some show ink alone, some light alone.

Under a white-on-red pattern every point gets the same red light, so red is blind to
the pattern; green and blue see it. Cameras mix colours, and some photos have hardly any
colour, so each question has several views, tried in order.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.uint8]

_INK_CEILING = 0.5
"""Ink reflects 1/10 or less of what paper does, the pattern's dark squares a third or
more of its bright ones, even in a photo without colour. In the photo's gamma a ceiling
at half of the local white lies between the two: ink stays below, light is cut off."""


def red(image: NDArray[np.uint8]) -> Grey:
    """Return the red channel: ink under even light."""
    return np.ascontiguousarray(image[..., 2])


def ink(image: NDArray[np.uint8]) -> Grey:
    """Return red cut off at half of the local white: only what is as dark as ink remains."""
    channel = red(image)
    ceiling = _local_white(channel).astype(np.float32) * np.float32(_INK_CEILING)
    share = channel.astype(np.float32) / np.maximum(ceiling, np.float32(8.0))
    return _levels(share * np.float32(255.0))


def light(image: NDArray[np.uint8]) -> Grey:
    """Return the mean of blue and green: the pattern where the surface is even."""
    blue, green, _ = cv2.split(image)
    return np.asarray(cv2.addWeighted(blue, 0.5, green, 0.5, 0.0), np.uint8)


def tint(image: NDArray[np.uint8]) -> Grey:
    """Return blue and green over red: the colour of the light, whatever it falls on."""
    over_red = light(image).astype(np.float32) / (red(image).astype(np.float32) + 12.0)
    low, high = np.percentile(over_red[::8, ::8], (1, 99))
    scaled = (over_red - low) * (255.0 / max(float(high - low), 1e-3))
    return _levels(scaled)


def grey(image: NDArray[np.uint8]) -> Grey:
    """Return the photo's luma."""
    return np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)


def _local_white(channel: Grey) -> Grey:
    """Return the brightest level within about a twelfth of the picture around each pixel."""
    height, width = channel.shape
    factor = 240 / max(width, height)
    small = cv2.resize(channel, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    bright = cv2.blur(cv2.dilate(small, np.ones((21, 21), np.uint8)), (21, 21))
    return np.asarray(cv2.resize(bright, (width, height), interpolation=cv2.INTER_LINEAR), np.uint8)


def _levels(values: NDArray[np.floating[Any]]) -> Grey:
    """Return values as grey levels, cut off at 0 and 255."""
    return np.asarray(np.clip(values, 0, 255), np.uint8)
