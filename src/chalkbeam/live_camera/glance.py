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
from scipy.special import ndtr

from calibration import channels, homography
from calibration.board import Board, Family
from calibration.cards import Card
from calibration.geometry import PlatenFace, Points, rectangle
from calibration.markers import find_markers, sight
from calibration.observations import PhotoObservation
from calibration.why_not import is_blurred

SEARCH_SIDE = 1280
"""Longer side, px, to which a picture is reduced before cards are looked for: of a 1080p
webcam's picture nearly every marker is still read, in a third of the time."""

_LEAST_MARKERS = 3
_DARK_LEVEL, _WHITE_LEVEL, _WHITE_SHARE = 60, 250, 0.15  # as calibration.why_not judges photos
_USUAL_FOCAL = 0.75
"""Focal length of webcams and phones over the longer side of their picture: about 70
degrees across. Taken for what is not known yet; it shifts a direction by a few degrees."""

_ALONG = (2.0, 3.0, 4.0, 5.0, 6.0)  # modules along a square's side, clear of its ends
_ACROSS = np.linspace(-1.0, 1.0, 41)  # modules: black on one side, a white gap on the other

_LEAST_CONTRAST = 10.0  # grey levels

_DEVIATIONS = np.linspace(0.05, 1.0, 96)  # modules
_RATIOS = (
    (2 * ndtr(0.5 / _DEVIATIONS) - 1)
    * math.sqrt(2 * math.pi)
    * _DEVIATIONS
    / -np.expm1(-0.5 / _DEVIATIONS**2)
)
"""Height over steepest rise of a gap so blurred, modules (see `edge_blur`)."""


class Light(Enum):
    """How a picture is exposed."""

    DARK = "dark"
    FAIR = "fair"
    BRIGHT = "bright"


@dataclass(frozen=True, eq=False)
class Glance:
    """What one picture shows.

    Attributes
    ----------
    at : float
        When it was taken, seconds on the source's clock.
    size : tuple of int
        Width and height, px.
    light : Light
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
    light: Light
    cards: Mapping[str, Points]
    module: float = 0.0
    blur: float = 0.0
    outline: Points | None = None
    towards: tuple[float, float, float] | None = None


def glance(
    image: NDArray[np.uint8], cards: Sequence[Card], face: PlatenFace, at: float = 0.0
) -> Glance:
    """Return what a BGR picture, shape (height, width, 3), shows of the cards."""
    size = (int(image.shape[1]), int(image.shape[0]))
    red = channels.red(image)
    markers = find_markers(red, Family.TAG_16H5, min(1.0, SEARCH_SIDE / max(size)))
    found: dict[str, Points] = {}
    modules, blurs = [], []
    for card in cards:
        seen = sight(card.board, markers)
        if seen is None or len(seen.markers) < _LEAST_MARKERS:
            continue
        matrix = seen.photo_from_board
        found[card.name] = homography.apply(matrix, card.board.corners)
        modules.append(_module(matrix, card.board))
        blurs.append(edge_blur(red, matrix, card.board))
    if len(found) < len(cards) and is_blurred(channels.grey(image)):
        blurs.append(math.inf)
    outline, towards = _lie(found, cards, face, size)
    return Glance(
        at,
        size,
        _light(image),
        found,
        module=min(modules, default=0.0),
        blur=max(blurs, default=0.0),
        outline=outline,
        towards=towards,
    )


def glance_of(
    seen: PhotoObservation, cards: Sequence[Card], face: PlatenFace, at: float = 0.0
) -> Glance:
    """Return the glance that a thorough look amounts to, for pictures where a quick one fails."""
    found: dict[str, Points] = {}
    modules = []
    for card in cards:
        mine = [corner for corner in seen.cards if corner.board == card.name]
        if len(mine) < 4:
            continue
        corners = card.board.corners
        matrix = homography.fit(
            corners[[corner.index for corner in mine]], [corner.pixel for corner in mine]
        )
        found[card.name] = homography.apply(matrix, corners)
        modules.append(_module(matrix, card.board))
    outline, towards = _lie(found, cards, face, seen.size)
    return Glance(
        at,
        seen.size,
        Light.FAIR,
        found,
        module=min(modules, default=0.0),
        outline=outline,
        towards=towards,
    )


def movement(one: Glance, other: Glance) -> float:
    """Return how far the cards moved between two pictures, px: median over their corners.

    Infinite if they have no card in common.
    """
    common = [name for name in one.cards if name in other.cards]
    if not common or one.size != other.size:
        return math.inf
    moved = np.vstack([one.cards[name] - other.cards[name] for name in common])
    return float(np.median(np.linalg.norm(moved, axis=1)))


def edge_blur(
    view: NDArray[np.uint8], photo_from_board: NDArray[np.float64], board: Board
) -> float:
    """Return the standard deviation of the blur across a board's edges, modules.

    Beside each edge runs a white gap of one module between two black ones. Blurred by a
    Gaussian of deviation s it rises to ``2 F(1 / 2s) - 1`` of its height, and by at most
    ``(f(0) - f(1 / s)) / s`` a module (F and f the normal distribution and density); the
    ratio of the two tells s, whatever the contrast. Edges along the rows and along the
    columns are judged apart, since a shaken picture is smeared one way; the worse counts.
    Infinite where there is no edge at all.

    Parameters
    ----------
    view : ndarray, shape (height, width), uint8
        Grey picture.
    photo_from_board : ndarray, shape (3, 3)
        Modules to px.
    board : Board
    """
    return max(
        _rise(view, photo_from_board, _edges(board, upright=True)),
        _rise(view, photo_from_board, _edges(board, upright=False)),
    )


def _edges(board: Board, upright: bool) -> Points:
    """Return profiles across the sides that black and white squares share, modules.

    Shape (edges, points along, points across, 2).
    """
    square = board.square
    columns, rows = (board.columns, board.rows) if upright else (board.rows, board.columns)
    starts = [(k * square, j * square) for k in range(1, columns) for j in range(rows)]
    across, along = np.meshgrid(_ACROSS, _ALONG)
    profile = np.stack([across, along], axis=-1)
    placed: Points = np.array(starts, np.float64)[:, None, None] + profile
    return placed if upright else placed[..., ::-1]


def _rise(view: NDArray[np.uint8], matrix: NDArray[np.float64], places: Points) -> float:
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


def _light(image: NDArray[np.uint8]) -> Light:
    small = cv2.resize(image, (160, 120), interpolation=cv2.INTER_AREA)
    if np.percentile(channels.grey(np.asarray(small, np.uint8)), 95) < _DARK_LEVEL:
        return Light.DARK
    if (small.min(axis=2) >= _WHITE_LEVEL).mean() > _WHITE_SHARE:
        return Light.BRIGHT
    return Light.FAIR


def _module(matrix: NDArray[np.float64], board: Board) -> float:
    """Return the side of a module in the middle of a board, px."""
    middle = np.array([board.columns, board.rows]) * board.square / 2
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
