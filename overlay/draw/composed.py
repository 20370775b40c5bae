"""Layers of light laid one upon the other: from coverage to a frame.

Most of a frame is dark. Light is kept, and laid, as the groups of pixels that have some
of it: one 64-bit word of coverage, three of colour.
"""

from __future__ import annotations

import functools
import math
import sys
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from overlay.contours import Contours
from overlay.draw.raster import GROUP, Coverage, tiles
from overlay.palette import RGB

Frame = NDArray[np.uint8]
"""Shape (height, width, 3), blue, green, red, as OpenCV orders them."""

Lit = tuple[NDArray[np.int64], NDArray[np.uint8]]
"""Groups of pixels that a layer lights: their places in the frame, shape (N,), and how much of
each pixel is covered, shape (N, GROUP)."""

Dark = list[tuple[int, int, Coverage]]
"""What a layer keeps dark: top, left and coverage of tiles. It is mostly bare of lines and wholly
covered, so that to look up the groups that are lit is less work than to list its own."""

_STRIP = 128
"""Width of the strips in which light is drawn, px."""


def lit(contours: Contours, size: tuple[int, int]) -> Lit:
    """Return what polygons, px, cover of a frame of that size, px."""
    width, height = size
    across = math.ceil(width / GROUP)
    where, share = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.uint64)]
    for top, left, coverage in tiles(contours, (across * GROUP, height), _STRIP):
        words = coverage.reshape(-1).view(np.uint64)
        found = np.flatnonzero(words != 0)  # six times faster than on the words themselves
        row, group = np.divmod(found, coverage.shape[1] // GROUP)
        where.append((row + top) * across + group + left // GROUP)
        share.append(words.take(found))
    return np.concatenate(where), np.concatenate(share).view(np.uint8).reshape(-1, GROUP)


def dark(contours: Contours, size: tuple[int, int]) -> Dark:
    """Return what polygons, px, keep dark of a frame of that size, px."""
    width = math.ceil(size[0] / GROUP) * GROUP
    return [*tiles(contours, (width, size[1]), width)]


def size_of(drawn: Lit | Dark) -> int:
    """Return how many bytes a layer takes."""
    arrays = [tile for *_, tile in drawn] if isinstance(drawn, list) else drawn
    return sum(array.nbytes for array in arrays)


class Canvases:
    """Frames to draw on, used again once nobody else holds them: a new one costs page faults.

    Parameters
    ----------
    size : tuple of int
        Width and height of the frames, px.
    """

    def __init__(self, size: tuple[int, int]) -> None:
        self._size = size
        self._known: list[tuple[NDArray[np.uint8], NDArray[np.int64]]] = []
        self._cleared: NDArray[np.uint8] | None = None

    def clear(self) -> bool:
        """Clear a canvas for the next frame; return whether there was none."""
        if self._cleared is not None:
            return False
        used = len(self._known)
        self._cleared = self._bare()
        if len(self._known) == used:
            self._cleared.fill(0)  # it is new: its pages are there from now on
        return True

    def drawn(self, layers: Sequence[tuple[RGB | None, Lit | Dark]], gamma: float) -> Frame:
        """Return the frame of layers, the lowest first; None is the colour of what keeps dark."""
        canvas = self._bare() if self._cleared is None else self._cleared
        self._cleared = None
        groups = canvas.reshape(-1).view(np.uint64).reshape(-1, 3)
        touched = [np.zeros(0, dtype=np.int64)]
        for colour, covered in layers:
            if isinstance(covered, list):
                _darken(groups, np.concatenate(touched), covered, canvas.shape[1] // GROUP)
            elif colour is not None:
                _lighten(groups, covered, _light(colour, gamma))
                touched.append(covered[0])
        self._known.append((canvas, np.concatenate(touched)))
        return np.ascontiguousarray(canvas[:, : self._size[0]])

    def _bare(self) -> NDArray[np.uint8]:
        """Return a dark canvas."""
        for number, (canvas, _) in enumerate(self._known):
            # Held by the list, the name and the question: whoever looks at a part holds it too.
            if sys.getrefcount(canvas) == 3:
                canvas, touched = self._known.pop(number)
                canvas.reshape(-1).view(np.uint64).reshape(-1, 3)[touched] = 0
                return canvas
        width, height = self._size
        return np.zeros((height, math.ceil(width / GROUP) * GROUP, 3), dtype=np.uint8)


def _lighten(groups: NDArray[np.uint64], layer: Lit, light: Frame) -> None:
    """Light a layer in a colour; of what is lit already each channel takes the brighter."""
    where, share = layer
    if not len(where):
        return
    codes = groups.take(where, axis=0).view(np.uint8).reshape(-1, GROUP, 3)
    after = np.maximum(codes, cv2.applyColorMap(share, light))
    groups[where] = after.reshape(-1, 3 * GROUP).view(np.uint64)


def _darken(
    groups: NDArray[np.uint64], places: NDArray[np.int64], layer: Dark, across: int
) -> None:
    """Take the light from what a layer keeps dark. `places` are those of the groups that are lit.

    `across` is how many groups a row of the frame has.
    """
    row, column = np.divmod(places, across)
    for top, left, coverage in layer:
        rows, columns = len(coverage), coverage.shape[1] // GROUP
        down, along = row - top, column - left // GROUP
        inside = np.flatnonzero((down >= 0) & (down < rows) & (along >= 0) & (along < columns))
        words = coverage.reshape(-1).view(np.uint64)
        found = words.take(down[inside] * columns + along[inside])
        met = np.flatnonzero(found != 0)
        where, share = places[inside[met]], found[met].view(np.uint8).reshape(-1, GROUP)
        codes = groups.take(where, axis=0).view(np.uint8).reshape(-1, GROUP, 3)
        after = (codes * (255 - share.astype(np.uint16))[:, :, None] // 255).astype(np.uint8)
        groups[where] = after.reshape(-1, 3 * GROUP).view(np.uint64)


@functools.lru_cache(maxsize=64)
def _light(colour: RGB, gamma: float) -> Frame:
    """Return the BGR codes, shape (256, 1, 3), that emit 0 to 255 parts of a colour's light."""
    share = (np.arange(256) / 255) ** (1 / gamma)
    return np.rint(share[:, None, None] * np.array(colour[::-1], dtype=np.float64)).astype(np.uint8)
