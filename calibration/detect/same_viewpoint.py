"""Whether the camera stood still between two photos that are to count as one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.detect.cards import FoundCard, find_cards
from calibration.detect.plane_view import LensView
from calibration.photo.read import Photo

_LEAST_CORNERS = 4


def card_shifts(other: Photo, found: Sequence[FoundCard], view: LensView) -> dict[str, float]:
    """Return how far each card seems to have moved in another photo from the same place, mm.

    Parameters
    ----------
    other : Photo
    found : sequence of FoundCard
        The cards in the first photo.
    view : LensView
        How the first photo shows the platen's plane.

    Returns
    -------
    dict of card name to mm on the platen
        Without cards of which too few corners are seen in both photos.
    """
    again = find_cards(other.image, [card.card for card in found]).found
    shifts = {}
    for card in found:
        twin = again.get(card.card.name)
        if twin is None:
            continue
        _, first, second = np.intersect1d(card.indices, twin.indices, return_indices=True)
        if len(first) >= _LEAST_CORNERS:
            one, two = (
                view.plane_from_photo(pixels)
                for pixels in (card.pixels[first], twin.pixels[second])
            )
            shifts[card.card.name] = float(np.median(np.linalg.norm(two - one, axis=1)))
    return shifts
