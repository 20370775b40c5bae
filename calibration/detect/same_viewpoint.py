"""Whether the camera stood still between two photos that are to count as one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.detect.cards import FoundCard, find_cards
from calibration.detect.plane_view import LensView
from calibration.photo.read import Photo
from calibration.refusal import Refusal

STILL = 0.15
"""How far a card may seem to move between the two, mm on the platen. The pattern's corners
would be off from the cards' by as much; a sharp 1080p photo scatters by a third of it."""

_LEAST_CARDS, _LEAST_CORNERS = 2, 4


def check_still(plain: Photo, lit: Photo, found: Sequence[FoundCard], view: LensView) -> None:
    """Raise a `Refusal` unless the cards are seen at the same place in both photos.

    Parameters
    ----------
    plain : Photo
        Of the cards under plain light.
    lit : Photo
        Of the pattern, from the same place.
    found : sequence of FoundCard
        The cards of `plain`.
    view : LensView
        How `plain` shows the platen's plane.
    """
    again = find_cards(lit.image, [card.card for card in found]).found
    moved = {}
    for card in found:
        other = again.get(card.card.name)
        if other is None:
            continue
        _, mine, theirs = np.intersect1d(card.indices, other.indices, return_indices=True)
        if len(mine) >= _LEAST_CORNERS:
            one, two = (
                view.plane_from_photo(pixels)
                for pixels in (card.pixels[mine], other.pixels[theirs])
            )
            moved[card.card.name] = float(np.median(np.linalg.norm(two - one, axis=1)))
    if len(moved) < _LEAST_CARDS:
        raise Refusal(
            f"Too little of the cards is seen in {lit.name} to tell that the camera stood still "
            f"after {plain.name}: leave the cards and some room light on while the pattern is "
            "shown, and take both photos again."
        )
    name = max(moved, key=lambda each: moved[each])
    if moved[name] > STILL:
        raise Refusal(
            f"The camera or a card moved between {plain.name} and {lit.name} (by "
            f"{moved[name]:.1f} mm at the {name} card): put the camera on a stand, touch nothing "
            "and take both photos again."
        )
