"""The judge of a photo: the one fault that is told, as a sentence of what, where and what to do.

Faults are looked for in the order in which one causes another, so that the first one found is
the one to put right: are the cards there, are they the right ones, do they lie right, did the
camera stand still, is the pattern there, is it the right one, is enough of it seen all over the
platen. What caused a fault is looked for in the photo only once there is one.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect import diagnose_layout
from calibration.detect.cards import CardSearch, FoundCard, search_scale
from calibration.detect.markers import Marker, find_charuco, find_markers
from calibration.detect.measure import Measurements, platen_outline
from calibration.detect.pattern import ENOUGH_MARKERS
from calibration.detect.plane_view import LensView
from calibration.photo import channels
from calibration.photo.read import Photo
from calibration.photo.sharpness import LARGEST_BLUR, edge_blur, is_blurred
from calibration.refusal import Refusal
from calibration.targets.cards import Card
from calibration.targets.charuco import Family
from calibration.targets.pattern import COMMON_SIZES, Pattern

LEAST_CORNERS = 16
"""Pattern corners on the bare platen, twice what a homography with a lens needs."""

LEAST_ZONES = 5
"""Of the 3 x 3 zones of the platen, how many must show pattern: the middle cross. The
corner zones are mostly under the cards."""

_SHARE_THAT_FITS = 0.5
_DARK, _GLARE, _WASHED_OUT = 60, 250, 0.15
_LEAST_MODULE = 2.1  # px: below that markers cannot be read reliably
_TOO_DARK = "{} is too dark: put on the room light and take it again."
_TOO_BRIGHT = "{} is washed out: lower the exposure or the lamp and take it again."
_MISFIT = 1.0  # px, for each 1000 px of the photo's longer side

STILL = 0.15
"""How far a card may seem to move between two photos that count as one, mm on the platen. The
pattern's corners would be off from the cards' by as much; a sharp 1080p photo scatters by a third
of it."""

_LEAST_CARDS = 2  # of which movement between two photos must be told


def judge(seen: Measurements) -> Refusal | None:
    """Return the refusal of a photo that cannot be used, or None."""
    said = (
        _other_size_of_photo(seen)
        or _cards(seen)
        or _layout(seen)
        or _movement(seen)
        or _pattern(seen)
    )
    return None if said is None else Refusal(said)


def _other_size_of_photo(seen: Measurements) -> str | None:
    """Say that two photos from one place differ in size, or return None."""
    if seen.pattern_photo.size == seen.photo.size:
        return None
    return (
        f"{seen.pattern_photo.name} and {seen.photo.name} differ in size: take both with the same "
        "camera from the same place."
    )


def _cards(seen: Measurements) -> str | None:
    """Say which cards are not seen, or that they are of the wrong kind, or return None."""
    photo, search, missing = seen.photo, seen.card_search, seen.missing
    asked = seen.cards[0]
    if search.square is not None and search.square != asked.square:
        size = asked.size * search.square / asked.square
        return (
            f"The cards in {photo.name} are the {size:.0f} mm ones, but this platen needs those of "
            f"{asked.size:.0f} mm: give the size of the platen they were printed for, or print the "
            "cards for this one."
        )
    if not missing:
        return None
    if len(missing) == len(seen.cards):
        return _nothing_seen(photo)
    twice = _card_seen_twice(search)
    if twice is not None:
        return (
            f"{photo.name} shows two {twice} cards and no {missing[0].name} card: lay one card of "
            "each number."
        )
    view = seen.layout.view if len(seen.found) > 1 else None
    said = _cut_off(photo, missing, view) or _poor(photo, seen.found)
    if said is None and len(missing) > 1:
        said = _too_small(photo, missing, view)
    if said is None and view is not None and len(missing) == 1:
        said = _one_missing(photo, missing[0], view)
    return said or (
        f"The {_named(missing)} are not seen in {photo.name}: lay all four cards, hold the "
        "camera still where the platen fills the picture, and keep glare and shadow off the cards."
    )


def _layout(seen: Measurements) -> str | None:
    """Say how the cards lie wrong, or return None."""
    if seen.layout.misfit > _MISFIT * max(seen.photo.size) / 1000:
        return (
            f"{seen.photo.name} does not show four flat cards on one flat platen: flatten the "
            "cards, and send the photo as the camera took it, no panorama and not edited."
        )
    fault = diagnose_layout.fault(seen.layout.poses, seen.cards)
    return None if fault is None else f"In {seen.photo.name} {fault}"


def _movement(seen: Measurements) -> str | None:
    """Say that the camera or a card moved between two photos from one place, or return None."""
    plain, lit = seen.photo, seen.pattern_photo
    if plain is lit:
        return None
    shifts = seen.card_shifts
    if len(shifts) < _LEAST_CARDS:
        return (
            f"Too little of the cards is seen in {lit.name} to tell that the camera stood still "
            f"after {plain.name}: leave the cards and some room light on while the pattern is "
            "shown, and take both photos again."
        )
    name = max(shifts, key=lambda each: shifts[each])
    if shifts[name] <= STILL:
        return None
    return (
        f"The camera or a card moved between {plain.name} and {lit.name} (by "
        f"{shifts[name]:.1f} mm at the {name} card): put the camera on a stand, touch nothing "
        "and take both photos again."
    )


def _pattern(seen: Measurements) -> str | None:
    """Say that too little of the right pattern is seen, or where it is not, or return None."""
    if seen.pattern is None:
        return None
    photo, count = seen.pattern_photo, len(seen.pattern_search.indices)
    if count == 0:
        wrong = _wrong_pattern(photo, seen.pattern, seen.pattern_search.markers)
        return wrong or _poor_light(seen) or _no_pattern(photo)
    if count < LEAST_CORNERS:
        return _poor_light(seen) or _too_few(photo, seen.pattern, count)
    free, lit = seen.free_zones, seen.lit_zones
    empty = [_ZONES[r][c] for r in range(3) for c in range(3) if free[r, c] and not lit[r, c]]
    if not empty or int(lit.sum()) >= min(LEAST_ZONES, int(free.sum())):
        return None
    return _poor_light(seen) or (
        f"The pattern is not seen at the platen's {_listed(empty)} in {photo.name}: let the "
        "projector reach all of the platen, and take away what shades or covers it."
    )


def _named(cards: Sequence[Card]) -> str:
    """Return the names of cards: "front-left card", "front-left and back-left cards"."""
    return _listed([card.name for card in cards]) + (" card" if len(cards) == 1 else " cards")


def _cut_off(photo: Photo, missing: Sequence[Card], view: LensView | None) -> str | None:
    """Say which cards reach over the photo's edge, or return None."""
    if view is None:
        return None
    last = np.array(photo.size) - 1
    outlines = [view.photo_from_plane(card.outline()) for card in missing]
    over = [
        card
        for card, outline in zip(missing, outlines, strict=True)
        if not ((outline > 0) & (outline < last)).all()
    ]
    if not over:
        return None
    return (
        f"The {_named(over)} {'is' if len(over) == 1 else 'are'} cut off by the edge of "
        f"{photo.name}: step back or turn the camera so that the whole platen is in the picture."
    )


