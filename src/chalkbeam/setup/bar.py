"""The bar that is printed beside the cards, as it was measured."""

from __future__ import annotations

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, parse_length


def parse_bar(text: str, default: Unit | None = None) -> float:
    """Return the measured length of the printed 100 mm bar, mm.

    Parameters
    ----------
    text : str
    default : Unit, optional
        The unit of a bare number.

    Raises
    ------
    Refusal
        If it is no length, or the cards were printed to no use.
    """
    value = parse_length(text, default)
    if not 90 <= value <= 110:
        raise Refusal(
            f"A bar of {text} is no 100 mm bar printed at 100 %: print the cards again at actual "
            "size."
        )
    return value
