"""Markers in a grey picture, and the chessboards they belong to."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from calibration.model import homography
from calibration.targets.charuco import Charuco, Family

_SMALLEST_SIDE = 9.0  # px in the picture searched; below that no bits can be read
_TOLERANCE, _TOLERANCE_GROWTH = 0.35, 0.06
"""How far a marker may lie from where another of its chessboard expects it, in marker sides,
and how much more for each side of distance: a marker's corners are known to about half
a pixel, and a lens distorts the chessboard."""

_MOST_SEEDS = 30  # with more markers than that, any good one will do
_ALMOST_ALL = 0.9  # of the markers read: no other guess could agree with more


@dataclass(frozen=True, eq=False)
class Marker:
    """One marker as read.

    Attributes
    ----------
    id : int
        Its number in its family.
    ring : ndarray, shape (4, 2)
        Corners of its black border in the photo: the marker's own tl, tr, br, bl; px.
    """

    id: int
    ring: Points

    @property
    def centre(self) -> Points:
        """Mean of the four corners, px, shape (2,)."""
        return np.asarray(self.ring.mean(axis=0))

    @property
    def side(self) -> float:
        """Square root of its area, px."""
        x, y = self.ring.T
        area = 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))
        return math.sqrt(max(area, 1e-6))


def find_markers(
    view: NDArray[np.uint8], family: Family, scale: float = 1.0, ids: Iterable[int] | None = None
) -> list[Marker]:
    """Read the markers of one family in a grey picture.

    Parameters
    ----------
    view : ndarray, shape (height, width), uint8
    family : Family
    scale : float
        The picture is searched at this scale; results are in its own pixels.
    ids : iterable of int, optional
        Only these are looked for: comparing with every marker of a large family takes most of
        the time.
    """
    searched = view
    if scale != 1.0:
        method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        searched = np.asarray(cv2.resize(view, None, fx=scale, fy=scale, interpolation=method))
    numbers = range(family.count) if ids is None else tuple(ids)
    found, places, _ = _detector(family, numbers, max(searched.shape)).detectMarkers(searched)
    if places is None:
        return []
    ratio = np.array(view.shape[::-1]) / np.array(searched.shape[::-1])
    return [
        Marker(
            numbers[int(place)], (np.asarray(ring, np.float64).reshape(4, 2) + 0.5) * ratio - 0.5
        )
        for place, ring in zip(np.ravel(places), found, strict=True)
    ]


def _detector(family: Family, ids: Sequence[int], longest: int) -> cv2.aruco.ArucoDetector:
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * _SMALLEST_SIDE / longest
    parameters.minDistanceToBorder = 1
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    return cv2.aruco.ArucoDetector(family.part(ids), parameters)


@dataclass(frozen=True, eq=False)
class FoundCharuco:
    """A chessboard found through its markers.

    Attributes
    ----------
    markers : tuple of Marker
        Those that agree with one another.
    photo_from_charuco : ndarray, shape (3, 3)
        Homography, modules to px.
    """

    markers: tuple[Marker, ...]
    photo_from_charuco: homography.Homography


def find_charuco(charuco: Charuco, markers: Iterable[Marker]) -> FoundCharuco | None:
    """Find the chessboard that most of `markers` agree on, or None.

    Each marker by itself gives a guess of where the chessboard lies; the guess with which
    most markers agree is taken. Misread markers, and those of a second card of the same
    kind, agree with few others.
    """
    known = [marker for marker in markers if marker.id in charuco.markers]
    if not known:
        return None
    candidates = _Candidates(
        tuple(known),
        np.array([charuco.markers[marker.id].mean(axis=0) for marker in known]),
        np.array([marker.centre for marker in known]),
        np.array([marker.side for marker in known]),
    )
    enough = _ALMOST_ALL * len({marker.id for marker in known})
    best: list[Marker] = []
    for seed in known[:: max(1, len(known) // _MOST_SEEDS)]:
        away = np.linalg.norm(candidates.centres - seed.centre, axis=1)
        inliers = candidates.inliers(_fit([seed], charuco), away)
        if len(inliers) > len(best):
            best = inliers
        if len(best) > enough:
            break
    for _ in range(3):  # many markers give a better fit than one: look for more that agree with it
        more = candidates.inliers(_fit(best, charuco), 4 * candidates.sides) if best else []
        if len(more) <= len(best):
            break
        best = more
    photo_from_charuco = _fit(best, charuco) if best else None
    return None if photo_from_charuco is None else FoundCharuco(tuple(best), photo_from_charuco)


@dataclass(frozen=True, eq=False)
class _Candidates:
    """Markers with one chessboard's ids: where the chessboard has them, where the photo does."""

    markers: tuple[Marker, ...]
    places: Points
    centres: Points
    sides: NDArray[np.float64]

    def inliers(
        self, guess: homography.Homography | None, away: NDArray[np.float64]
    ) -> list[Marker]:
        """Return the markers that lie where a guess expects them, one of each id."""
        if guess is None:
            return []
        with np.errstate(divide="ignore", invalid="ignore"):  # some may lie on the horizon
            miss = np.linalg.norm(homography.apply(guess, self.places) - self.centres, axis=1)
        agree = miss < _TOLERANCE * self.sides + _TOLERANCE_GROWTH * away
        nearest: dict[int, tuple[float, Marker]] = {}
        for k in np.flatnonzero(agree):
            marker = self.markers[k]
            if miss[k] < nearest.get(marker.id, (np.inf, marker))[0]:
                nearest[marker.id] = (float(miss[k]), marker)
        return [marker for _, marker in nearest.values()]


def _fit(markers: Sequence[Marker], charuco: Charuco) -> homography.Homography | None:
    """Return photo_from_charuco from the corners of `markers`, or None where there is none."""
    source = np.vstack([charuco.markers[marker.id] for marker in markers])
    target = np.vstack([marker.ring for marker in markers])
    try:
        return homography.fit(source, target, refined=False)
    except homography.DegeneratePointsError:
        return None
