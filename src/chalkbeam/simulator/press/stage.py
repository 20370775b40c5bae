"""What lies at the press at one moment, for the camera that films it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import XY, Isometry, Points
from chalkbeam.garments import Garment

RGB = tuple[float, float, float]
"""Reflectance, linear: red, green, blue."""

PAPER: RGB = (0.78, 0.78, 0.76)
SKIN: RGB = (0.42, 0.27, 0.20)


@dataclass(frozen=True, eq=False)
class LaidGarment:
    """A garment as it lies.

    Attributes
    ----------
    garment : Garment
    face : str
    colour : RGB
    platen_from_garment : Isometry
    """

    garment: Garment
    face: str
    colour: RGB
    platen_from_garment: Isometry

    def outline(self) -> Points:
        """Return the body's outline, platen frame, mm, shape (N, 2)."""
        return self.platen_from_garment.apply(self.garment.face(self.face).outline)

    def lines(self) -> tuple[Points, ...]:
        """Return what is drawn on it (collar, seams, hems) as point sets, platen frame, mm."""
        lines = self.garment.face(self.face).lines
        return tuple(self.platen_from_garment.apply(each.points) for each in lines)


@dataclass(frozen=True, eq=False)
class LaidSheet:
    """A transfer sheet, or once it is peeled the print alone.

    Attributes
    ----------
    corners : ndarray, shape (4, 2)
        Of the sheet, platen frame, mm: top left, top right, bottom right, bottom left of the art.
    ink : ndarray, shape (h, w), bool
    ink_corners : ndarray, shape (4, 2)
        Of the ink's box, likewise.
    colour : RGB
        Of the ink.
    film : RGB or None
        Of the sheet; None for the print alone.
    cover : float
        How much of what is below the sheet hides, 0 to 1.
    """

    corners: Points
    ink: NDArray[np.bool_]
    ink_corners: Points
    colour: RGB
    film: RGB | None = PAPER
    cover: float = 1.0


@dataclass(frozen=True)
class Arm:
    """A forearm with its hand, reaching in from `elbow` to `hand`, platen frame, mm."""

    elbow: XY
    hand: XY
    sleeve: RGB = (0.12, 0.13, 0.2)


@dataclass(frozen=True)
class Stage:
    """Everything that can be seen, at one moment.

    Attributes
    ----------
    garment : LaidGarment or None
    sheets : tuple of LaidSheet
        Later ones above earlier ones.
    arms : tuple of Arm
    head : float
        How far the press is closed: 0 out of view, 1 over the platen.
    room : float
        The room's light, 1 as usual.
    shadow : XY or None
        Middle of somebody's shadow, platen frame, mm.
    capped : bool
        Whether something covers the camera.
    bumped : (float, float)
        How far the camera was bumped, px of its picture.
    """

    garment: LaidGarment | None = None
    sheets: tuple[LaidSheet, ...] = ()
    arms: tuple[Arm, ...] = ()
    head: float = 0.0
    room: float = 1.0
    shadow: XY | None = None
    capped: bool = False
    bumped: tuple[float, float] = (0.0, 0.0)
