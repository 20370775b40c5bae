"""How far off a transfer may lie and be pressed, as typed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.basics.units import parse_length

if TYPE_CHECKING:
    from chalkbeam.eye.transfer import Tolerance


def read_tolerance(distance: str, degrees: float) -> Tolerance:
    """Return how far off a transfer may lie, as typed."""
    from chalkbeam.eye.transfer import Tolerance

    far = parse_length(distance)
    if not 0.5 <= far <= 20:
        raise Refusal(f"--tolerance {distance} is not possible: give 0.5 mm to 20 mm.")
    if not 0.3 <= degrees <= 10:
        raise Refusal(f"--turn-tolerance {degrees:g} is not possible: give 0.3 to 10 degrees.")
    return Tolerance(far, math.radians(degrees))
