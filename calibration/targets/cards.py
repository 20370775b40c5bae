"""Fiducial cards on the platen: which, where, with which ids, and their picture.

A card is a chessboard of 4 × 4 squares in a white margin. Its two outer cut edges lie flush
with two straight edges of the platen: rounded corners do not matter, and a fingertip feels whether
the edges are flush. Every card is laid upright for the operator, so all have angle 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from calibration.geometry import Isometry, PlatenFace, Points
from calibration.refusal import Refusal
from calibration.targets.charuco import Charuco, Family, arrangement

NAMES = ("front-left", "front-right", "back-left", "back-right")
"""Front is towards the operator (y < 0), left the operator's left (x < 0)."""

SQUARES = (8.0, 10.0, 12.0, 16.0, 20.0, 24.0, 32.0)
"""Sides of squares that cards are made in, mm; the arrangement of ids tells which. The
largest card is what a sheet of Letter or A4 holds beside its check bar."""

GRID = 4
"""Squares along each side of a card."""

MARGIN = 2
"""White around the chessboard, modules."""

NUMBER_SLOT = 1
"""The white square (of those counted by `Charuco`) that carries the card's number: top right."""

LEAST_NAMED_MODULE = 1.5
"""Where a module is smaller, mm, the card's name on its margin could not be read: it bears
its number alone."""

_IDS_PER_CARD = GRID * GRID // 2 - 1
_FAMILY = Family.TAG_16H5
_SIDE = GRID * (_FAMILY.bits + 4) + 2 * MARGIN
"""Modules along a card's cut edge."""

# Two cards side by side must leave light between them, and four must leave most of the
# platen to the pattern. With these shares a 1080p webcam that sees the whole platen at
# 45 degrees still has 4 px a module (geometric mean of both directions, farthest card),
# see tests/calibration/targets/test_cards.py.
_SHARE_OF_SHORT_SIDE = 0.46
_SHARE_OF_LONG_SIDE = 0.28


@dataclass(frozen=True)
class Card:
    """One fiducial card as cut and laid.

    Attributes
    ----------
    name : str
        One of `NAMES`: the platen's corner it belongs to.
    squares : int
        Number of squares along each side.
    square : float
        Side of a square, mm.
    first_id : int
        The card's markers are `first_id` and the next six of family 16h5.
    centre : tuple of float
        Centre of the card in the platen frame, mm.
    angle : float
        Counter-clockwise turn in the platen frame, radians; 0 reads upright for the
        operator.
    size : float
        Side of the card as cut, mm.
    """

    name: str
    squares: int
    square: float
    first_id: int
    centre: tuple[float, float]
    angle: float
    size: float

    @property
    def number(self) -> int:
        """The number printed on the card, from 1."""
        return self.first_id // _IDS_PER_CARD + 1

    @property
    def module(self) -> float:
        """Side of one marker module, mm."""
        return self.square / (_FAMILY.bits + 4)

    @property
    def charuco(self) -> Charuco:
        """The card's chessboard."""
        ids: list[int | None] = list(
            arrangement(range(self.first_id, self.first_id + _IDS_PER_CARD), f"{self.square:g} mm")
        )
        ids.insert(NUMBER_SLOT, None)
        return Charuco(self.squares, self.squares, _FAMILY, tuple(ids))

    def place(self, modules: Points) -> Points:
        """Map points of the chessboard's frame (modules, y down) to the platen frame (mm)."""
        half = self.squares * self.charuco.square / 2
        pose = Isometry(*self.centre, self.angle, mirrored=True)
        return pose.apply((np.asarray(modules) - half) * self.module)

    def corners(self) -> Points:
        """Return the chessboard's inner corners by index, platen frame, mm, shape (K, 2).

        Index 0 is the corner nearest the card's top left, counting along rows.
        """
        return self.place(self.charuco.corners)

    def outline(self) -> Points:
        """Return the cut edge as laid: tl, tr, br, bl, platen frame, mm, shape (4, 2)."""
        low, high = -float(MARGIN), self.squares * self.charuco.square + float(MARGIN)
        return self.place(np.array([[low, low], [high, low], [high, high], [low, high]]))

    def flush_sides(self) -> tuple[str, str]:
        """Return which two edges of the upright card lie on the platen's edges."""
        front_or_back, left_or_right = self.name.split("-")
        return ("bottom" if front_or_back == "front" else "top"), left_or_right


