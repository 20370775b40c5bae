"""What is measured in a photo before it is judged: markers, cards, their layout, the pattern."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect import card_layout, same_viewpoint
from calibration.detect.card_layout import CardLayout
from calibration.detect.cards import CardSearch, FoundCard, find_cards, measure_again
from calibration.detect.corners import reduce
from calibration.detect.edges import find_edges
from calibration.detect.pattern import PatternSearch, find_pattern
from calibration.geometry import Points, rectangle, resample
from calibration.observations import EdgePoint
from calibration.photo import channels
from calibration.photo.read import Photo
from calibration.targets.cards import Card
from calibration.targets.pattern import Pattern

CLEARANCE = 9.0
"""Distance from a card's or the platen's edge, mm, within which light is not trusted:
the patch around a corner would reach over the edge, where the light falls elsewhere."""

_CROSS_TALK_PIXELS, _COARSE = 500_000, 8
_MARGIN = 1.02  # the pattern is looked for a little beyond the platen's outline


@dataclass(frozen=True, eq=False)
class Measurements:
    """Everything that is measured in a photo, or in two from the same place.

    Each part rests on those above it: the layout on the cards, the pattern on the layout. A
    part is measured when it is first asked for, so nothing is measured that rests on a fault:
    `diagnose.judge` asks in this order, and stops at the first fault.

    Attributes
    ----------
    photo : Photo
        Shows the cards.
    pattern_photo : Photo
        Shows the pattern; usually the same photo.
    cards : tuple of Card
        As they should lie.
    pattern : Pattern or None
        None if only cards are looked for.
    """

    photo: Photo
    pattern_photo: Photo
    cards: tuple[Card, ...]
    pattern: Pattern | None

    @cached_property
    def card_search(self) -> CardSearch:
        """The cards' markers, and the cards that were found by them."""
        return find_cards(self.photo.image, self.cards)

    @property
    def found(self) -> tuple[FoundCard, ...]:
        """The cards that were found, in the order of `cards`."""
        found = self.card_search.found
        return tuple(found[card.name] for card in self.cards if card.name in found)

    @property
    def missing(self) -> tuple[Card, ...]:
        """The cards that were not found."""
        return tuple(card for card in self.cards if card.name not in self.card_search.found)

    @cached_property
    def layout(self) -> CardLayout:
        """Where the cards lie and how the photo shows the platen; needs two cards."""
        return card_layout.measure(self.found, self.photo.size)

    @cached_property
    def card_shifts(self) -> Mapping[str, float]:
        """How far each card seems to have moved between the two photos, mm, by name."""
        return same_viewpoint.card_shifts(self.pattern_photo, self.found, self.layout.view)

    @cached_property
    def refined(self) -> tuple[FoundCard, ...]:
        """The cards with their corners measured again, through the lens; needs all cards."""
        view, cross_talk = self.layout.view, self._cross_talk()
        return tuple(measure_again(self.photo.image, card, view, cross_talk) for card in self.found)

    @cached_property
    def pattern_search(self) -> PatternSearch:
        """The pattern's markers, and its corners on the bare platen; needs all cards."""
        assert self.pattern is not None  # asked for only where there is one
        view = self.layout.view
        outline = platen_outline(self.cards) * _MARGIN
        return find_pattern(
            self.pattern_photo.image,
            self.pattern,
            view.photo_from_plane(resample(outline, 40.0, closed=True)),
            lambda pixels: bare(view.plane_from_photo(pixels), self.cards),
        )

    @cached_property
    def edges(self) -> tuple[EdgePoint, ...]:
        """Points on the platen's own edges; needs all cards."""
        outline = platen_outline(self.cards)
        return find_edges(self.photo.image, self.layout.view, self.cards, outline)

    @cached_property
    def lit_zones(self) -> NDArray[np.bool_]:
        """Which thirds of the platen show corners of the pattern, back row first, (3, 3)."""
        half = platen_outline(self.cards).max(axis=0)
        places = self.layout.view.plane_from_photo(self.pattern_search.pixels) / half
        column, row = np.clip(((places + 1) * 1.5).astype(int), 0, 2).T
        lit = np.zeros((3, 3), bool)
        lit[2 - row, column] = True
        return lit

    @cached_property
    def free_zones(self) -> NDArray[np.bool_]:
        """Which thirds of the platen are at least a quarter bare, back row first, (3, 3)."""
        half = platen_outline(self.cards).max(axis=0)
        steps = (np.arange(30) + 0.5) / 15 - 1.0
        x, y = np.meshgrid(steps * half[0], steps * half[1])
        clear = bare(np.column_stack([x.ravel(), y.ravel()]), self.cards).reshape(3, 10, 3, 10)
        return np.asarray(clear.mean(axis=(1, 3))[::-1] > 0.25)

    def _cross_talk(self) -> float:
        """Measure on the bare platen how much of the pattern the red channel sees."""
        image = self.photo.image
        step = max(1, round(float(np.sqrt(image.shape[0] * image.shape[1] / _CROSS_TALK_PIXELS))))
        small = reduce(image, step)
        y, x = np.mgrid[: small.shape[0] : _COARSE, : small.shape[1] : _COARSE]
        pixels = (np.column_stack([x.ravel(), y.ravel()]) + 0.5) * step - 0.5
        clear = bare(self.layout.view.plane_from_photo(pixels), self.cards).reshape(x.shape)
        size = small.shape[1::-1]
        area = cv2.resize(clear.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        return channels.cross_talk(small, area > 0)


def platen_outline(cards: Sequence[Card]) -> Points:
    """Return the rectangle that the cards' outer edges span, platen mm, shape (4, 2)."""
    edges = np.vstack([card.outline() for card in cards])
    width, depth = np.ptp(edges, axis=0)
    return rectangle(float(width), float(depth), 0.0)


def bare(points: Points, cards: Sequence[Card]) -> NDArray[np.bool_]:
    """Return which platen points, mm, lie clear of the platen's edge and of every card."""
    half = platen_outline(cards).max(axis=0) - CLEARANCE
    clear: NDArray[np.bool_] = (np.abs(points) < half).all(axis=1)
    for card in cards:
        half_side = card.size / 2 + CLEARANCE
        clear &= (np.abs(points - card.centre) > half_side).any(axis=1)
    return clear
