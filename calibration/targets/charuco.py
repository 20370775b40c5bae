"""Chessboards with a marker in their white squares (ChArUco), printed or projected.

Cards and pattern are the same thing at different sizes, so it is described once.
Lengths here are *modules*: the side of one black-or-white cell of a marker. A marker
of b × b bits has a black border of one module and a white gap of one module around
that, so a square is b + 4 modules wide and a whole chessboard is a raster of modules.

Frame: origin at the outer corner of the top-left square, x right, y down,
modules.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cache, cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points


class Family(Enum):
    """A marker family; both are AprilTag families, which other readers know too.

    Of the families of OpenCV, at equal side of the squares, 16h5 is read at the smallest
    scale (98 % at 22 px, where 36h11 is down to half), so the cards carry it; 36h11 has
    enough ids for a pattern and is as good from 26 px on (benchmarks/marker_families.py).
    """

    TAG_16H5 = cv2.aruco.DICT_APRILTAG_16h5
    TAG_36H11 = cv2.aruco.DICT_APRILTAG_36h11

    @property
    def dictionary(self) -> cv2.aruco.Dictionary:
        """OpenCV's dictionary of this family."""
        return cv2.aruco.getPredefinedDictionary(self.value)

    @property
    def bits(self) -> int:
        """Bits along one side of a marker."""
        return int(self.dictionary.markerSize)

    @property
    def count(self) -> int:
        """How many ids the family has."""
        return int(self.dictionary.bytesList.shape[0])

    def part(self, ids: Sequence[int]) -> cv2.aruco.Dictionary:
        """Return a dictionary of some of the family's markers, numbered in the order of `ids`."""
        whole = self.dictionary
        codes = np.ascontiguousarray(whole.bytesList[np.asarray(ids)])
        return cv2.aruco.Dictionary(codes, self.bits, whole.maxCorrectionBits)


def arrangement(ids: Iterable[int], key: str) -> tuple[int, ...]:
    """Return `ids` in an order that depends on `key` alone, the same for ever.

    Chessboards that share ids are told apart by where the ids sit: a card by its size, a
    pattern by its resolution.
    """
    return tuple(sorted(ids, key=lambda n: hashlib.sha256(f"{key}/{n}".encode()).digest()))


@dataclass(frozen=True)
class Charuco:
    """A chessboard whose top-left square is black, with markers in its white squares.

    Attributes
    ----------
    columns, rows : int
        Number of squares across and down.
    family : Family
        Where the markers come from.
    ids : tuple of int or None
        One entry for each white square, row by row from the top left; None leaves
        the square empty.
    """

    columns: int
    rows: int
    family: Family
    ids: tuple[int | None, ...]

    def __post_init__(self) -> None:
        if len(self.ids) != len(self.white_squares(self.columns, self.rows)):
            raise ValueError("a chessboard needs one entry in `ids` for each white square")

    @staticmethod
    def white_squares(columns: int, rows: int) -> list[tuple[int, int]]:
        """Return (column, row) of the white squares, row by row from the top left."""
        return [(c, r) for r in range(rows) for c in range(columns) if (c + r) % 2]

    @property
    def square(self) -> int:
        """Side of a square, modules."""
        return self.family.bits + 4

    @cached_property
    def corners(self) -> Points:
        """Inner corners by index: row by row from the top left, modules, shape (N, 2)."""
        x = np.arange(1, self.columns) * float(self.square)
        y = np.arange(1, self.rows) * float(self.square)
        return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)

    @cached_property
    def dark_diagonal(self) -> NDArray[np.bool_]:
        """Whether the square up and left of each inner corner is black, shape (N,)."""
        column, row = (self.corners / self.square).astype(int).T
        dark: NDArray[np.bool_] = (column + row) % 2 == 0
        return dark

    @cached_property
    def markers(self) -> dict[int, Points]:
        """Corners of each marker's black border by id: tl, tr, br, bl, modules, shape (4, 2)."""
        side = self.family.bits + 2
        ring = np.array([[0, 0], [side, 0], [side, side], [0, side]], dtype=np.float64) + 1
        squares = self.white_squares(self.columns, self.rows)
        return {
            marker: ring + np.array(place) * self.square
            for marker, place in zip(self.ids, squares, strict=True)
            if marker is not None
        }

    @cached_property
    def raster(self) -> NDArray[np.uint8]:
        """The chessboard, one pixel a module, 0 or 255, shape (rows, columns) * square."""
        picture = np.full((self.rows * self.square, self.columns * self.square), 255, np.uint8)
        for row in range(self.rows):
            for column in range(row % 2, self.columns, 2):
                top, left = row * self.square, column * self.square
                picture[top : top + self.square, left : left + self.square] = 0
        for marker, ring in self.markers.items():
            left, top = ring[0].astype(int)
            bits = _marker_raster(self.family, marker)
            picture[top : top + len(bits), left : left + len(bits)] = bits
        return picture


@cache
def _marker_raster(family: Family, marker: int) -> NDArray[np.uint8]:
    side = family.bits + 2
    return np.asarray(cv2.aruco.generateImageMarker(family.dictionary, marker, side), np.uint8)
