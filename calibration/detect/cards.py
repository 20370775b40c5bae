"""The printed cards in a photo: their corners, and where they lie on the platen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.detect.corners import align, reduce, refine, working_step
from calibration.detect.markers import FoundCharuco, Marker, find_charuco, find_markers
from calibration.detect.plane_view import LensView
from calibration.geometry import Points
from calibration.model import homography
from calibration.photo import channels
from calibration.targets.cards import SQUARES, Card
from calibration.targets.charuco import Family

SEARCH_SIDE = 1920
"""Longer side, px, to which a photo is reduced to look for markers: a 1080p webcam's."""

LEAST_CORNERS = 4
"""Corners that a card must show: fewer do not fix where it lies."""

_LEAST_MARKERS = 2
_NO_CROSS_TALK = 0.02
_LEAST_AGREEMENT = 0.75  # correlation of a corner's surroundings with the card's picture
_OUTLIER = 3.5  # times the card's own scatter
_LEAST_OUTLIER = 0.35  # px at the working scale


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
    photo_from_charuco : ndarray, shape (3, 3)
        Modules of the card's chessboard to photo px.
    """

    card: Card
    indices: NDArray[np.intp]
    pixels: Points
    photo_from_charuco: homography.Homography


@dataclass(frozen=True, eq=False)
class CardSearch:
    """What a search for cards found.

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

    Nothing is refused here: `diagnose` says what is missing or wrong.
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
            located = find_charuco(card.charuco, read)
            if located is None or len(located.markers) < _LEAST_MARKERS:
                continue
            seen = _locate(view, card, located)
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
    yield channels.equalised(red), scale
    yield red, 2 * scale
    yield channels.equalised(channels.grey(image)), scale


def _square(cards: Sequence[Card], markers: Sequence[Marker]) -> float | None:
    """Return the size of squares whose arrangement of ids most markers fit, or None."""
    support: dict[float, int] = {}
    for square in (cards[0].square, *SQUARES):
        located = [find_charuco(replace(card, square=square).charuco, markers) for card in cards]
        support[square] = sum(
            len(s.markers) for s in located if s is not None and len(s.markers) >= _LEAST_MARKERS
        )
        if square == cards[0].square and support[square] > 3 * len(cards):
            return square
    best = max(support, key=lambda square: support[square])
    return best if support[best] else None


def _locate(view: NDArray[np.uint8], card: Card, located: FoundCharuco) -> FoundCard | None:
    """Return the card's corners to sub-pixel accuracy, or None if too few are there."""
    charuco = card.charuco
    side = float(np.median([marker.side for marker in located.markers]))
    step = working_step(side / (charuco.family.bits + 2))
    reduced = reduce(view, step)
    # Pixel centres: p of the photo is (p + 1/2) / step - 1/2 of the reduced picture.
    shift = 0.5 / step - 0.5
    matrix = np.array([[1 / step, 0, shift], [0, 1 / step, shift], [0, 0, 1.0]])
    matrix = matrix @ located.photo_from_charuco
    kept = np.arange(len(charuco.corners))
    pixels, seen = refine(reduced, lambda p: homography.apply(matrix, p), charuco, kept)
    kept, pixels = kept[seen], pixels[seen]
    fitted = _agreeing(charuco.corners[kept], pixels)
    if fitted is None:
        return None
    matrix, inliers = fitted
    kept, pixels = kept[inliers], pixels[inliers]
    pixels, agreement = align(reduced, lambda p: homography.apply(matrix, p), charuco, kept, pixels)
    good = agreement > _LEAST_AGREEMENT
    kept, pixels = kept[good], (pixels[good] + 0.5) * step - 0.5
    fitted = _agreeing(charuco.corners[kept], pixels)
    if fitted is None:
        return None
    matrix, inliers = fitted
    return FoundCard(card, kept[inliers], pixels[inliers], matrix)


def measure_again(
    image: NDArray[np.uint8], found: FoundCard, lens: LensView, cross_talk: float, margin: int = 12
) -> FoundCard:
    """Return a card with its corners measured through the lens, the pattern's light divided out.

    A card's own homography leaves out the lens, which in a webcam's photo shifts a corner's
    patch by a hundredth of a pixel or two, always towards the photo's middle.

    Parameters
    ----------
    image : ndarray, shape (height, width, 3), uint8
        BGR.
    found : FoundCard
    lens : LensView
        How the photo shows the platen.
    cross_talk : float
        As `channels.cross_talk` measures it.
    margin : int
        Photo px around the card that are looked at, at the working scale.
    """
    charuco = found.card.charuco
    edge = float(charuco.columns * charuco.square)
    corners = np.array([[0.0, 0.0], [edge, 0.0], [edge, edge], [0.0, edge]])
    card_view = lens.through_same_lens(charuco.corners[found.indices], found.pixels)
    outline = card_view.photo_from_plane(corners)
    side = float(np.linalg.norm(np.diff(outline, axis=0), axis=1).min()) / edge
    step = working_step(side)
    height, width = image.shape[:2]
    low = np.clip(np.floor(outline.min(axis=0)) - margin * step, 0, [width, height]).astype(int)
    high = np.clip(np.ceil(outline.max(axis=0)) + margin * step, 0, [width, height]).astype(int)
    part = reduce(image[low[1] : high[1], low[0] : high[0]], step)
    view = channels.red(part) if cross_talk < _NO_CROSS_TALK else channels.ink(part, cross_talk)

    def into_part(pixels: Points) -> Points:
        return np.asarray((pixels - low + 0.5) / step - 0.5)

    pixels, agreement = align(
        view,
        lambda p: into_part(card_view.photo_from_plane(p)),
        charuco,
        found.indices,
        into_part(found.pixels),
    )
    good = agreement > _LEAST_AGREEMENT
    kept, pixels = found.indices[good], (pixels[good] + 0.5) * step - 0.5 + low
    fitted = _agreeing(charuco.corners[kept], pixels)
    if fitted is None or fitted[1].sum() < len(found.indices):
        return found
    return FoundCard(found.card, kept, pixels, fitted[0])


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
        limit = max(_LEAST_OUTLIER, _OUTLIER * float(np.median(miss[good])))
        worst = int(np.argmax(np.where(good, miss, -1.0)))
        if miss[worst] <= limit:
            return matrix, good
        if not good[worst]:
            return None  # no distance is a number
        good[worst] = False
    return None
