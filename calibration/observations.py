"""What was found in photos, before anything is solved: corners in pixels with their identity.

These values are stored in the rig file, so that uncertainty and drift can be
recomputed later without the photos.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from calibration.geometry import XY, Points


@dataclass(frozen=True)
class Corner:
    """One chessboard corner found in a photo.

    Attributes
    ----------
    board : str
        Which chessboard it belongs to: a card's name ("front-left", ...) or "pattern".
        (Called so in rig files.)
    index : int
        The corner's number on that chessboard (see `cards.Card` and `pattern.Pattern`).
    pixel : tuple of float
        Position in the photo after EXIF rotation, px, (0, 0) at the centre of the
        top-left pixel, x right, y down.
    """

    board: str
    index: int
    pixel: XY


SideName = Literal["left", "right", "front", "back"]


@dataclass(frozen=True)
class Side:
    """One side of the platen's face.

    Attributes
    ----------
    name : SideName
        As the operator sees it.
    axis : int
        0 where x is fixed, 1 where y is.
    sign : int
        -1 or 1, the side of the middle on which it lies.
    """

    name: SideName
    axis: int
    sign: int

    def at(self, along: ArrayLike, out: ArrayLike) -> Points:
        """Return the points `along` a side and `out` from the middle, mm, shape (N, 2)."""
        across, beside = np.broadcast_arrays(self.sign * np.asarray(out, np.float64), along)
        pair = (across, beside) if self.axis == 0 else (beside, across)
        return np.column_stack(pair)


SIDES = (Side("left", 0, -1), Side("right", 0, 1), Side("front", 1, -1), Side("back", 1, 1))


@dataclass(frozen=True)
class EdgePoint:
    """A point seen on an edge of the platen's face.

    Attributes
    ----------
    side : SideName
        The name of one of `SIDES`.
    pixel : tuple of float
        Position in the photo, px, as a corner's.
    """

    side: SideName
    pixel: XY


@dataclass(frozen=True)
class PhotoObservation:
    """Everything one photo contributes to a calibration.

    Attributes
    ----------
    name : str
        File name, for messages.
    size : tuple of int
        Width and height after EXIF rotation, px.
    camera : str
        Key that tells cameras apart (make, model, lens, focal length, pixel count);
        photos that share it share intrinsics.
    focal_hint : float or None
        Focal length in px from EXIF, where the photo gives one.
    raised : float
        Height of the cards' face (and of the surface the pattern falls on) above
        the bare platen, mm.
    cards : tuple of Corner
        Corners of printed cards.
    pattern : tuple of Corner
        Corners of the projected pattern.
    edges : tuple of EdgePoint
        Points on the platen's own edges, where they are seen.
    """

    name: str
    size: tuple[int, int]
    camera: str
    focal_hint: float | None
    raised: float
    cards: tuple[Corner, ...]
    pattern: tuple[Corner, ...]
    edges: tuple[EdgePoint, ...] = ()
