"""What one camera picture shows, seen in a few hundredths of a second.

Enough to guide the operator; what is measured from a photo that is taken comes from
`calibration.detect` alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect.markers import find_charuco, find_markers
from calibration.geometry import PlatenFace, Points, rectangle
from calibration.model import homography
from calibration.observations import PhotoObservation
from calibration.photo import channels
from calibration.photo.sharpness import edge_blur, is_blurred
from calibration.targets.cards import Card
from calibration.targets.charuco import Charuco, Family

SEARCH_SIDE = 1280
"""Longer side, px, to which a picture is reduced before cards are looked for: of a 1080p
webcam's picture nearly every marker is still read, in a third of the time."""

_LEAST_MARKERS = 3
_DARK_LEVEL, _WHITE_LEVEL, _WHITE_SHARE = (
    60,
    250,
    0.15,
)  # as calibration.detect.diagnose: why_not judges photos
_USUAL_FOCAL = 0.75
"""Focal length of webcams and phones over the longer side of their picture: about 70
degrees across. Taken for what is not known yet; it shifts a direction by a few degrees."""


class Exposure(Enum):
    """How a picture is exposed."""

    DARK = "dark"
    FAIR = "fair"
    BRIGHT = "bright"


@dataclass(frozen=True, eq=False)
class QuickLook:
    """What one picture shows.

    Attributes
    ----------
    at : float
        When it was taken, seconds on the source's clock.
    size : tuple of int
        Width and height, px.
    light : Exposure
    cards : mapping of name to ndarray, shape (K, 2)
        Chessboard corners of each card seen, by index, px; to half a pixel.
    module : float
        Side of the smallest marker module seen, px; 0 without cards.
    blur : float
        Standard deviation of the worst blur along either side of a card, modules;
        infinite where a card is not seen because all is smeared, 0 where none is seen.
    outline : ndarray, shape (4, 2), or None
        The platen's corners front left, front right, back right, back left, px, also
        outside the picture. None with fewer than two cards.
    towards : (float, float, float) or None
        Direction from the platen's middle to the camera, of unit length, platen frame.
    """

    at: float
    size: tuple[int, int]
    light: Exposure
    cards: Mapping[str, Points]
    module: float = 0.0
    blur: float = 0.0
    outline: Points | None = None
    towards: tuple[float, float, float] | None = None


def quick_look(
    image: NDArray[np.uint8], cards: Sequence[Card], face: PlatenFace, at: float = 0.0
) -> QuickLook:
    """Return what a BGR picture, shape (height, width, 3), shows of the cards."""
    size = (int(image.shape[1]), int(image.shape[0]))
    red = channels.red(image)
    markers = find_markers(red, Family.TAG_16H5, min(1.0, SEARCH_SIDE / max(size)))
    found: dict[str, Points] = {}
    modules, blurs = [], []
    for card in cards:
        seen = find_charuco(card.charuco, markers)
        if seen is None or len(seen.markers) < _LEAST_MARKERS:
            continue
        matrix = seen.photo_from_charuco
        found[card.name] = homography.apply(matrix, card.charuco.corners)
        modules.append(_module(matrix, card.charuco))
        blurs.append(edge_blur(red, matrix, card.charuco))
    if len(found) < len(cards) and is_blurred(channels.grey(image)):
        blurs.append(math.inf)
    outline, towards = _lie(found, cards, face, size)
    return QuickLook(
        at,
        size,
        _light(image),
        found,
        module=min(modules, default=0.0),
        blur=max(blurs, default=0.0),
        outline=outline,
        towards=towards,
    )


def quick_look_of(
    seen: PhotoObservation, cards: Sequence[Card], face: PlatenFace, at: float = 0.0
) -> QuickLook:
    """Return what a thorough look saw as a quick one, for pictures where a quick one fails."""
    found: dict[str, Points] = {}
    modules = []
    for card in cards:
        mine = [corner for corner in seen.cards if corner.board == card.name]
        if len(mine) < 4:
            continue
        corners = card.charuco.corners
        matrix = homography.fit(
            corners[[corner.index for corner in mine]], [corner.pixel for corner in mine]
        )
        found[card.name] = homography.apply(matrix, corners)
        modules.append(_module(matrix, card.charuco))
    outline, towards = _lie(found, cards, face, seen.size)
    return QuickLook(
        at,
        seen.size,
        Exposure.FAIR,
        found,
        module=min(modules, default=0.0),
        outline=outline,
        towards=towards,
    )


def movement(one: QuickLook, other: QuickLook) -> float:
    """Return how far the cards moved between two pictures, px: median over their corners.

    Infinite if they have no card in common.
    """
    common = [name for name in one.cards if name in other.cards]
    if not common or one.size != other.size:
        return math.inf
    moved = np.vstack([one.cards[name] - other.cards[name] for name in common])
    return float(np.median(np.linalg.norm(moved, axis=1)))


def _light(image: NDArray[np.uint8]) -> Exposure:
    small = cv2.resize(image, (160, 120), interpolation=cv2.INTER_AREA)
    if np.percentile(channels.grey(np.asarray(small, np.uint8)), 95) < _DARK_LEVEL:
        return Exposure.DARK
    if (small.min(axis=2) >= _WHITE_LEVEL).mean() > _WHITE_SHARE:
        return Exposure.BRIGHT
    return Exposure.FAIR


def _module(matrix: NDArray[np.float64], charuco: Charuco) -> float:
    """Return the side of a module in the middle of a board, px."""
    middle = np.array([charuco.columns, charuco.rows]) * charuco.square / 2
    a, b, c = homography.apply(matrix, middle + np.array([[0, 0], [1, 0], [0, 1]]))
    return math.sqrt(abs(float((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0])))


def _lie(
    found: Mapping[str, Points], cards: Sequence[Card], face: PlatenFace, size: tuple[int, int]
) -> tuple[Points | None, tuple[float, float, float] | None]:
    """Return the platen's corners in the picture, and where the camera is."""
    seen = [card for card in cards if card.name in found]
    if len(seen) < 2:
        return None, None
    places = np.vstack([card.corners() for card in seen])
    pixels = np.vstack([found[card.name] for card in seen])
    try:
        photo_from_platen = homography.fit(places, pixels)
    except homography.DegeneratePointsError:
        return None, None
    outline = homography.apply(photo_from_platen, rectangle(face.width, face.depth))
    focal = _USUAL_FOCAL * max(size)
    lens = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    solid = np.column_stack([places, np.zeros(len(places))])
    solved, turn, shift = cv2.solvePnP(solid, pixels, lens, np.zeros(5))
    if not solved:
        return outline, None
    position = -cv2.Rodrigues(turn)[0].T @ shift.ravel()
    x, y, z = (float(value) for value in position / np.linalg.norm(position))
    return outline, (x, y, z)