def _nothing_seen(photo: Photo) -> str:
    mirrored = np.ascontiguousarray(photo.image[:, ::-1])
    if _count(mirrored, Family.TAG_16H5) >= ENOUGH_MARKERS:
        return (
            f"{photo.name} is mirrored left to right: switch off mirroring in the camera, or use "
            "its back camera."
        )
    return _poor(photo) or (
        f"No cards are seen in {photo.name}: lay the four printed cards on the platen's corners "
        "and take a photo in which the whole platen fills the picture."
    )


def _too_small(photo: Photo, missing: Sequence[Card], view: LensView | None) -> str | None:
    """Say which cards are too small to be read, or return None."""
    if view is None:
        return None
    outlines = [view.photo_from_plane(card.outline()) for card in missing]
    modules = [
        np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1).min()
        * (card.module / card.size)
        for card, outline in zip(missing, outlines, strict=True)
    ]
    small = [card for card, px in zip(missing, modules, strict=True) if px < _LEAST_MODULE]
    if not small:
        return None
    return (
        f"The {_named(small)} {'is' if len(small) == 1 else 'are'} too small in {photo.name}: go "
        "nearer and higher, and hold the camera so that the platen's longer side lies along the "
        "picture's."
    )


def _poor(photo: Photo, found: Sequence[FoundCard] = ()) -> str | None:
    """Return what is wrong with the photo all over, or None; `found` are the cards seen in it."""
    grey = channels.grey(photo.image)
    if np.percentile(grey, 95) < _DARK:
        return _TOO_DARK.format(photo.name)
    if (photo.image.min(axis=2) >= _GLARE).mean() > _WASHED_OUT:
        return _TOO_BRIGHT.format(photo.name)
    red = channels.red(photo.image)
    blurs = [edge_blur(red, card.photo_from_charuco, card.card.charuco) for card in found]
    if max(blurs, default=0.0) > LARGEST_BLUR or is_blurred(grey):
        return f"{photo.name} is blurred: rest the camera on something firm and take it again."
    return None


