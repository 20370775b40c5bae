"""What can be lit: frozen shapes in platen millimetres, each with a role.

Marks say *what* and *where*; `overlay.palette` decides colour, `overlay.draw.frame`
turns them into pixels. All coordinates are in the platen frame; `height` is the
lit surface's height above the platen's bare face, mm, so that light on thick
cloth lands at true scale.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from calibration.geometry import XY, Isometry, xy_tuple

LINE_WIDTH = 1.5
"""Usual line width, mm: four pixels of a 1080p projector that covers a 406 x 508 mm platen, and
still 2.8 where the beam falls at 45 degrees. `overlay.draw.raster` says how accuracy depends on it.
"""

LEADING = 1.75
"""From one line of lettering to the next, in cap heights."""


class Role(Enum):
    """Why a mark is lit; decides its colour and line style."""

    LOAD = "load"
    """Where the garment goes."""
    LAY = "lay"
    """Where the sheet and its ink go."""
    CLEAR = "clear"
    """Areas to stay clear of."""
    NOTE = "note"
    """Text for the operator."""
    WARN = "warn"
    """What is wrong."""
    CHECK = "check"
    """Alignment view, to be checked with a ruler."""


class Dash(Enum):
    """Line style, so that roles differ by more than colour.

    The lengths are in `overlay.draw.strokes`; every straight leg begins and ends lit,
    so that corners and ends can be trusted.
    """

    SOLID = "solid"
    DASHED = "dashed"
    DOTTED = "dotted"
    CHAIN = "chain"
    """Long and short dashes in turn, as drafting draws centre lines."""


@dataclass(frozen=True)
class Stroke:
    """A polyline of constant width that ends exactly at its first and last vertex.

    Attributes
    ----------
    points : tuple of (x, y)
        Vertices, platen frame, mm. A single point is drawn as a dot.
    closed : bool
        Whether the last vertex joins the first.
    width : float
        Line width on the lit surface, mm.
    dash : Dash or None
        Line style; None leaves it to the palette, which knows the role's own.
    """

    points: tuple[XY, ...]
    role: Role
    width: float = LINE_WIDTH
    closed: bool = False
    dash: Dash | None = None
    height: float = 0.0


@dataclass(frozen=True)
class Crosshair:
    """Two crossing strokes with a gap-free centre: the point where they cross is meant.

    Attributes
    ----------
    centre : (x, y)
        Platen frame, mm.
    arm : float
        Length of each of the four arms, mm.
    angle : float
        Turn of the first arm from platen +x, counter-clockwise, radians.
    """

    centre: XY
    role: Role
    arm: float = 15.0
    angle: float = 0.0
    width: float = LINE_WIDTH
    height: float = 0.0


@dataclass(frozen=True)
class Hatch:
    """A polygon filled with parallel lines and outlined: stay clear of it.

    Attributes
    ----------
    polygon : tuple of (x, y)
        Vertices, platen frame, mm; the last joins the first.
    spacing : float
        Distance between hatch lines, mm.
    angle : float
        Direction of the hatch lines from platen +x, counter-clockwise, radians.
    """

    polygon: tuple[XY, ...]
    role: Role = Role.CLEAR
    spacing: float = 10.0
    angle: float = 0.7853981633974483
    width: float = 1.0
    height: float = 0.0


@dataclass(frozen=True)
class Text:
    """Lettering, upright for the operator (reading along platen +x) unless turned.

    Attributes
    ----------
    anchor : (x, y)
        Where the text's anchor lies, platen frame, mm.
    text : str
        One line, or several joined by line feeds, each aligned across for itself;
        the box reaches from the last baseline to the top of the first line's capitals.
    size : float
        Cap height on the lit surface, mm.
    align : (float, float)
        Which point of the text's box lies on the anchor: (0, 0) bottom left of the
        baseline box, (0.5, 0.5) its middle, (1, 1) top right.
    angle : float
        Direction of the baseline from platen +x, counter-clockwise, radians.
    """

    anchor: XY
    text: str
    role: Role = Role.NOTE
    size: float = 10.0
    align: tuple[float, float] = (0.5, 0.5)
    angle: float = 0.0
    height: float = 0.0


Mark = Stroke | Crosshair | Hatch | Text


def moved(mark: Mark, by: Isometry) -> Mark:
    """Return a mark shifted and turned on the platen.

    Parameters
    ----------
    mark : Mark
    by : Isometry
        Platen frame to platen frame, not mirrored.
    """
    match mark:
        case Stroke():
            return replace(mark, points=xy_tuple(by.apply(mark.points)))
        case Crosshair():
            (centre,) = xy_tuple(by.apply(mark.centre))
            return replace(mark, centre=centre, angle=mark.angle + by.angle)
        case Hatch():
            polygon = xy_tuple(by.apply(mark.polygon))
            return replace(mark, polygon=polygon, angle=mark.angle + by.angle)
        case Text():
            (anchor,) = xy_tuple(by.apply(mark.anchor))
            return replace(mark, anchor=anchor, angle=mark.angle + by.angle)
