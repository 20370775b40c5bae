"""A page in place of a platen: the same drawing engine for windows that light nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calibration.geometry import XY, Points, as_points


@dataclass(frozen=True)
class FlatMap:
    """A page as a `PlatenMap`: one scale, y up, no lens.

    Attributes
    ----------
    size : tuple of int
        Of the picture, px.
    scale : float
        px per unit of the page.
    x, y : float
        Place of the picture's lower left corner on the page.
    """

    size: tuple[int, int]
    scale: float = 1.0
    x: float = 0.0
    y: float = 0.0

    def projector_from_platen(self, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return pixels, shape (N, 2), of page points, shape (N, 2); height counts for nothing."""
        del height
        x, y = ((as_points(points) - (self.x, self.y)) * self.scale).T
        return np.column_stack([x, self.size[1] - y]) - 0.5

    def place(self, pixel: XY) -> XY:
        """Return the place on the page that a pixel's centre shows."""
        x, y = pixel
        return (x + 0.5) / self.scale + self.x, (self.size[1] - y - 0.5) / self.scale + self.y
