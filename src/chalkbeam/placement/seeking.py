"""Where a garment, and the pad, lie best: tried at once for every place a ruler can set.

All is done in the *turned* frame: axes and unit of the platen, origin that of the garment frame.
There the pressed area is a rectangle that is moved about over the garment.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.placement.ridges import GRID, RidgePoints

STEP = 5.0
"""Places are tried by whole steps of this from the usual one, mm, so that a ruler can set them."""
FARTHEST = 260.0
"""No place further than this from the usual one is tried, mm."""
GRAVE = 400.0
"""A point of a ridge that takes pressure off the print counts so many times as any other."""
OVER_EDGE = 60.0
"""Cost of a millimetre of the sheet beyond the margin at the platen's edge, in heights of ridge
(mm) a point."""
MOST = 12
"""So many of the best places are handed on: rounded corners may cut the first."""

Span = tuple[float, float]


@dataclass(frozen=True)
class AxisRange:
    """What bounds and draws the place of a pressed rectangle along one axis, turned frame, mm.

    Attributes
    ----------
    half : float
        Half the pressed area's length.
    ink : (float, float)
        Where its middle may lie so that all ink is pressed.
    usual : float
        Where it lies if nothing speaks against.
    sheet : (float, float)
        Where it may lie without the sheet coming too near the edge.
    beside : float
        Cost of a millimetre off the usual place, in heights of ridge (mm) a point.
    """

    half: float
    ink: Span
    usual: float
    sheet: Span
    beside: float

    def places(self) -> NDArray[np.float64]:
        """Return the places to try."""
        low, high = self.ink
        if low > high:
            return np.array([(low + high) / 2])
        held = min(max(self.usual, low), high)
        first = np.ceil((max(low, held - FARTHEST) - self.usual) / STEP)
        last = np.floor((min(high, held + FARTHEST) - self.usual) / STEP)
        steps = self.usual + STEP * np.arange(first, last + 1)
        # The limits too: a hem may hang over the edge right beside the print.
        ends = [end for end in (low, high) if abs(end - held) < FARTHEST]
        return np.unique(np.array([*steps, *ends]))

    def cost(self, at: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what it costs to lie there, ridges apart."""
        cost = self.beside * np.abs(at - self.usual)
        low, high = self.sheet
        if low <= high:
            cost += OVER_EDGE * (np.maximum(low - at, 0.0) + np.maximum(at - high, 0.0))
        return np.asarray(cost)


def best_places(
    x: AxisRange, y: AxisRange, ink: tuple[Points, Points], turned: Points, found: RidgePoints
) -> Iterator[tuple[float, float]]:
    """Yield where the middle of the pressed rectangle lies best, the best first.

    Parameters
    ----------
    x, y : AxisRange
    ink : (ndarray, ndarray)
        Lowest and highest corner of the box around the ink.
    turned : ndarray, shape (N, 2)
        The ridges' points in this frame.
    found : RidgePoints
        What each of them bears.
    """
    across, along = x.places(), y.places()
    low, high = ink
    off = np.maximum(np.maximum(low - turned, turned - high), 0.0)
    near = np.hypot(*off.T) - GRID / 2 < found.reach  # a point stands for what is round it
    weight = found.height * np.where(near, GRAVE, 1.0)
    under_x = np.abs(turned[:, 0] - across[:, None]) < x.half
    under_y = np.abs(turned[:, 1] - along[:, None]) < y.half
    cost = (under_x * weight) @ under_y.T + x.cost(across)[:, None] + y.cost(along)[None, :]
    order = np.argsort(cost, axis=None, kind="stable")[:MOST]
    for index in order:
        row, column = divmod(int(index), len(along))
        yield float(across[row]), float(along[column])
