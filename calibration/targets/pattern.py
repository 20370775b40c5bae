"""What the projector shows to calibrate: a chessboard of white on pure red.

Red falls evenly on the whole platen, so a photo's red channel sees the printed cards
as if under plain light, while the blue and green channels see the pattern.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import PlatenFace, Points
from calibration.refusal import Refusal
from calibration.targets.charuco import Charuco, Family, arrangement

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


_FINE_AREA = 40_000.0  # mm², 200 mm x 200 mm: below, cards leave too few usual squares


def wants_fine(face: PlatenFace) -> bool:
    """Tell whether a platen is so small that it needs the fine pattern."""
    return face.width * face.depth < _FINE_AREA


@dataclass(frozen=True)
class Lattice:
    """A chessboard as it sits in the projector's image.

    Attributes
    ----------
    charuco : Charuco
    module : int
        Side of one marker module, px.
    origin : tuple of int
        Pixels left of and above the chessboard.
    first : int
        The pattern's index of this chessboard's corner 0.
    """

    charuco: Charuco
    module: int
    origin: tuple[int, int]
    first: int

    @property
    def square(self) -> int:
        """Side of one square, px."""
        return self.module * self.charuco.square

    def place(self, modules: ArrayLike) -> Points:
        """Map points of the chessboard's frame (modules) to projector px, shape (N, 2).

        A chessboard's edge lies between pixels, hence the half: (0, 0) is the centre of the
        top-left pixel.
        """
        return np.asarray(modules, np.float64) * self.module + self.origin - 0.5


@dataclass(frozen=True)
class Pattern:
    """The calibration pattern of one projector resolution.

    It comes in two densities: the usual one, and a fine one for small platens, which
    cover only a few of the usual squares. Corners are numbered through both, so an
    index says which it is. Where the ids sit depends on resolution and density, so a
    photo tells which was projected, and a pattern made for another projector shows.

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

    @cached_property
    def lattices(self) -> tuple[Lattice, ...]:
        """The usual chessboard and, where the projector resolves it, the fine one."""
        usual = max(2, round(min(self.size) / _MODULES_ALONG_SHORT_SIDE))
        fine = max(2, usual // 2)
        first = self._lattice(usual, "", 0)
        if fine == usual:
            return (first,)
        return first, self._lattice(fine, " fine", len(first.charuco.corners))

    def _lattice(self, module: int, density: str, first: int) -> Lattice:
        square = module * (_FAMILY.bits + 4)
        columns, rows = (side // square for side in self.size)
        white = len(Charuco.white_squares(columns, rows))
        # The fine one has more white squares than there are ids: every second or
        # third carries a marker; all corners of the squares are there.
        step = math.ceil(white / _FAMILY.count)
        order = arrangement(range(_FAMILY.count), f"{self.size[0]}x{self.size[1]}{density}")
        ids = tuple(None if k % step else order[k // step] for k in range(white))
        width, height = self.size
        origin = (width - columns * square) // 2, (height - rows * square) // 2
        return Lattice(Charuco(columns, rows, _FAMILY, ids), module, origin, first)

    @property
    def count(self) -> int:
        """Number of corners of both densities together."""
        return sum(len(lattice.charuco.corners) for lattice in self.lattices)

    @cached_property
    def _all_pixels(self) -> Points:
        return np.vstack([lattice.place(lattice.charuco.corners) for lattice in self.lattices])

    def pixels(self, indices: ArrayLike) -> Points:
        """Return the projector px of corners by index, (0, 0) a pixel's centre, shape (N, 2)."""
        return self._all_pixels[np.asarray(indices, dtype=np.intp).reshape(-1)]

    def draw(self, fine: bool = False) -> NDArray[np.uint8]:
        """Return the picture to project, BGR, shape (height, width, 3): white on pure red."""
        lattice = self.lattices[-1 if fine else 0]
        raster = lattice.charuco.raster.repeat(lattice.module, 0).repeat(lattice.module, 1)
        width, height = self.size
        left, top = lattice.origin
        light = np.full((height, width), 255, np.uint8)
        light[top : top + raster.shape[0], left : left + raster.shape[1]] = raster
        return np.dstack([light, light, np.full_like(light, 255)])