def _count(image: NDArray[np.uint8], family: Family) -> int:
    return len(find_markers(channels.grey(image), family, search_scale(image)))


def _card_seen_twice(search: CardSearch) -> str | None:
    """Return the name of a card that lies in the photo twice, or None."""
    for name, found in search.found.items():
        middle = found.photo_from_charuco @ [16.0, 16.0, 1.0]
        beyond = 3 * max(np.ptp(found.pixels, axis=0))
        elsewhere = [
            marker
            for marker in search.markers
            if np.linalg.norm(marker.centre - middle[:2] / middle[2]) > beyond
        ]
        second = find_charuco(found.card.charuco, elsewhere)
        if second is not None and len(second.markers) > 2:
            return name
    return None


def _one_missing(photo: Photo, card: Card, view: LensView) -> str:
    """Say why one card was not seen, from how the photo looks where it should be."""
    name = card.name
    outline = view.photo_from_plane(card.outline())
    width, height = photo.size
    mask = np.zeros((height, width), np.uint8)
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 255)
    there = photo.image[mask > 0]
    if (there.min(axis=1) >= _GLARE).mean() > 0.12:
        return (
            f"Glare hides the {name} card in {photo.name}: shade the lamp or move the camera a "
            "little to the side."
        )
    if np.percentile(there.max(axis=1), 90) < _DARK:
        return (
            f"The {name} card is too dark in {photo.name}: take the shadow off it or put on the "
            "room light."
        )
    small = _too_small(photo, [card], view)
    if small is not None:
        return small
    return (
        f"The {name} card is missing, covered or bent in {photo.name}: lay card {card.number} flat "
        "in its corner, with nothing over it, and take the photo again."
    )


_ZONES = (
    ("back left", "back", "back right"),
    ("left", "middle", "right"),
    ("front left", "front", "front right"),
)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _too_few(photo: Photo, pattern: Pattern, count: int) -> str:
    small = ", and for a small platen show the fine pattern" if len(pattern.lattices) > 1 else ""
    return (
        f"Only {count} points of the pattern are seen on the bare platen in {photo.name}, "
        f"{LEAST_CORNERS} are needed: dim the room light and take the photo nearer{small}."
    )


def _poor_light(seen: Measurements) -> str | None:
    """Return what makes the pattern on the platen hard to see, or None."""
    photo = seen.pattern_photo
    mask = np.zeros(photo.image.shape[:2], np.uint8)
    outline = seen.layout.view.photo_from_plane(platen_outline(seen.cards))
    cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 255)
    there = photo.image[mask > 0]
    if not len(there):
        return None
    if np.percentile(there.max(axis=1), 90) < _DARK:
        return _TOO_DARK.format(photo.name)
    if np.median(channels.light(there[None])) >= _GLARE:
        return _TOO_BRIGHT.format(photo.name)
    return _poor(photo, seen.refined)


def _wrong_pattern(photo: Photo, pattern: Pattern, markers: Sequence[Marker]) -> str | None:
    """Say which other pattern is seen, or that it is mirrored; None where none is seen."""
    width, height = pattern.size
    if len(markers) >= ENOUGH_MARKERS:
        other = _other_size(pattern, markers)
        if other is not None:
            return (
                f"{photo.name} shows the pattern for {other[0]} x {other[1]} pixels, not for "
                f"{width} x {height}: show the pattern made for this projector, or give its size."
            )
        return (
            f"{photo.name} shows a pattern that was not made for {width} x {height} pixels: show "
            "the pattern made for this projector."
        )
    mirrored = np.ascontiguousarray(photo.image[:, ::-1])
    if _count(mirrored, Family.TAG_36H11) >= ENOUGH_MARKERS:
        return (
            f"The pattern in {photo.name} is mirrored: switch off rear or mirror projection in the "
            "projector's menu."
        )
    return None


def _no_pattern(photo: Photo) -> str:
    return (
        f"No pattern is seen on the platen in {photo.name}: show the pattern on the projector, "
        "focus it on the platen and dim the room light."
    )


def _other_size(pattern: Pattern, markers: Sequence[Marker]) -> tuple[int, int] | None:
    """Return the resolution whose pattern the markers fit, of those in use, or None."""
    support = {}
    for size in COMMON_SIZES:
        if size == pattern.size:
            continue
        located = (find_charuco(lattice.charuco, markers) for lattice in Pattern(size).lattices)
        support[size] = max((len(s.markers) for s in located if s is not None), default=0)
    best = max(support, key=lambda size: support[size])
    enough = max(ENOUGH_MARKERS, _SHARE_THAT_FITS * len({m.id for m in markers}))
    return best if support[best] >= enough else None
