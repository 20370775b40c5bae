"""Markers in a grey picture, and the boards they belong to."""

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
_REACH, _REACH_GROWTH = 0.35, 0.06
"""How far a marker may lie from where another of its board expects it, in marker sides,
and how much more for each side of distance: a marker's corners are known to about half
a pixel, and a lens bends the board."""

_PROPOSERS = 30  # at most: on a board with more markers than that any good one will do
_ALMOST_ALL = 0.9  # of the markers read: no other proposal could have more


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


def find_markers(view: NDArray[np.uint8], family: Family, scale: float = 1.0) -> list[Marker]:
    """Read the markers of one family in a grey picture.

    Parameters
    ----------
    view : ndarray, shape (height, width), uint8
    family : Family
    scale : float
        The picture is searched at this scale; results are in its own pixels.
    """
    searched = view
    if scale != 1.0:
        method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        searched = np.asarray(cv2.resize(view, None, fx=scale, fy=scale, interpolation=method))
    found, ids, _ = _detector(family, max(searched.shape)).detectMarkers(searched)
    if ids is None:
        return []
    ratio = np.array(view.shape[::-1]) / np.array(searched.shape[::-1])
    return [
        Marker(int(number), (np.asarray(ring, np.float64).reshape(4, 2) + 0.5) * ratio - 0.5)
        for number, ring in zip(np.ravel(ids), found, strict=True)
    ]


def _detector(family: Family, longest: int) -> cv2.aruco.ArucoDetector:
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * _SMALLEST_SIDE / longest
    parameters.minDistanceToBorder = 1
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    return cv2.aruco.ArucoDetector(family.dictionary, parameters)


@dataclass(frozen=True, eq=False)
class Sighting:
    """A board found through its markers.

    Attributes
    ----------
    markers : tuple of Marker
        Those that agree with one another.
    photo_from_board : ndarray, shape (3, 3)
        Homography, modules to px.
    """

    markers: tuple[Marker, ...]
    photo_from_board: homography.Homography


def sight(board: Charuco, markers: Iterable[Marker]) -> Sighting | None:
    """Find the board that most of `markers` agree on, or None.

    Markers in turn propose where the board lies; the proposal with most markers
    where it expects them wins. Misread markers and the twin of a card find no support.
    """
    known = [marker for marker in markers if marker.id in board.markers]
    if not known:
        return None
    crowd = _Crowd(
        tuple(known),
        np.array([board.markers[marker.id].mean(axis=0) for marker in known]),
        np.array([marker.centre for marker in known]),
        np.array([marker.side for marker in known]),
    )
    enough = _ALMOST_ALL * len({marker.id for marker in known})
    best: list[Marker] = []
    for proposer in known[:: max(1, len(known) // _PROPOSERS)]:
        away = np.linalg.norm(crowd.centres - proposer.centre, axis=1)
        supporters = crowd.supporters(_fit([proposer], board), away)
        if len(supporters) > len(best):
            best = supporters
        if len(best) > enough:
            break
    for _ in range(3):  # many know better than one: gather again around their fit
        more = crowd.supporters(_fit(best, board), 4 * crowd.sides) if best else []
        if len(more) <= len(best):
            break
        best = more
    photo_from_board = _fit(best, board) if best else None
    return None if photo_from_board is None else Sighting(tuple(best), photo_from_board)


@dataclass(frozen=True, eq=False)
class _Crowd:
    """The markers of one board's ids: where the board has them, where the photo does."""

    markers: tuple[Marker, ...]
    places: Points
    centres: Points
    sides: NDArray[np.float64]

    def supporters(
        self, proposal: homography.Homography | None, away: NDArray[np.float64]
    ) -> list[Marker]:
        """Return the markers that lie where a proposal expects them, one of each id."""
        if proposal is None:
            return []
        with np.errstate(divide="ignore", invalid="ignore"):  # the horizon may be in sight
            miss = np.linalg.norm(homography.apply(proposal, self.places) - self.centres, axis=1)
        agree = miss < _REACH * self.sides + _REACH_GROWTH * away
        nearest: dict[int, tuple[float, Marker]] = {}
        for k in np.flatnonzero(agree):
            marker = self.markers[k]
            if miss[k] < nearest.get(marker.id, (np.inf, marker))[0]:
                nearest[marker.id] = (float(miss[k]), marker)
        return [marker for _, marker in nearest.values()]


def _fit(markers: Sequence[Marker], board: Charuco) -> homography.Homography | None:
    """Return photo_from_board from the corners of `markers`, or None where there is none."""
    source = np.vstack([board.markers[marker.id] for marker in markers])
    target = np.vstack([marker.ring for marker in markers])
    try:
        return homography.fit(source, target, refined=False)
    except homography.DegeneratePointsError:
        return None
