"""The squares that a ruler is held to, in the unit that is worked in."""

from __future__ import annotations

from chalkbeam.basics.units import Unit
from overlay.draw.check_view import IN_INCHES, IN_MM

RULINGS = {Unit.MM: IN_MM, Unit.INCH: IN_INCHES}
"""What the squares are counted in, by unit."""


def square_words(unit: Unit) -> str:
    """Return how wide and deep a square is: “4 in”, “100 mm”."""
    ruling = RULINGS[unit]
    return f"{ruling.square:g} {ruling.unit}"