def layout(face: PlatenFace) -> tuple[Card, ...]:
    """Return the four cards for a platen, as far apart as they go, in the order of `NAMES`.

    Raises
    ------
    Refusal
        If the platen is too small to leave light between the smallest cards, or a side
        is no length at all.
    """
    if not (math.isfinite(face.width) and math.isfinite(face.depth)):
        raise Refusal("The platen's size is not a number: give it as width x depth.")
    short, long = sorted((face.width, face.depth))
    per_square = _SIDE / (_FAMILY.bits + 4)
    smallest = SQUARES[0] * per_square
    if 2 * smallest > 0.9 * short:
        least = math.ceil(2 * smallest / 0.9)
        raise Refusal(
            f"A platen of {face.width:.0f} mm x {face.depth:.0f} mm is too small for four cards: "
            f"fasten a flat board of at least {least} mm x {least} mm in its place and give the "
            "board's size."
        )
    limit = min(_SHARE_OF_SHORT_SIDE * short, _SHARE_OF_LONG_SIDE * long)
    square = max((s for s in SQUARES if s * per_square <= limit), default=SQUARES[0])
    size = square * per_square
    x, y = (face.width - size) / 2, (face.depth - size) / 2
    centres = ((-x, -y), (x, -y), (-x, y), (x, y))
    return tuple(
        Card(name, GRID, square, _IDS_PER_CARD * k, centre, 0.0, size)
        for k, (name, centre) in enumerate(zip(NAMES, centres, strict=True))
    )


def draw(card: Card, pixels_per_mm: float) -> NDArray[np.uint8]:
    """Return the card as printed, out to its cut edge, grey, 0 black to 255 white.

    The picture's outer pixel *edges* are the card's cut edges, whatever the rounding of
    its size: `corners_mm` of the picture are exactly `card.outline()`. Pixels on a
    boundary carry the share of ink that covers them.

    Parameters
    ----------
    card : Card
    pixels_per_mm : float
        Resolution; rounded so that a whole number of pixels spans the card.

    Returns
    -------
    ndarray, shape (N, N), uint8
    """
    pixels = max(1, round(card.size * pixels_per_mm))
    modules = np.pad(card.charuco.raster, MARGIN, constant_values=255)
    share = _overlap(pixels, len(modules))
    picture = share @ modules.astype(np.float64) @ share.T
    picture = np.minimum(picture, _lettering(card, pixels))
    return np.rint(picture).astype(np.uint8)


def _overlap(pixels: int, modules: int) -> NDArray[np.float64]:
    """Return which share of each pixel each module covers, shape (pixels, modules)."""
    pixel = np.arange(pixels)[:, None] * (modules / pixels)
    module = np.arange(modules)[None, :]
    covered = np.minimum(pixel + modules / pixels, module + 1) - np.maximum(pixel, module)
    shares: NDArray[np.float64] = np.clip(covered, 0.0, None) * (pixels / modules)
    return shares


def _lettering(card: Card, pixels: int) -> NDArray[np.uint8]:
    """Return number, name and the two heavy edges that lie flush, on white, shape (N, N)."""
    oversample = max(1, math.ceil(1440 / pixels))
    side = pixels * oversample
    module = side / _SIDE
    picture = np.full((side, side), 255, np.uint8)
    heavy = round(module / 2)
    for edge in card.flush_sides():
        strip = {
            "bottom": np.s_[side - heavy :, :],
            "top": np.s_[:heavy, :],
            "left": np.s_[:, :heavy],
            "right": np.s_[:, side - heavy :],
        }[edge]
        picture[strip] = 0
    square = _FAMILY.bits + 4
    column, row = Charuco.white_squares(card.squares, card.squares)[NUMBER_SLOT]
    middle = np.array([column + 0.5, row + 0.5]) * square + MARGIN
    _write(picture, str(card.number), middle * module, 4 * module)
    if card.module >= LEAST_NAMED_MODULE:
        line = MARGIN / 2 if "bottom" in card.flush_sides() else _SIDE - MARGIN / 2
        _write(picture, card.name.upper(), np.array([_SIDE / 2, line]) * module, 0.9 * module)
    return np.asarray(cv2.resize(picture, (pixels, pixels), interpolation=cv2.INTER_AREA))


def _write(picture: NDArray[np.uint8], text: str, middle: Points, height: float) -> None:
    """Write `text` centred at `middle` (px, edge origin) with capitals `height` px high."""
    font = ImageFont.load_default(height / 0.7)  # capitals are 0.7 em high
    canvas = Image.fromarray(picture)
    ImageDraw.Draw(canvas).text((middle[0], middle[1] + height / 2), text, 0, font, anchor="ms")
    picture[...] = np.asarray(canvas)
