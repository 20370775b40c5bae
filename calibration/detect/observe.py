"""From a photo to observations, or to one sentence that says why not.

The questions are asked in this order, so that the first answer is the one that helps:
are the cards there, are they the right ones, do they lie right, is the pattern there,
is it the right one, is enough of it seen all over the platen.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect import diagnose
from calibration.detect.cards import FoundCard, find_cards, measure_again
from calibration.detect.corners import reduce
from calibration.detect.pattern import find_pattern
from calibration.detect.plane_view import LensView
from calibration.detect.same_viewpoint import check_still
from calibration.geometry import Points, rectangle, resample
from calibration.observations import Corner, PhotoObservation
from calibration.photo import channels
from calibration.photo.read import Photo
from calibration.refusal import Refusal
from calibration.targets.cards import Card
from calibration.targets.pattern import Pattern

CLEARANCE = 9.0
"""Distance from a card's or the platen's edge, mm, within which light is not trusted:
the patch around a corner would reach over the edge, where the light falls elsewhere."""

_CROSS_TALK_PIXELS, _COARSE = 500_000, 8


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
        still lie there: by them it is told whether the camera stood still.

    Returns
    -------
    PhotoObservation
        Corners ordered by card and index, px of the upright photo.

    Raises
    ------
    Refusal
        One sentence: what is wrong with the photo, where, what to do.
    """
    lit = photo if pattern_photo is None else pattern_photo
    if lit.size != photo.size:
        raise Refusal(
            f"{lit.name} and {photo.name} differ in size: take both with the same camera from the "
            "same place."
        )
    search = find_cards(photo.image, cards)
    diagnose.check_cards(photo, cards, search)
    found = [search.found[card.name] for card in cards]
    view = diagnose.check_lie(photo, found)
    if pattern_photo is not None:
        check_still(photo, lit, found, view)
    talk = _cross_talk(photo.image, view, found)
    found = [measure_again(photo.image, card, view, talk) for card in found]
    corners = tuple(
        Corner(card.card.name, int(index), (float(x), float(y)))
        for card in found
        for index, (x, y) in zip(card.indices, card.pixels, strict=True)
    )
    light: tuple[Corner, ...] = ()
    if pattern is not None:
        light = _pattern_corners(lit, pattern, found, view)
    return PhotoObservation(
        name=photo.name,
        size=photo.size,
        camera=photo.camera,
        focal_hint=photo.focal_hint,
        raised=raised,
        cards=corners,
        pattern=light,
    )


def _pattern_corners(
    photo: Photo, pattern: Pattern, found: Sequence[FoundCard], view: LensView
) -> tuple[Corner, ...]:
    half = platen_outline(found).max(axis=0)
    area = view.photo_from_plane(resample(platen_outline(found) * 1.02, 40.0, closed=True))
    search = find_pattern(
        photo.image, pattern, area, lambda p: bare(view.plane_from_photo(p), found)
    )
    places = view.plane_from_photo(search.pixels) / half
    diagnose.check_pattern(photo, pattern, search, places, _free_zones(found), found, view)
    return tuple(
        Corner("pattern", int(index), (float(x), float(y)))
        for index, (x, y) in zip(search.indices, search.pixels, strict=True)
    )


def _cross_talk(image: NDArray[np.uint8], view: LensView, found: Sequence[FoundCard]) -> float:
    """Measure on the bare platen how much of the pattern the red channel sees."""
    step = max(1, round(float(np.sqrt(image.shape[0] * image.shape[1] / _CROSS_TALK_PIXELS))))
    small = reduce(image, step)
    y, x = np.mgrid[: small.shape[0] : _COARSE, : small.shape[1] : _COARSE]
    pixels = (np.column_stack([x.ravel(), y.ravel()]) + 0.5) * step - 0.5
    clear = bare(view.plane_from_photo(pixels), found).reshape(x.shape)
    area = cv2.resize(clear.astype(np.uint8), small.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    return channels.cross_talk(small, area > 0)


def platen_outline(found: Sequence[FoundCard]) -> Points:
    """Return the rectangle that the cards' outer edges span, platen mm, shape (N, 2)."""
    edges = np.vstack([card.card.outline() for card in found])
    width, depth = np.ptp(edges, axis=0)
    return rectangle(float(width), float(depth), 0.0)


def bare(places: Points, found: Sequence[FoundCard]) -> NDArray[np.bool_]:
    """Return which platen points, mm, lie clear of the platen's edge and of every card."""
    half = platen_outline(found).max(axis=0) - CLEARANCE
    clear: NDArray[np.bool_] = (np.abs(places) < half).all(axis=1)
    for card in found:
        reach = card.card.size / 2 + CLEARANCE
        clear &= (np.abs(places - card.card.centre) > reach).any(axis=1)
    return clear


def _free_zones(found: Sequence[FoundCard]) -> NDArray[np.bool_]:
    """Return which thirds of the platen are at least a quarter bare, back row first, (3, 3)."""
    half = platen_outline(found).max(axis=0)
    steps = (np.arange(30) + 0.5) / 15 - 1.0
    x, y = np.meshgrid(steps * half[0], steps * half[1])
    clear = bare(np.column_stack([x.ravel(), y.ravel()]), found).reshape(3, 10, 3, 10)
    return np.asarray(clear.mean(axis=(1, 3))[::-1] > 0.25)
