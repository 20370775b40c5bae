"""From a photo to observations, or to one sentence that says why not: measured, then judged."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from calibration.detect.diagnose import judge
from calibration.detect.measure import Measurements
from calibration.geometry import Points
from calibration.observations import Corner, PhotoObservation
from calibration.photo.read import Photo
from calibration.targets.cards import Card
from calibration.targets.pattern import Pattern


def observe(
    photo: Photo,
    cards: Sequence[Card],
    pattern: Pattern | None,
    raised: float = 0.0,
    *,
    pattern_photo: Photo | None = None,
) -> PhotoObservation:
    """Find the cards' and the pattern's corners in a photo.

    Parameters
    ----------
    photo : Photo
    cards : sequence of Card
        As `cards.layout` gives them for the platen.
    pattern : Pattern or None
        None if the photo shows cards only.
    raised : float
        Height of the surface on which cards and pattern lie above the bare platen, mm.
    pattern_photo : Photo, optional
        A second photo, taken from exactly the same place (a camera on a stand), that
        shows the pattern, while `photo` shows the cards under plain light. The cards must
        still lie there: they tell whether the camera stood still.

    Returns
    -------
    PhotoObservation
        Corners ordered by card and index, px of the upright photo.

    Raises
    ------
    Refusal
        One sentence: what is wrong with the photo, where, what to do.
    """
    seen = Measurements(photo, pattern_photo or photo, tuple(cards), pattern)
    refusal = judge(seen)
    if refusal is not None:
        raise refusal
    light = None if pattern is None else seen.pattern_search
    return PhotoObservation(
        name=photo.name,
        size=photo.size,
        camera=photo.camera,
        focal_hint=photo.focal_hint,
        raised=raised,
        cards=tuple(
            corner
            for card in seen.refined
            for corner in _corners(card.card.name, card.indices, card.pixels)
        ),
        pattern=() if light is None else _corners("pattern", light.indices, light.pixels),
        # On a board it is the board's edges that show, and nobody knows its size.
        edges=() if raised else seen.edges,
    )


def _corners(board: str, indices: Iterable[int], pixels: Points) -> tuple[Corner, ...]:
    return tuple(
        Corner(board, int(index), (float(x), float(y)))
        for index, (x, y) in zip(indices, pixels, strict=True)
    )
