"""The projected pattern in a photo: the corners that fall on the bare platen."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect import plane_view
from calibration.detect.cards import search_scale
from calibration.detect.corners import align, reduce, refine, working_step
from calibration.detect.markers import FoundCharuco, Marker, find_charuco, find_markers
from calibration.detect.plane_view import PlaneView
from calibration.geometry import Points
from calibration.model import homography
from calibration.photo import channels
from calibration.targets.charuco import Family
from calibration.targets.pattern import Lattice, Pattern

ENOUGH_MARKERS = 4
"""Markers that must agree on a pattern: so many do not agree by chance."""

_SHARE_THAT_AGREES = 0.4
"""Of the markers read: in the pattern of another projector a few agree by chance."""

_NEARLY_ALL = 0.9
"""Of the markers of one lattice: it is the lattice that is shown, beyond doubt."""

_MANY = 20

_SEARCH_RANGE = 1.6
"""How far from a marker that was read a corner is looked for, in squares."""

_LEAST_AGREEMENT = 0.7
_AGREEMENT_DROP = 0.12  # below the photo's usual agreement
_OUTLIER = 4.5  # times the usual distance from the smooth view
_LEAST_OUTLIER = 0.15  # px at the working scale

Allowed = Callable[[Points], NDArray[np.bool_]]
"""Photo px, shape (N, 2), to whether light there falls on the bare platen."""


@dataclass(frozen=True, eq=False)
class PatternSearch:
    """What a search for the pattern found.

    Attributes
    ----------
    indices : ndarray of int, shape (N,)
        Numbers of the pattern's corners that were seen, rising.
    pixels : ndarray, shape (N, 2)
        Where, photo px.
    markers : tuple of Marker
        All markers of the pattern's family that were read.
    """

    indices: NDArray[np.intp]
    pixels: Points
    markers: tuple[Marker, ...]


def find_pattern(
    image: NDArray[np.uint8], pattern: Pattern, area: Points, allowed: Allowed
) -> PatternSearch:
    """Look for a pattern in a BGR photo, by several views of it until it is well seen.

    Parameters
    ----------
    image : ndarray, shape (height, width, 3), uint8
    pattern : Pattern
    area : ndarray, shape (N, 2)
        Polygon around the platen, photo px; outside nothing is looked for.
    allowed : callable
        Which corners count.
    """
    usual = pattern.lattices[0]
    quick = _quick_search(image, usual, area, allowed)
    if quick is not None:
        return quick
    best = PatternSearch(np.zeros(0, np.intp), np.zeros((0, 2)), ())
    markers: list[Marker] = []
    for view, scale in _searches(image, area):
        read = find_markers(channels.equalised(view), Family.TAG_36H11, scale)
        markers += read
        for lattice in pattern.lattices:
            located = find_charuco(lattice.charuco, read)
            distinct = len({marker.id for marker in read})
            enough = max(ENOUGH_MARKERS, _SHARE_THAT_AGREES * distinct)
            if located is None or len(located.markers) < enough:
                continue
            indices, pixels = _locate(view, lattice, located, allowed)
            if len(indices) > len(best.indices):
                best = PatternSearch(indices, pixels, ())
        if _well_seen(best, markers) or (len(best.indices) == 0 and len(read) > _MANY):
            break  # many markers that do not agree belong to another pattern
    return PatternSearch(best.indices, best.pixels, tuple(markers))


def _quick_search(
    image: NDArray[np.uint8], lattice: Lattice, area: Points, allowed: Allowed
) -> PatternSearch | None:
    """Look in the likeliest view for the markers of one lattice alone; None if in any doubt."""
    view, scale = next(_searches(image, area))
    ids = tuple(lattice.charuco.markers)
    read = find_markers(channels.equalised(view), Family.TAG_36H11, scale, ids)
    located = find_charuco(lattice.charuco, read)
    distinct = len({marker.id for marker in read})
    if located is None or len(located.markers) < max(_MANY, _NEARLY_ALL * distinct):
        return None
    found = PatternSearch(*_locate(view, lattice, located, allowed), tuple(read))
    return found if _well_seen(found, read) else None


def _well_seen(search: PatternSearch, markers: Sequence[Marker]) -> bool:
    """Tell whether another view could hardly add to what was found."""
    return len(search.indices) >= max(30, len({marker.id for marker in markers}))


def _searches(image: NDArray[np.uint8], area: Points) -> Iterator[tuple[NDArray[np.uint8], float]]:
    """Yield views and scales, the likeliest and quickest first, grey outside `area`."""
    scale = search_scale(image)
    outside = np.full(image.shape[:2], 255, np.uint8)
    cv2.fillPoly(outside, [np.rint(area).astype(np.int32)], 0)
    for view, times in (
        (channels.grey(image), 1.0),
        (channels.light(image), 1.0),
        (channels.grey(image), 2.0),
    ):
        view[outside > 0] = 128
        yield view, times * scale


def _locate(
    view: NDArray[np.uint8], lattice: Lattice, located: FoundCharuco, allowed: Allowed
) -> tuple[NDArray[np.intp], Points]:
    """Return the lattice's corners on the bare platen to sub-pixel accuracy."""
    charuco = lattice.charuco
    side = float(np.median([marker.side for marker in located.markers]))
    step = working_step(side / (charuco.family.bits + 2))
    reduced = reduce(view, step)
    size = (reduced.shape[1], reduced.shape[0])
    places = np.vstack([charuco.markers[marker.id] for marker in located.markers])
    rings = np.vstack([marker.ring for marker in located.markers])
    smooth = plane_view.fit(places, (rings + 0.5) / step - 0.5, size)
    marked = np.array([charuco.markers[marker.id].mean(axis=0) for marker in located.markers])
    apart = np.abs(charuco.corners[:, None] - marked).max(axis=2).min(axis=1)
    kept = np.flatnonzero(apart < _SEARCH_RANGE * charuco.square)
    kept = kept[allowed((smooth(charuco.corners[kept]) + 0.5) * step - 0.5)]
    # First from the markers alone, for a better view; then from where the corners themselves are.
    pixels, seen = refine(reduced, smooth, charuco, kept)
    if seen.sum() >= ENOUGH_MARKERS:
        _, better = _smooth(charuco.corners[kept[seen]], pixels[seen], size)
        smooth = smooth if better is None else better
    pixels, seen = refine(reduced, smooth, charuco, kept)
    found, pixels = kept[seen], pixels[seen]
    if len(found) < ENOUGH_MARKERS:
        return np.zeros(0, np.intp), np.zeros((0, 2))
    pixels, agreement = align(reduced, smooth, charuco, found, pixels)
    usual = float(np.nanmedian(agreement))
    good = agreement > max(_LEAST_AGREEMENT, usual - _AGREEMENT_DROP)
    found, pixels = found[good], pixels[good]
    keep, _ = _smooth(charuco.corners[found], pixels, size)
    return lattice.first + found[keep], (pixels[keep] + 0.5) * step - 0.5


def _smooth(
    places: Points, pixels: Points, size: tuple[int, int]
) -> tuple[NDArray[np.bool_], PlaneView | None]:
    """Return which corners lie on one smooth view of a plane, and that view."""
    good = np.ones(len(places), bool)
    view = None
    for _ in range(3):
        if good.sum() < ENOUGH_MARKERS:
            break
        try:
            view = plane_view.fit(places[good], pixels[good], size)
        except homography.DegeneratePointsError:
            return np.zeros(len(places), bool), None
        miss = np.linalg.norm(view(places) - pixels, axis=1)
        limit = max(_LEAST_OUTLIER, _OUTLIER * float(np.median(miss[good])))
        still = miss <= limit
        if (still == good).all():
            break
        good = still
    return good, view
