"""One garment on one platen: what is given of how it lies, and what is to be sought."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry.base import BaseGeometry

from calibration.geometry import XY, Isometry, Points
from chalkbeam.garments import Face
from chalkbeam.placement import Placement
from chalkbeam.placement.loading_values import Collar, centre_line
from chalkbeam.placement.platens import Platen
from chalkbeam.placement.pressed import EDGE, MARGIN
from chalkbeam.placement.ridges import ridge_points
from chalkbeam.placement.seeking import AxisRange, Span, best_places

OVERHANG = 12.7
"""How far the collar's seam hangs over the edge if the art leaves the choice, mm: off the pressed
area with its stitching, about a finger's width. Common practice, no source."""
OFF_LENGTH, OFF_MIDDLE = 0.4, 4.0
"""What a millimetre off the usual overhang, and of the centre line off the middle, costs beside
ridges under the head (`seeking`): a garment laid straight on the middle is laid alike each time."""

ANGLE: dict[Collar, float] = {
    "away": 0.0,
    "towards": math.pi,
    "left": math.pi / 2,
    "right": -math.pi / 2,
}
UP: dict[Collar, XY] = {
    "away": (0.0, 1.0),
    "towards": (0.0, -1.0),
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
}


def reach(platen: Platen, collar: Collar) -> float:
    """Return the distance from the platen's middle to the edge on the collar's side, mm."""
    face = platen.face
    return (face.depth if collar in ("away", "towards") else face.width) / 2


