"""The unit that the shop works in, for the page."""

from __future__ import annotations

from chalkbeam.basics.units import Unit
from chalkbeam.presses.settings import shop_settings


def shop_unit() -> Unit:
    """Return what the shop's settings say; inches where they say nothing, as in commands.

    Raises
    ------
    Refusal
        If the settings cannot be used.
    """
    return shop_settings().units or Unit.INCH
