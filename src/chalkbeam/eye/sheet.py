"""A sheet of unknown size, by its four sides: a rectangle around where the ink should be.

Sides are sought as peaks of the edge field summed along the sheet, turn by turn, outside the
ink's box. What is found is a guess of size and middle; `edges.Shape` then judges and refines it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.eye.edges import Pose
from chalkbeam.eye.view import F32, PER_MM

WIDEST_MARGIN = 40.0
"""A sheet's side is looked for so far outside the ink's target, mm."""

_INSIDE = 6.0  # mm: and so far inside it, for the sheet may be shifted
_TURNS = np.radians(np.arange(-6.0, 6.01, 0.5))
_LEAST = 0.15  # mean strength of a side along its length, 0 to 1


@dataclass(frozen=True)
class Rectangle:
    """A sheet: width and height, mm, and where its middle lies."""

    width: float
    height: float
    pose: Pose


def rectangle_around(seen: F32, size: tuple[float, float], about: Pose) -> Rectangle | None:
    """Return the strongest rectangle around ink's target; None if a side is missing.

    Parameters
    ----------
    seen : ndarray, shape (h, w, 2)
        Edges of the view.
    size : (width, height)
        Of the ink, mm.
    about : Pose
        The ink's target.
    """
    best: tuple[float, Rectangle] | None = None
    for turn in about[2] + _TURNS:
        upright, middle = _upright(seen, (about[0], about[1], float(turn)), size)
        sides = []
        for axis in (0, 1):
            # Across a side the doubled angle is 0 (a side that runs down) or 180 degrees.
            along = upright[..., 0] if axis == 0 else -upright[..., 0]
            half = (size[1 - axis] / 2) * PER_MM
            line = middle[1 - axis]
            band = slice(max(0, round(line - half)), max(1, round(line + half) + 1))
            profile = (along[band] if axis == 0 else along[:, band].T).mean(axis=0)
            edge = size[axis] / 2
            for outwards in (-1, 1):
                sides.append(_peak(profile, middle[axis], outwards, edge))
        if any(side is None for side in sides):
            continue
        (left, a), (right, b), (top, c), (bottom, d) = (side for side in sides if side)
        value = min(a, b, c, d) + 0.25 * (a + b + c + d)
        if best is None or value > best[0]:
            x, y = (left + right) / 2, (top + bottom) / 2
            cos, sin = math.cos(turn), math.sin(turn)
            pose = about[0] + cos * x - sin * y, about[1] + sin * x + cos * y, float(turn)
            best = value, Rectangle((right - left) / PER_MM, (bottom - top) / PER_MM, pose)
    return None if best is None else best[1]


def _upright(seen: F32, pose: Pose, size: tuple[float, float]) -> tuple[F32, tuple[float, float]]:
    """Return the edges turned upright about a pose's place, and where that place is in them."""
    x, y, turn = pose
    half = [math.ceil((side / 2 + WIDEST_MARGIN + 4) * PER_MM) for side in size]
    c, s = math.cos(turn), math.sin(turn)
    back = np.array([[c, -s], [s, c]])
    shift = np.array([x, y]) - back @ half
    there = cv2.warpAffine(
        seen, np.column_stack([back, shift]), (2 * half[0] + 1, 2 * half[1] + 1),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
    )  # fmt: skip
    c, s = math.cos(2 * turn), math.sin(2 * turn)
    a, b = there[..., 0], there[..., 1]
    upright = np.stack([c * a + s * b, c * b - s * a], axis=2)
    return upright, (float(half[0]), float(half[1]))


def _peak(
    profile: NDArray[np.floating], middle: float, outwards: int, edge: float
) -> tuple[float, float] | None:
    """Return where a side's peak lies from the middle, px, and its height."""
    near, far = (edge - _INSIDE) * PER_MM, (edge + WIDEST_MARGIN) * PER_MM
    at = middle + outwards * np.array([near, far])
    low, high = max(1, round(at.min())), min(len(profile) - 1, round(at.max()) + 1)
    if high - low < 3:
        return None
    part = profile[low:high]
    top = int(np.argmax(part)) + low
    if profile[top] < _LEAST or not 0 < top < len(profile) - 1:
        return None
    before, here, after = (float(profile[top + k]) for k in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = 0.5 * (before - after) / bend if bend < -1e-9 else 0.0
    return top + shift - middle, here
