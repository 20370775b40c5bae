"""The corners that were seen in photos, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points, as_points
from calibration.observations import Corner, PhotoObservation
from calibration.solve.parameters import Indices

Mask = NDArray[np.bool_] | slice

NOTHING = slice(0)
"""The mask that keeps no corner."""

EVERYTHING = slice(None)
"""The mask that keeps every corner."""


@dataclass(frozen=True, eq=False)
class PhotoCorners:
    """One photo's corners as arrays.

    Attributes
    ----------
    camera, level : int
        Index of its camera and of its raised height.
    card, corner : ndarray of int, shape (N,)
        Index of the card and of the corner on it.
    card_pixels : ndarray, shape (N, 2), photo px
    pattern : ndarray of int, shape (M,)
        Index of the pattern's corner.
    pattern_pixels : ndarray, shape (M, 2), photo px
    """

    camera: int
    level: int
    card: Indices
    corner: Indices
    card_pixels: Points
    pattern: Indices
    pattern_pixels: Points

    @classmethod
    def of(
        cls, observation: PhotoObservation, camera: int, level: int, names: dict[str, int]
    ) -> PhotoCorners:
        """Gather a photo's corners; `names` tells each card's index."""
        cards = [corner for corner in observation.cards if corner.board in names]
        return cls(
            camera,
            level,
            np.array([names[corner.board] for corner in cards], dtype=np.intp),
            _indices(cards),
            as_points([corner.pixel for corner in cards]),
            _indices(observation.pattern),
            as_points([corner.pixel for corner in observation.pattern]),
        )

    def part(self, cards: Mask, pattern: Mask) -> PhotoCorners:
        """Return the corners that the masks keep."""
        return PhotoCorners(
            self.camera,
            self.level,
            self.card[cards],
            self.corner[cards],
            self.card_pixels[cards],
            self.pattern[pattern],
            self.pattern_pixels[pattern],
        )


def _indices(corners: Sequence[Corner]) -> Indices:
    return np.array([corner.index for corner in corners], dtype=np.intp)
