"""What a burst tells of the press itself: surfaces in mm, colour, and whether anything moved."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.refusal import Refusal
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.colour import measure_colour
from chalkbeam.eye.drift import check_dots
from chalkbeam.eye.surface import SeenSurface, measure_surface
from chalkbeam.eye.values import ColourSeen, RigSeen


@dataclass(frozen=True, eq=False)
class PressSeen:
    """What lies under the camera, before it is known what it is.

    Attributes
    ----------
    surface, bare : SeenSurface
        Of the loaded platen, and of the empty one and what is about it.
    colour : ColourSeen or None
    rig : RigSeen
    """

    surface: SeenSurface
    bare: SeenSurface
    colour: ColourSeen | None
    rig: RigSeen


def read_press(rig: Rig, burst: Burst, empty: Burst) -> PressSeen:
    """Measure surfaces, colour and drift.

    Parameters
    ----------
    rig : Rig
        With its eye.
    burst, empty : Burst
        Of the loaded platen and of the bare one.

    Raises
    ------
    Refusal
        If the rig has no eye, or a burst lacks its lines or has another picture size.
    """
    if burst.size != empty.size:
        raise Refusal(
            f"{burst.where} has pictures of {burst.size[0]} x {burst.size[1]} and {empty.where} "
            f"of {empty.size[0]} x {empty.size[1]}: take both with one setting of the camera."
        )
    return PressSeen(
        measure_surface(rig, burst),
        measure_surface(rig, empty),
        measure_colour(rig, burst, empty),
        check_dots(rig, empty),
    )