@dataclass(frozen=True, eq=False)
class Seeker:
    """One garment on one platen: what is given of how it lies, and what is to be sought.

    `ink` and `middle`, a point of the face's centre line, are turned as on the platen, their
    origin still that of the garment frame.
    """

    placement: Placement
    platen: Platen
    collar: Collar
    turn: Isometry
    ink: BaseGeometry
    overhang: float | None
    aside: float | None
    threaded: bool

    @functools.cached_property
    def length(self) -> int:
        """The platen's axis along which the garment's length lies."""
        return int(np.argmax(np.abs(UP[self.collar])))

    @property
    def side(self) -> int:
        """The other axis."""
        return 1 - self.length

    @functools.cached_property
    def middle(self) -> Points:
        """A point of the face's centre line."""
        return np.asarray(self.turn.apply([(centre_line(self.placement), 0.0)])[0])

    def _shift_at(self, overhang: float) -> float:
        """Return the garment's shift along its length for an overhang."""
        return UP[self.collar][self.length] * (reach(self.platen, self.collar) + overhang)

    def _slack(self) -> tuple[Span, Span]:
        """Return how far aside, and how far over the edge, a threaded garment can lie."""
        face = self.placement.face
        if not self.threaded or face.name not in ("front", "back"):
            return (-math.inf, math.inf), (-math.inf, math.inf)
        wide = (self.platen.face.width, self.platen.face.depth)[self.side]
        sides = [face.across[name].value for name in ("left_side_seam", "right_side_seam")]
        give = max((max(sides) - min(sides) - wide) / 2, 0.0)
        return (-give, give), (_shoulders(face, wide / 2), math.inf)

    def tries(self) -> Iterator[tuple[Platen, Points]]:
        """Yield the platen, its pad where it is to lie, and the garment's shift; the best first."""
        pad = self.platen.pad
        aside, over = self._slack()
        given = [0.0, 0.0]
        shifts: list[float | None] = [None, None]
        if self.overhang is not None:
            shifts[self.length] = self._shift_at(self.overhang)
        if self.aside is not None:
            shifts[self.side] = self.aside - float(self.middle[self.side])
        usual = np.zeros(2)
        usual[self.length] = self._shift_at(OVERHANG)
        usual[self.side] = -self.middle[self.side]
        ends = sorted(self._shift_at(each) for each in over)
        free = {
            self.length: tuple(ends),
            self.side: (aside[0] - self.middle[self.side], aside[1] - self.middle[self.side]),
        }
        if pad is not None:
            given = list(pad.centre)
        rooms = [self._room(axis, usual[axis], shifts[axis], given[axis], free[axis])
                 for axis in (0, 1)]  # fmt: skip
        box = np.array(self.ink.bounds[:2]), np.array(self.ink.bounds[2:])
        found = ridge_points(self.placement.face, self.placement.garment.thickness)
        turned = self.turn.apply(found.points)
        for place in best_places(rooms[0], rooms[1], box, turned, found):
            yield self._laid(place, shifts, given, free)
        yield self._laid(((box[0] + box[1])[0] / 2, (box[0] + box[1])[1] / 2), shifts, given, free)

    def _room(
        self, axis: int, usual: float, shift: float | None, pad: float, free: Span
    ) -> AxisRange:
        """Return where the pressed area's middle may lie along an axis, turned frame."""
        padded = self.platen.pad
        size = self.platen.face if padded is None else padded.face
        half = (size.width, size.depth)[axis] / 2
        low, high = self.ink.bounds[axis], self.ink.bounds[axis + 2]
        inner = (high - half + EDGE, low + half - EDGE)
        if shift is not None and (padded is None or not padded.free):
            at = pad - shift
            return AxisRange(half, (at, at), at, (at, at), 0.0)
        if padded is not None:  # there is little room on a pad: the art in its middle
            return AxisRange(half, inner, (low + high) / 2, (-math.inf, math.inf), OFF_LENGTH)
        corners = (self.turn @ self.placement.garment_from_art).apply(
            self.placement.artwork.sheet.corners()
        )[:, axis]
        sheet = (float(corners.max()) - half + MARGIN, float(corners.min()) + half - MARGIN)
        beside = OFF_LENGTH if axis == self.length else OFF_MIDDLE
        return AxisRange(half, _both(inner, (-free[1], -free[0])), -usual, sheet, beside)

    def _laid(
        self,
        place: tuple[float, float],
        shifts: list[float | None],
        given: list[float],
        free: dict[int, Span],
    ) -> tuple[Platen, Points]:
        """Return where platen, pad and garment lie for a place of the pressed area's middle.

        A free pad lies in the platen's middle, where the head presses most evenly, as far as the
        garment can be moved over it.
        """
        pad, plate = self.platen.pad, self.platen.face
        shift, centre = np.zeros(2), np.zeros(2)
        for axis in (0, 1):
            set_by = shifts[axis]
            if pad is None or not pad.free:
                shift[axis] = given[axis] - place[axis] if set_by is None else set_by
                continue
            spare = ((plate.width, plate.depth)[axis] - (pad.face.width, pad.face.depth)[axis]) / 2
            wish = min(max(-place[axis], free[axis][0]), free[axis][1])
            wish = wish if set_by is None else set_by
            centre[axis] = min(max(place[axis] + wish, -spare), spare)
            shift[axis] = centre[axis] - place[axis] if set_by is None else set_by
        if pad is None or not pad.free:
            return self.platen, shift
        return self.platen.with_pad(
            replace(pad, centre=(float(centre[0]), float(centre[1])))
        ), shift


def _both(needed: Span, wanted: Span) -> Span:
    """Return where two spans overlap; where they do not, what is needed nearest to the other."""
    low, high = max(needed[0], wanted[0]), min(needed[1], wanted[1])
    if low <= high:
        return low, high
    end = needed[1] if needed[1] < wanted[0] else needed[0]
    return end, end


def _shoulders(face: Face, half: float) -> float:
    """Return how far inside the edge the neck seam can lie before the shoulders stop a platen.

    Given as an overhang, mm, negative; `half` is half the platen's width.
    """
    top, tip = face.along["shoulder_top"].value, face.along["shoulder_tip"].value
    neck = abs(face.across["left_neck_point"].value)
    end = abs(face.across["left_shoulder_tip"].value)
    return float(np.interp(half, (neck, end), (top, tip)))
