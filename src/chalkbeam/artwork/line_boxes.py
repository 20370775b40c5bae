"""Lines of small lettering in ink, each as the box around it: its letters no light can show."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

SMALL_LETTERS = 10.0
"""Letters no higher than this, most of a line, are small, mm: lines of light fill them."""
LEAST_LETTERS = 3
"""Fewer pieces of ink in a row are no line of lettering."""
MOST_PIECES = 800
"""Ink in more pieces than this is a texture, not lettering."""
_SPACE = 0.9
"""Gap between words of a line, in heights of its letters; common practice, no source."""
_LEVEL = 0.5
"""Share of the lower one's height that neighbours in a line stand beside each other."""

Boxes = NDArray[Any]
"""Shape (n, 4): left, top, width and height, pixels."""


def line_boxes(mask: NDArray[np.bool_], pixels_per_mm: float) -> tuple[Boxes, NDArray[np.bool_]]:
    """Return the boxes of the level lines of small lettering, and the ink without them.

    Parameters
    ----------
    mask : ndarray, shape (h, w), bool
    pixels_per_mm : float
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    boxes = stats[1:, :4]
    highest = SMALL_LETTERS * pixels_per_mm
    small = np.flatnonzero(boxes[:, 3] <= 2 * highest)  # capitals and tails stand out
    if not LEAST_LETTERS <= len(small) <= MOST_PIECES:
        return np.empty((0, 4), np.int32), mask
    found, taken = [], np.zeros(count, dtype=np.bool_)
    for line in _lines(boxes[small]):
        members = small[line]
        left, top = boxes[members, :2].min(axis=0)
        right, bottom = (boxes[members, :2] + boxes[members, 2:]).max(axis=0)
        letters = np.median(boxes[members, 3])
        if letters > highest or bottom - top > 2.2 * letters:
            continue  # letters that light can show, or no level line
        if right - left < 2.0 * (bottom - top):
            continue  # as high as wide: a little picture of several parts
        found.append((left, top, right - left, bottom - top))
        taken[1 + members] = True
    return np.array(found, np.int32).reshape(-1, 4), mask & ~taken[labels]


def _lines(boxes: Boxes) -> list[list[int]]:
    """Return the places of the boxes that stand in one line, for every line of several."""
    order = np.argsort(boxes[:, 0], kind="stable")
    lines: list[list[int]] = []
    for place in order:
        best = next((line for line in lines if _goes_on(boxes[line[-3:]], boxes[place])), None)
        if best is None:
            lines.append([int(place)])
        else:
            best.append(int(place))
    return [line for line in lines if len(line) >= LEAST_LETTERS]


def _goes_on(last: Boxes, box: NDArray[Any]) -> bool:
    """Whether a box stands beside, or as a dot over, one of the last of a line."""
    left, top, width, high = box
    for other_left, other_top, other_width, other_high in last:
        apart = left - (other_left + other_width)
        level = min(top + high, other_top + other_high) - max(top, other_top)
        near = apart <= _SPACE * max(high, other_high)
        if near and level >= _LEVEL * min(high, other_high):
            return True
        if apart < 0 and left + width > other_left and -level <= 0.5 * max(high, other_high):
            return True
    return False
