"""What the camera sees, with what was found in it, as one picture for the operator.

The picture is turned by quarters until what lies away from the operator is at the top,
whichever way the camera is held; it is never mirrored, so that right is right.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.setup.camera.quick_look import QuickLook
from chalkbeam.setup.camera.take import CaptureProgress

SIZE = (800, 600)
"""What the picture must fit into, px."""

EVERY = 0.25
"""Seconds between two pictures, but for those that tell of a photo taken or refused."""

_GOOD, _LACKING = (110, 220, 120), (60, 190, 255)  # BGR


@dataclass(frozen=True, eq=False)
class PreviewFrame:
    """One picture of the camera and what was seen in it, small enough to be handed on.

    Attributes
    ----------
    image : ndarray, shape (height, width, 3), uint8
        BGR, upright for the operator.
    cards : mapping of name to ndarray, shape (K, 2)
        Corners of each card seen, px of `image`.
    outline : ndarray, shape (4, 2), or None
        The platen's corners, px of `image`.
    quarters : int
        By how many quarters the picture was turned counter-clockwise.
    """

    image: NDArray[np.uint8]
    cards: Mapping[str, Points]
    outline: Points | None
    quarters: int


class Preview:
    """Pictures of what a live camera sees, one after another, as often as they are looked at.

    Parameters
    ----------
    clock : callable
        Seconds; monotonic.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._last = clock, -math.inf
        self._quarters = 0
        self._picture = b""

    def jpeg(self, progress: CaptureProgress) -> bytes | None:
        """Return the picture that goes with progress; None while one has just been returned."""
        lasting = progress.saved is not None or progress.refused
        if not lasting and self._clock() < self._last + EVERY:
            return None
        self._last = self._clock()
        if progress.image is not None and progress.seen is not None:
            view = reduced(progress.image, progress.seen, self._quarters)
            self._quarters = view.quarters
            self._picture = cv2.imencode(".jpg", drawn(view, progress.good or lasting))[1].tobytes()
        return self._picture


def drawn(view: PreviewFrame, good: bool) -> NDArray[np.uint8]:
    """Return a camera's picture with the platen's edge and the cards that are seen, BGR."""
    picture = view.image.copy()
    _lines(picture, view, _GOOD if good else _LACKING)
    return picture


def reduced(image: NDArray[np.uint8], seen: QuickLook, quarters: int = 0) -> PreviewFrame:
    """Return a camera's picture upright for the operator and no larger than it is shown.

    Parameters
    ----------
    image : ndarray, shape (height, width, 3), uint8
    seen : QuickLook
        What it shows.
    quarters : int
        Turn to keep where the picture does not tell.
    """
    if seen.outline is not None:
        quarters = _upright(seen.outline)
    turned = np.ascontiguousarray(np.rot90(image, quarters))
    height, width = turned.shape[:2]
    scale = min(SIZE[0] / width, SIZE[1] / height)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = cv2.resize(turned, size, interpolation=cv2.INTER_AREA)

    def place(points: Points) -> Points:
        return np.asarray((_turned(points, seen.size, quarters) + 0.5) * scale - 0.5)

    return PreviewFrame(
        np.asarray(small, np.uint8),
        {name: place(corners) for name, corners in seen.cards.items()},
        None if seen.outline is None else place(seen.outline),
        quarters,
    )


def _upright(outline: Points) -> int:
    """Return the quarter turns that bring what is away from the operator to the top."""
    away = outline[2:].mean(axis=0) - outline[:2].mean(axis=0)
    x, y = away[0], -away[1]  # as on paper
    return round((math.pi / 2 - math.atan2(y, x)) / (math.pi / 2)) % 4


def _turned(points: Points, size: tuple[int, int], quarters: int) -> Points:
    """Return where points of a picture are once `numpy.rot90` has turned it."""
    width, height = size
    for _ in range(quarters):
        points = np.column_stack([points[:, 1], width - 1 - points[:, 0]])
        width, height = height, width
    return points


def _lines(part: NDArray[np.uint8], view: PreviewFrame, colour: tuple[int, int, int]) -> None:
    """Draw the platen's edge and the cards that are seen into the camera's picture."""
    for corners in view.cards.values():
        around = cv2.convexHull(corners.astype(np.float32))[:, 0]
        _polygon(part, np.asarray(around, np.float64), _GOOD)
    if view.outline is not None and np.abs(view.outline).max() < 10_000:
        _polygon(part, view.outline, colour)


def _polygon(part: NDArray[np.uint8], corners: Points, colour: tuple[int, int, int]) -> None:
    points = [np.rint(corners * 16).astype(np.int32)]
    cv2.polylines(part, points, True, (0, 0, 0), 5, cv2.LINE_AA, 4)
    cv2.polylines(part, points, True, colour, 2, cv2.LINE_AA, 4)
