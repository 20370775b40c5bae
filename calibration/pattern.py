"""What the projector shows to calibrate: a board of white on pure red.

Red falls evenly on the whole platen, so a photo's red channel sees the printed cards
as if under plain light, while the blue and green channels see the pattern.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.board import Board, Family, arrangement
from calibration.geometry import Points
from calibration.refusal import Refusal

_FAMILY = Family.TAG_36H11

# About 18 squares along the image's short side: that side must reach across the platen,
# so a square lands 20 to 28 mm wide, which a 1080p webcam resolves at 45 degrees.
_MODULES_ALONG_SHORT_SIDE = 180
_SMALLEST_SIDE = 240
_LARGEST_RATIO = 3.0  # beyond this the markers of the family run out

COMMON_SIZES = (
    (1920, 1080),
    (1280, 720),
    (1280, 800),
    (3840, 2160),
    (1024, 768),
    (854, 480),
    (1920, 1200),
    (800, 600),
    (1366, 768),
    (2560, 1440),
    (640, 480),
    (800, 480),
    (1600, 900),
    (2560, 1600),
    (1400, 1050),
    (1280, 1024),
    (848, 480),
    (960, 540),
    (640, 360),
)
"""Projector resolutions in use, px, to name the one whose pattern is in a photo."""


@dataclass(frozen=True)
class Pattern:
    """The calibration pattern of one projector resolution.

    Where the ids sit depends on the resolution, so a pattern made for another one is
    recognised.

    Attributes
    ----------
    size : tuple of int
        Width and height of the projector's image, px.

    Raises
    ------
    Refusal
        If the image is too small or too long and narrow to carry a pattern.
    """

    size: tuple[int, int]

    def __post_init__(self) -> None:
        short, long = sorted(self.size)
        if short < _SMALLEST_SIDE or long > _LARGEST_RATIO * short:
            raise Refusal(
                f"A projector image of {self.size[0]} x {self.size[1]} pixels cannot carry the "
                f"pattern: give the projector's own resolution, such as 1920x1080."
            )

    @property
    def module(self) -> int:
        """Side of one marker module, px."""
        return max(2, round(min(self.size) / _MODULES_ALONG_SHORT_SIDE))

    @property
    def square(self) -> int:
        """Side of one square, px."""
        return self.module * (_FAMILY.bits + 4)

    @cached_property
    def board(self) -> Board:
        """The pattern's chessboard."""
        columns, rows = (side // self.square for side in self.size)
        order = arrangement(range(_FAMILY.count), f"{self.size[0]}x{self.size[1]}")
        return Board(columns, rows, _FAMILY, order[: columns * rows // 2])

    @property
    def count(self) -> int:
        """Number of inner corners."""
        return (self.board.columns - 1) * (self.board.rows - 1)

    @property
    def origin(self) -> tuple[int, int]:
        """Pixels left of and above the board."""
        width, height = self.size
        return (
            (width - self.board.columns * self.square) // 2,
            (height - self.board.rows * self.square) // 2,
        )

    def place(self, modules: ArrayLike) -> Points:
        """Map points of the board frame (modules) to projector px (pixel centres whole)."""
        return np.asarray(modules, np.float64) * self.module + self.origin - 0.5

    def pixels(self, indices: ArrayLike) -> Points:
        """Return the projector px of corners by index, shape (N, 2).

        A corner lies between pixels: at k * square - 0.5 from the board's edge, since
        (0, 0) is the centre of the top-left pixel.
        """
        return self.place(self.board.corners[np.asarray(indices, dtype=np.intp).reshape(-1)])

    def draw(self) -> NDArray[np.uint8]:
        """Return the picture to project, BGR, shape (height, width, 3): white on pure red."""
        raster = np.repeat(np.repeat(self.board.raster, self.module, 0), self.module, 1)
        width, height = self.size
        left, top = self.origin
        light = np.full((height, width), 255, np.uint8)
        light[top : top + raster.shape[0], left : left + raster.shape[1]] = raster
        return np.dstack([light, light, np.full_like(light, 255)])
