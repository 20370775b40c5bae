"""How each role looks in light: by colour and line style, never by colour alone.

The visual language, readable from 1.5 m:

=======  ================  ==================================================
role     colour            style
=======  ================  ==================================================
load     amber             dashed lines: where the garment's own edges go
lay      ice blue          solid lines: where the sheet and its ink go
clear    vermilion         dotted edge around a hatched area: keep off
note     white             plain lettering
warn     pink              lettering in a box
check    pale grey         thin solid lines, to be held against a ruler
=======  ================  ==================================================
"""

from __future__ import annotations

from dataclasses import dataclass

from overlay.marks import Dash, Role

RGB = tuple[int, int, int]
"""A projector colour, red, green, blue, each 0 to 255."""


@dataclass(frozen=True)
class Look:
    """How one role looks.

    Attributes
    ----------
    colour : RGB
        Colour at full light.
    dash : Dash
        Line style of strokes that do not choose their own.
    boxed : bool
        Whether lettering stands in a box.
    """

    colour: RGB
    dash: Dash = Dash.SOLID
    boxed: bool = False


@dataclass(frozen=True)
class Palette:
    """One look per role (the fields bear the roles' names), and the projector's response.

    Attributes
    ----------
    gamma : float
        The projector's emitted light is (code / 255) ** gamma. Partly covered
        edge pixels get the code that emits their share of the *light*; a plain
        share of the code would thin every line. 2.2 is what video displays are
        set up for (common practice, no source).
    """

    load: Look
    lay: Look
    clear: Look
    note: Look
    warn: Look
    check: Look
    gamma: float = 2.2

    def look(self, role: Role) -> Look:
        """Return how `role` looks."""
        look: Look = getattr(self, role.value)
        return look


DEFAULT_PALETTE = Palette(
    load=Look((255, 190, 40), Dash.DASHED),
    lay=Look((120, 235, 255)),
    clear=Look((255, 80, 30), Dash.DOTTED),
    note=Look((255, 255, 255)),
    warn=Look((255, 130, 235), boxed=True),
    check=Look((210, 215, 220)),
)
"""For the bare platen in a dim room."""
