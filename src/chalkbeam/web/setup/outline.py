"""The outline that is dragged on to the platen: whether the projector's picture covers it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from calibration.geometry import XY, PlatenFace
from calibration.model import homography

START: tuple[XY, ...] = ((0.28, 0.75), (0.72, 0.75), (0.28, 0.25), (0.72, 0.25))
"""Where its corners stand at first, shares of the picture from its top left."""

LEAST_TO_SPARE = 0.01
"""Share of the picture's height by which it must reach beyond each corner: a little, for a press
that is bumped. Common practice, no source."""

COARSEST = 0.8
"""Largest picture element on the platen, mm: a line of light is 1.5 mm wide."""


class Cover(Enum):
    """What was found; the values are keys of the texts."""

    COVERS = "covers"
    ENDS = "ends"
    """The picture ends at a corner."""
    CROSSED = "crossed"
    """The outline is no four-sided one."""
    COARSE = "coarse"
    """The picture is much larger than the platen."""


@dataclass(frozen=True)
class Covered:
    """Whether the picture covers the platen, where the outline's corners lie on the platen's.

    Attributes
    ----------
    cover : Cover
    corner : int
        Number of the corner at which it does not, as on the cards; 0 for none.
    element : float
        Side of a picture element on the platen where it is largest, mm; 0 if not known.
    """

    cover: Cover
    corner: int = 0
    element: float = 0.0


def covered(corners: Sequence[XY], face: PlatenFace, size: tuple[int, int]) -> Covered:
    """Return whether the picture covers the platen.

    Parameters
    ----------
    corners : sequence of (x, y)
        Where the platen's corners lie in the picture, shares from its top left: front left, front
        right, back left, back right.
    face : PlatenFace
    size : (int, int)
        Of the picture, px.
    """
    shares = np.array(corners, dtype=np.float64)
    spare = np.minimum(shares, 1.0 - shares) * (size[0] / size[1], 1.0)
    for number, each in enumerate(spare.min(axis=1)):
        if each < LEAST_TO_SPARE:
            return Covered(Cover.ENDS, number + 1)
    pixels = shares * size
    around = pixels[[0, 1, 3, 2]]
    sides = np.roll(around, -1, axis=0) - around
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    # Each corner takes its part of the picture: one that does not is on top of another.
    least = 1e-3 * size[0] * size[1]
    if not (turns > least).all() and not (turns < -least).all():
        return Covered(Cover.CROSSED)
    x, y = face.width / 2, face.depth / 2
    places = np.array([(-x, -y), (x, -y), (-x, y), (x, y)])
    to_platen = homography.fit(pixels, places)
    beside = [homography.apply(to_platen, pixels + step) for step in ((1.0, 0.0), (0.0, 1.0))]
    element = float(max(np.hypot(*(each - places).T).max() for each in beside))
    if element > COARSEST:
        return Covered(Cover.COARSE, element=element)
    return Covered(Cover.COVERS, element=element)


def corners_of(sent: object) -> tuple[XY, ...] | None:
    """Return the corners that a browser sends; None if they are none."""
    if not isinstance(sent, list) or len(sent) != 4:
        return None
    found: list[XY] = []
    for each in sent:
        if not isinstance(each, list) or len(each) != 2:
            return None
        x, y = each
        if not all(isinstance(value, int | float) and 0 <= value <= 1 for value in (x, y)):
            return None
        found.append((float(x), float(y)))
    return tuple(found)
