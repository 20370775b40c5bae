"""The printed cards in a photo: their corners, and where they lie on the platen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration import channels, homography
from calibration.board import Family
from calibration.cards import SQUARES, Card
from calibration.corners import align, reduce, refine, working_step
from calibration.geometry import Points
from calibration.markers import Marker, Sighting, find_markers, sight

SEARCH_SIDE = 1900
"""Longer side, px, to which a photo is reduced to look for markers: a 1080p webcam's."""

LEAST_CORNERS = 4
"""Corners that make a card: fewer do not fix where it lies."""

_LEAST_MARKERS = 2
_LEAST_AGREEMENT = 0.75  # correlation of a corner's surroundings with the card's picture
_STRAY = 3.5  # times the card's own scatter
_LEAST_STRAY = 0.35  # px at the working scale


@dataclass(frozen=True, eq=False)
class FoundCard:
    """One card seen.

    Attributes
    ----------
    card : Card
    indices : ndarray of int, shape (N,)
        Its corners that were seen, rising.
    pixels : ndarray, shape (N, 2)
        Where, photo px.
    photo_from_board : ndarray, shape (3, 3)
        Modules of the card's board to photo px.
    """

    card: Card
    indices: NDArray[np.intp]
    pixels: Points
    photo_from_board: homography.Homography


@dataclass(frozen=True, eq=False)
class CardSearch:
    """What the search for cards brought.

    Attributes
    ----------
    found : mapping of name to FoundCard
    markers : tuple of Marker
        All markers of the cards' family that were read, also of wrong cards.
    square : float or None
        Side of the squares of the cards in the photo, mm, as their ids tell.
    """

    found: Mapping[str, FoundCard]
    markers: tuple[Marker, ...]
    square: float | None


def find_cards(image: NDArray[np.uint8], cards: Sequence[Card]) -> CardSearch:
    """Look for cards in a BGR photo, by several views of it until all are found.

    Nothing is refused here: what is missing or odd is for `detect` to say.
    """
    found: dict[str, FoundCard] = {}
    markers: list[Marker] = []
    square: float | None = None
    for view, scale in _searches(image):
        read = find_markers(view, Family.TAG_16H5, scale)
        markers += read
        square = _square(cards, markers) or square
        if square != cards[0].square:
            continue
        for card in cards:
            sighting = sight(card.board, read)
            if sighting is None or len(sighting.markers) < _LEAST_MARKERS:
                continue
            seen = _locate(view, card, sighting)
            if seen is not None and len(seen.indices) > _count(found.get(card.name)):
                found[card.name] = seen
        if all(_count(found.get(card.name)) >= 2 * LEAST_CORNERS for card in cards):
            break
    return CardSearch(found, tuple(markers), square)


def _count(found: FoundCard | None) -> int:
    return 0 if found is None else len(found.indices)


def search_scale(image: NDArray[np.uint8]) -> float:
    """Return the scale at which a photo is searched for markers."""
    return min(1.0, SEARCH_SIDE / float(max(image.shape[:2])))


def _searches(image: NDArray[np.uint8]) -> Iterator[tuple[NDArray[np.uint8], float]]:
    """Yield views and scales, the likeliest and quickest first."""
    scale = search_scale(image)
    red = channels.red(image)
    yield red, scale
    yield channels.grey(image), scale
    yield red, 2 * scale
    ink = channels.ink(image)
    yield ink, scale
    yield ink, 2 * scale


def _square(cards: Sequence[Card], markers: Sequence[Marker]) -> float | None:
    """Return the size of squares whose arrangement of ids most markers fit, or None."""
    support: dict[float, int] = {}
    for square in (cards[0].square, *SQUARES):
        sightings = [sight(replace(card, square=square).board, markers) for card in cards]
        support[square] = sum(
            len(s.markers) for s in sightings if s is not None and len(s.markers) >= _LEAST_MARKERS
        )
        if square == cards[0].square and support[square] > 3 * len(cards):
            return square
    best = max(support, key=lambda square: support[square])
    return best if support[best] else None


def _locate(view: NDArray[np.uint8], card: Card, sighting: Sighting) -> FoundCard | None:
    """Return the card's corners to sub-pixel accuracy, or None if too few are there."""
    board = card.board
    step = working_step(board, sighting)
    reduced = reduce(view, step)
    # Pixel centres: p of the photo is (p + 1/2) / step - 1/2 of the reduced picture.
    shift = 0.5 / step - 0.5
    matrix = np.array([[1 / step, 0, shift], [0, 1 / step, shift], [0, 0, 1.0]])
    matrix = matrix @ sighting.photo_from_board
    kept = np.arange(len(board.corners))
    pixels, seen = refine(reduced, lambda p: homography.apply(matrix, p), board, kept)
    kept, pixels = kept[seen], pixels[seen]
    fitted = _agreeing(board.corners[kept], pixels)
    if fitted is None:
        return None
    matrix, inliers = fitted
    kept, pixels = kept[inliers], pixels[inliers]
    pixels, agreement = align(reduced, lambda p: homography.apply(matrix, p), board, kept, pixels)
    good = agreement > _LEAST_AGREEMENT
    kept, pixels = kept[good], (pixels[good] + 0.5) * step - 0.5
    fitted = _agreeing(board.corners[kept], pixels)
    if fitted is None:
        return None
    matrix, inliers = fitted
    return FoundCard(card, kept[inliers], pixels[inliers], matrix)


def _agreeing(
    places: Points, pixels: Points
) -> tuple[homography.Homography, NDArray[np.bool_]] | None:
    """Return the homography that most corners share, and which they are, or None."""
    good = np.ones(len(places), bool)
    while good.sum() >= LEAST_CORNERS:
        try:
            matrix = homography.fit(places[good], pixels[good])
        except homography.DegeneratePointsError:
            return None
        miss = np.linalg.norm(homography.apply(matrix, places) - pixels, axis=1)
        limit = max(_LEAST_STRAY, _STRAY * float(np.median(miss[good])))
        worst = int(np.argmax(np.where(good, miss, -1.0)))
        if miss[worst] <= limit:
            return matrix, good
        good[worst] = False
    return None
