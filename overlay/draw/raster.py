"""Polygons in pixels to coverage: the share of each pixel's area that they cover.

The filling is FreeType's, which computes the covered area of every pixel exactly
(to 1/256) from vertices rounded to 1/64 px. Measured on lines of 1 to 5 px at any
angle and offset: width right to 0.02 px and centroid to 0.01 px RMS, where
`cv2.fillPoly` with LINE_AA draws 1.4 px too wide and strays up to 0.47 px
(benchmarks/lines.py).

What is left comes from square pixels: where an edge covers the part f of a pixel,
the whole pixel glows evenly, so that part's light sits f (1 - f) / 2 px off. A line
w px wide along the pixel rows is therefore centred to 1 / (8 w) px at worst, 0.03 px
at the usual four pixels; lines at an angle average it away.
"""

from __future__ import annotations

import ctypes
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import freetype
import numpy as np
from freetype.ft_structs import FT_Bitmap, FT_Outline
from freetype.raw import FT_Outline_Get_Bitmap
from numpy.typing import NDArray

from overlay.contours import Contours

Coverage = NDArray[np.uint8]
"""Shape (rows, width); 0 is bare, 255 wholly covered."""

GROUP = 8
"""Tiles begin and end at multiples of this many pixels: one 64-bit word of coverage."""

FARTHEST = 8.0
"""Polygons that reach further than this many frame widths beyond the frame are left out. Light goes
there from 40 mm of a line only where the line passes the plane of the projector's lens."""

_MOST_POINTS = 32_000
"""FreeType numbers an outline's points with 16 bits."""

_GREY_256 = 2  # FT_PIXEL_MODE_GRAY
_ON_CURVE = 1  # FT_CURVE_TAG_ON
_POSITION = np.dtype(ctypes.c_long)  # FT_Pos


def tiles(
    contours: Contours, size: tuple[int, int], columns: int
) -> Iterator[tuple[int, int, Coverage]]:
    """Yield the coverage of the parts of a frame that polygons touch, in strips of some columns.

    FreeType keeps the cells of a row in one list, which it searches from the left for
    every cell: a narrow strip has short ones. It also goes through all polygons once for
    every few rows, so it is handed only those of the strip.

    Parameters
    ----------
    contours : Contours
        In px; pixel (0, 0) is centred on the origin.
    size : tuple of int
        Width and height of the frame, px; the width a multiple of GROUP.
    columns : int
        Width of a strip, px, a multiple of GROUP; the last may be narrower.

    Yields
    ------
    top, left : int
        Row and column of the tile's first pixel; the column is a multiple of GROUP.
    coverage : ndarray of uint8, shape (rows, up to columns and a multiple of GROUP)
        Pixels outside all tiles are bare.
    """
    width, height = size
    low, high = contours.boxes()
    seen = (high[:, 0] > -1) & (low[:, 0] < width) & (high[:, 1] > -1) & (low[:, 1] < height)
    farthest = FARTHEST * max(size)
    seen &= (np.minimum(low[:, 0], low[:, 1]) > -farthest) & (
        np.maximum(high[:, 0], high[:, 1]) < farthest
    )
    if not seen.any():
        return
    low, high = low[seen], high[seen]
    shapes = _Fixed.rounded(contours.chosen(seen))
    first = max(0, int(low[:, 0].min()) // GROUP * GROUP)
    last = min(width, math.ceil((high[:, 0].max() + 1) / GROUP) * GROUP)
    for left in range(first, last, columns):
        right = min(left + columns, last)
        inside = (high[:, 0] > left - 1) & (low[:, 0] < right)
        if inside.any():
            top = max(0, int(low[inside, 1].min()))
            bottom = min(height, math.ceil(high[inside, 1].max()) + 1)
            tile = np.zeros((bottom - top, right - left), dtype=np.uint8)
            _fill(shapes.chosen(inside, left, top), tile)
            yield top, left, tile


@dataclass(frozen=True, eq=False)
class _Fixed:
    """Polygons as FreeType takes them.

    Attributes
    ----------
    points : ndarray of FT_Pos, shape (N, 2)
        In 1/64 px from the top-left pixel's outer corner, y down.
    counts : ndarray of int64, shape (M,)
        Number of vertices of each polygon.
    """

    points: NDArray[Any]
    counts: NDArray[np.int64]

    @classmethod
    def rounded(cls, contours: Contours) -> _Fixed:
        points = np.rint(contours.points * 64 + 32).astype(_POSITION)
        return cls(points, contours.counts)

    def chosen(self, keep: NDArray[np.bool_], left: int = 0, top: int = 0) -> _Fixed:
        """Return the polygons where `keep` is true, seen from another pixel."""
        points = self.points[np.repeat(keep, self.counts)]
        points -= np.array((left * 64, top * 64), dtype=_POSITION)
        return _Fixed(points, self.counts[keep])

    def rows(self) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return the first and the last row that each polygon may touch, each shape (M,)."""
        starts = np.cumsum(self.counts) - self.counts
        y = self.points[:, 1] // 64
        return np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)


def _fill(shapes: _Fixed, tile: Coverage) -> None:
    """Write the coverage of polygons, seen from the tile's corner, into a bare tile."""
    if len(shapes.points) > _MOST_POINTS:
        _fill_parts(shapes, tile)
        return
    rows, width = tile.shape
    tags = np.full(len(shapes.points), _ON_CURVE, dtype=np.uint8)
    ends = (np.cumsum(shapes.counts) - 1).astype(np.int16)
    outline = FT_Outline(n_contours=len(ends), n_points=len(tags), flags=0)
    for name, array in (("points", shapes.points), ("tags", tags), ("contours", ends)):
        setattr(outline, name, ctypes.cast(array.ctypes.data, type(getattr(outline, name))))
    # With a negative pitch FreeType's y runs down from the first row.
    bitmap = FT_Bitmap(rows=rows, width=width, pitch=-width, num_grays=256, pixel_mode=_GREY_256)
    bitmap.buffer = ctypes.cast(tile.ctypes.data, type(bitmap.buffer))
    if FT_Outline_Get_Bitmap(freetype.get_handle(), ctypes.byref(outline), ctypes.byref(bitmap)):
        tile[:] = 0
        _fill_parts(shapes, tile)


def _fill_parts(shapes: _Fixed, tile: Coverage) -> None:
    """Fill what is too much for one call: by halves of the rows, then by halves of the polygons."""
    rows = len(tile)
    if rows > 1:
        half = rows // 2
        low, high = shapes.rows()
        for top, part in ((0, tile[:half]), (half, tile[half:])):
            inside = (high >= top) & (low < top + len(part))
            if inside.any():
                _fill(shapes.chosen(inside, 0, top), part)
    elif len(shapes.counts) > 1:
        first = np.arange(len(shapes.counts)) < len(shapes.counts) // 2
        for which in (first, ~first):
            other = np.zeros_like(tile)
            _fill(shapes.chosen(which), other)
            np.maximum(tile, other, out=tile)
