"""What the camera sees and what to do about it, as one picture for the operator. Pure.

The picture is turned by quarters until what lies away from the operator is at the top,
whichever way the camera is held; it is never mirrored, so that right is right.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.setup.camera.quick_look import QuickLook
from chalkbeam.setup.camera.take import CaptureProgress
from overlay.draw.frame import Frame, render
from overlay.draw.page_map import FlatMap
from overlay.marks import LEADING, Mark, Role, Text
from overlay.palette import DEFAULT_PALETTE
from overlay.text.typeface import set_line

SIZE = (1280, 720)
"""The preview's picture, px."""

_MARGIN = 24
_BAND = 176  # px, below the camera's picture: the words
_CAP = 26.0
_SMALL = 17.0
_LEAST = 9.0
_DOT = 11

_GOOD, _LACKING = (110, 220, 120), (60, 190, 255)  # BGR
_DIM = (120, 120, 120)


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
    room = (SIZE[0] - 2 * _MARGIN, SIZE[1] - _BAND - _MARGIN)
    turned = np.ascontiguousarray(np.rot90(image, quarters))
    height, width = turned.shape[:2]
    scale = min(room[0] / width, room[1] / height)
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


def draw(view: PreviewFrame | None, progress: CaptureProgress) -> Frame:
    """Return the operator's picture, BGR, shape (720, 1280, 3).

    Parameters
    ----------
    view : PreviewFrame or None
        None before there is one.
    progress : CaptureProgress
    """
    frame = render(_words(progress), FlatMap(SIZE), DEFAULT_PALETTE).copy()
    _dots(frame, progress)
    if view is not None:
        height, width = view.image.shape[:2]
        left, top = (SIZE[0] - width) // 2, _MARGIN
        part = frame[top : top + height, left : left + width]
        part[:] = view.image
        _lines(part, view, _GOOD if progress.good or progress.saved is not None else _LACKING)
    return frame


def _lines(part: Frame, view: PreviewFrame, colour: tuple[int, int, int]) -> None:
    """Draw the platen's edge and the cards that are seen into the camera's picture."""
    for corners in view.cards.values():
        around = cv2.convexHull(corners.astype(np.float32))[:, 0]
        _polygon(part, np.asarray(around, np.float64), _GOOD)
    if view.outline is not None and np.abs(view.outline).max() < 10_000:
        _polygon(part, view.outline, colour)


def _polygon(part: Frame, corners: Points, colour: tuple[int, int, int]) -> None:
    points = [np.rint(corners * 16).astype(np.int32)]
    cv2.polylines(part, points, True, (0, 0, 0), 5, cv2.LINE_AA, 4)
    cv2.polylines(part, points, True, colour, 2, cv2.LINE_AA, 4)


def _words(progress: CaptureProgress) -> list[Mark]:
    """Return the sentence, as large as it fits, and which photo is at hand."""
    on = f", on the {progress.raised:g} mm board" if progress.raised else ""
    head = f"Photo {progress.number} of {progress.count}{on}"
    role = Role.WARN if progress.refused else Role.NOTE
    room, top = SIZE[0] - 3 * _MARGIN, _BAND - 3.4 * _SMALL
    cap = _CAP
    lines = _wrapped(progress.sentence, cap, room)
    while (LEADING * len(lines) + 1) * cap > top - _MARGIN and cap > _LEAST:
        cap -= 1.0
        lines = _wrapped(progress.sentence, cap, room)
    sentence = Text((_MARGIN, top), "\n".join(lines), role, cap, (0.0, 1.0))
    return [Text((_MARGIN, _BAND - _SMALL), head, Role.CHECK, _SMALL, (0.0, 1.0)), sentence]


def _wrapped(text: str, cap: float, room: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and set_line(longer, cap).advance <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _dots(frame: Frame, progress: CaptureProgress) -> None:
    """Draw one dot for each photo: full where it is taken."""
    taken = progress.number - (progress.saved is None)
    y = round(SIZE[1] - _BAND + 1.5 * _SMALL)
    for number in range(progress.count):
        x = SIZE[0] - _MARGIN - _DOT - round((progress.count - 1 - number) * 3.2 * _DOT)
        done = number < taken
        cv2.circle(frame, (x, y), _DOT, _GOOD if done else _DIM, -1 if done else 2, cv2.LINE_AA)
