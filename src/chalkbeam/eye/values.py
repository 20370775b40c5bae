"""What the eye saw, as plain values; `plain` of each is what a program reads as JSON.

Lengths are mm and angles radians in the platen frame; JSON has degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import XY

FaceSeen = Literal["front", "back"]
TransferVerdict = Literal["good", "move", "wrong", "cannot see"]
RigVerdict = Literal["unchanged", "moved", "cannot see"]


def _xy(point: XY | None) -> list[float] | None:
    return None if point is None else [round(float(value), 2) for value in point]


def _degrees(angle: float | None) -> float | None:
    return None if angle is None else round(math.degrees(angle), 3)


@dataclass(frozen=True)
class GarmentSeen:
    """Where the garment lies.

    Attributes
    ----------
    seen : bool
        Whether a garment was found at all; what is None below could not be found.
    sure : bool
        Whether judges that do not share their errors agree.
    neck : (x, y) or None
        Where the neck seam meets the centre line, at the cloth's height.
    centre_line : float or None
        Direction of the centre line towards the hem, counter-clockwise from the platen's -y,
        radians.
    lower : (x, y) or None
        The centre line's point 300 mm below the neck seam, along the flat cloth.
    face : "front", "back" or None
    why : str
        A sentence: what makes it sure or not.
    """

    seen: bool
    sure: bool
    neck: XY | None = None
    centre_line: float | None = None
    lower: XY | None = None
    face: FaceSeen | None = None
    why: str = ""

    def plain(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "seen": self.seen,
            "sure": self.sure,
            "neck_mm": _xy(self.neck),
            "centre_line_deg": _degrees(self.centre_line),
            "lower_mm": _xy(self.lower),
            "face": self.face,
            "why": self.why,
        }


@dataclass(frozen=True)
class SizeSeen:
    """How large the garment is.

    Attributes
    ----------
    half_chest : float or None
        Width of the laid garment below the armholes, mm.
    sure : bool
    why : str
    """

    half_chest: float | None
    sure: bool
    why: str = ""

    def plain(self) -> dict[str, Any]:
        """Return it for JSON."""
        wide = None if self.half_chest is None else round(float(self.half_chest), 1)
        return {"half_chest_mm": wide, "sure": self.sure, "why": self.why}


@dataclass(frozen=True, eq=False)
class HeightSeen:
    """The cloth's height over the bare platen, on a grid.

    Attributes
    ----------
    origin : (x, y)
        The grid's first point, front left.
    step : float
        From point to point, mm.
    heights : ndarray, shape (rows, columns)
        mm; rows away from the operator; nan where nothing was seen.
    """

    origin: XY
    step: float
    heights: NDArray[np.float64]

    def plain(self) -> dict[str, Any]:
        """Return it for JSON: null where nothing was seen."""
        return {
            "origin_mm": _xy(self.origin),
            "step_mm": self.step,
            "mm": [
                [round(float(value), 2) if math.isfinite(value) else None for value in row]
                for row in self.heights
            ],
        }


@dataclass(frozen=True)
class ColourSeen:
    """The cloth's colour.

    Attributes
    ----------
    hex : str
        sRGB, such as "#1b2a44".
    lab : (L*, a*, b*)
        CIELAB, D65.
    against : str
        What it was measured against, in words.
    """

    hex: str
    lab: tuple[float, float, float]
    against: str

    def plain(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "hex": self.hex,
            "lab": [round(float(value), 2) for value in self.lab],
            "against": self.against,
        }


@dataclass(frozen=True)
class TransferSeen:
    """Where the laid transfer lies against its target.

    Attributes
    ----------
    seen : bool
    sure : bool
    off : (right, away) or None
        Where its ink's (or sheet's) centre lies minus the target, platen frame, mm.
    turned : float or None
        Counter-clockwise, radians; None where it was not seen or a round ink has no direction.
    verdict : "good", "move", "wrong" or "cannot see"
        Wrong: another artwork or name.
    why : str
        A sentence: what was measured, or why nothing could be.
    """

    seen: bool
    sure: bool
    off: XY | None
    turned: float | None
    verdict: TransferVerdict
    why: str

    def plain(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "seen": self.seen,
            "sure": self.sure,
            "off_mm": _xy(self.off),
            "turned_deg": _degrees(self.turned),
            "verdict": self.verdict,
            "why": self.why,
        }


@dataclass(frozen=True)
class RigSeen:
    """Whether camera, projector and platen are where they were when the eye was fitted.

    Attributes
    ----------
    moved : float or None
        How far the light lies from where the rig expects it, at the worst point, mm.
    verdict : "unchanged", "moved" or "cannot see"
    why : str
    """

    moved: float | None
    verdict: RigVerdict
    why: str = ""

    def plain(self) -> dict[str, Any]:
        """Return it for JSON."""
        moved = None if self.moved is None else round(float(self.moved), 2)
        return {"moved_mm": moved, "verdict": self.verdict, "why": self.why}


@dataclass(frozen=True, eq=False)
class Reading:
    """All that was read from one burst; None where it was not asked for or could not be seen."""

    garment: GarmentSeen
    size: SizeSeen
    height: HeightSeen | None
    colour: ColourSeen | None
    transfer: TransferSeen | None
    rig: RigSeen

    @property
    def good(self) -> bool:
        """Whether all that was asked for is sure and good."""
        laid = self.transfer is None or (self.transfer.sure and self.transfer.verdict == "good")
        return self.garment.sure and laid and self.rig.verdict == "unchanged"

    def plain(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "garment": self.garment.plain(),
            "size": self.size.plain(),
            "height": None if self.height is None else self.height.plain(),
            "colour": None if self.colour is None else self.colour.plain(),
            "transfer": None if self.transfer is None else self.transfer.plain(),
            "rig": self.rig.plain(),
        }
