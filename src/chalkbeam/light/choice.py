"""The placement and loading that is lit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely

from calibration.geometry import Isometry
from chalkbeam.basics.sentences import Sentence
from chalkbeam.placement import Concern, Placement, Severity
from chalkbeam.placement.clearance import ink_shape, moved
from chalkbeam.placement.loading import Loading
from chalkbeam.placement.shift import Shift

OFF_PRESSURE = Concern(
    Severity.STOP, "platen", Sentence("The ink is moved off the pressed area: move it back.")
)


@dataclass(frozen=True)
class Choice:
    """One location with everything needed to light it.

    Attributes
    ----------
    placement : Placement
    loading : Loading
    """

    placement: Placement
    loading: Loading

    def laid(self, nudge: Shift) -> Placement:
        """Return the placement with its art moved by a shift of the platen frame.

        A turn goes about the art's optical centre, so that it does not also move it.
        """
        pose = self.loading.platen_from_garment
        by = about(nudge, (pose @ self.placement.garment_from_art).apply(
            self.placement.artwork.optical_centre.point
        )[0])  # fmt: skip
        garment_from_art = pose.inverse() @ by @ pose @ self.placement.garment_from_art
        laid = replace(self.placement, garment_from_art=garment_from_art)
        if self._is_pressed(laid):
            return laid
        return replace(laid, warnings=(*laid.warnings, OFF_PRESSURE))

    def _is_pressed(self, placement: Placement) -> bool:
        pressed = shapely.Polygon(self.loading.platen.pressed())
        ink = ink_shape(placement.artwork)
        pose = self.loading.platen_from_garment @ placement.garment_from_art
        return bool(pressed.contains(moved(ink, pose)))


def about(shift: Shift, pivot: Sequence[float]) -> Isometry:
    """Return a shift as a map of the platen frame, its turn about `pivot`, mm."""
    x, y = float(pivot[0]), float(pivot[1])
    return Isometry(x + shift.x, y + shift.y) @ Isometry(angle=shift.angle) @ Isometry(-x, -y)
