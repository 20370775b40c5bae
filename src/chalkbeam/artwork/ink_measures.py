"""The ink of an artwork file measured in its own pixels: all of an artwork but its size.

A drawing takes half a second to render and measure, and an order prints the same one in many
sizes: measures are cached by the file's content and that of the pictures it links to.
"""

from __future__ import annotations

import functools
import hashlib
import threading
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.files import read_whole, resolved
from calibration.geometry import XY, Points
from calibration.picture_files import LARGEST_FILE
from chalkbeam.artwork.files import Picture, linked_files, read_picture
from chalkbeam.artwork.ink import Ink, bounds, centroid, edges, find_baseline, find_ink
from chalkbeam.basics.sentences import Sentence

REMEMBERED = 32
"""Files in the cache; a large one takes 2 MB."""

_turns: dict[tuple[object, ...], threading.Lock] = {}


@dataclass(frozen=True, eq=False)
class InkMeasures:
    """A picture's ink, in pixels; points count from the picture's top left corner, pixel edges.

    Attributes
    ----------
    name : str
        The file's name.
    canvas : (int, int)
        Width and height of the picture.
    bounds : (int, int, int, int)
        Left, top, right, bottom of the pixels with ink.
    edges : (float, float, float, float)
        Left, top, right, bottom of the ink, parts of pixels counted.
    centroid : (x, y)
        Weighted by cover.
    baseline : float or None
        y of the line that a single line of lettering stands on.
    rim : ndarray, shape (N, 2)
        Corners of the first and last ink of every row.
    pixels_per_mm, drawn, remarks
        As `Picture`.
    source, paper, specks
        As `Ink`.
    """

    name: str
    canvas: tuple[int, int]
    bounds: tuple[int, int, int, int]
    edges: tuple[float, float, float, float]
    centroid: XY
    baseline: float | None
    rim: Points
    pixels_per_mm: float | None
    drawn: bool
    remarks: tuple[Sentence, ...]
    source: str
    paper: str
    specks: int
    _bits: NDArray[np.uint8]

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the ink."""
        left, top, right, bottom = self.edges
        return right - left, bottom - top

    def mask(self) -> NDArray[np.bool_]:
        """Return where ink is within its bounds, shape (height, width)."""
        left, top, right, bottom = self.bounds
        width, height = right - left, bottom - top
        bits = np.unpackbits(self._bits, count=width * height)
        return bits.reshape(height, width).astype(bool)


def measured_ink(
    path: Path, *, page: int = 1, mirrored: bool = False, whole: bool = False
) -> InkMeasures:
    """Return the ink of an artwork file; a file of the same content is measured once.

    Parameters and refusals as in `chalkbeam.artwork.measure.load_artwork`.
    """
    path = Path(path)
    content = _digest(path)
    digests = (content, *(_digest(each) for each in _linked(path, content)))
    asked = resolved(path), digests, page, mirrored, whole
    with _turns.setdefault(asked, threading.Lock()):  # who comes second finds it measured
        return _measured_ink(*asked)


def _digest(path: Path) -> bytes:
    try:
        return hashlib.sha256(read_whole(path, LARGEST_FILE)).digest()
    except (OSError, ValueError):
        return b""  # reading it as a picture says what is wrong


@functools.lru_cache(maxsize=REMEMBERED)
def _linked(path: Path, digest: bytes) -> tuple[Path, ...]:
    del digest  # an edited file may link to others
    return linked_files(path)


@functools.lru_cache(maxsize=REMEMBERED)
def _measured_ink(
    path: Path, digests: tuple[bytes, ...], page: int, mirrored: bool, whole: bool
) -> InkMeasures:
    del digests  # an edited file is read again
    picture = as_seen(read_picture(path, page), mirrored)
    return measure_picture(picture, find_ink(picture.name, picture.rgba, whole))


def as_seen(picture: Picture, mirrored: bool) -> Picture:
    """Return a picture as it is seen through its carrier if it is printed in mirror image."""
    if not mirrored:
        return picture
    return replace(picture, rgba=np.ascontiguousarray(picture.rgba[:, ::-1]))


def measure_picture(picture: Picture, ink: Ink) -> InkMeasures:
    """Return the measures of a picture's ink."""
    left, top, right, bottom = box = bounds(ink.mask)
    ends = edges(ink.cover, box)
    height, width = ink.mask.shape
    return InkMeasures(
        picture.name, (width, height), box, ends, centroid(ink.cover), find_baseline(ink.mask),
        np.clip(_rim(ink.mask), ends[:2], ends[2:]), picture.pixels_per_mm, picture.drawn,
        picture.remarks, ink.source, ink.paper, ink.specks,
        np.packbits(ink.mask[top:bottom, left:right]),
    )  # fmt: skip


def _rim(mask: NDArray[np.bool_]) -> Points:
    """Return the pixel-edge corners of the first and last ink of every row, shape (4 R, 2)."""
    rows = np.nonzero(mask.any(axis=1))[0]
    first = mask[rows].argmax(axis=1)
    last = mask.shape[1] - mask[rows, ::-1].argmax(axis=1)
    return np.vstack(
        [np.column_stack([x, y]) for x in (first, last) for y in (rows, rows + 1)]
    ).astype(np.float64)
