"""Which lines a placed imprint wants of the lasers, at the height of its cloth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from calibration.geometry import XY, Isometry, PlatenFace
from chalkbeam.artwork import Artwork, extents
from chalkbeam.basics.sentences import Sentence
from chalkbeam.lasers.hung import Way
from chalkbeam.locations import Axis, Rule
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Loading, centre_line, centre_words
from chalkbeam.placement.solve import feature_offset
from chalkbeam.placement.values import CLOSE

STRAIGHT = 1e-3
"""Lines whose directions differ by less than this, radians, are parallel: a quarter of a
millimetre from one edge of a large platen to the other."""


INSIDE = 20.0
"""A line to load by that lies nearer to the platen's edge than this, mm, is left out: the tilt of
its laser could take its tick off the platen."""


class LineKind(Enum):
    """What a line is for."""

    CENTRE = "centre"
    """The face's centre line, with the art's middle on it."""
    UPRIGHT = "upright"
    """Down the garment through the art's optical centre, beside the centre line."""
    DEPTH = "depth"
    """Across, at the edge of the ink (or sheet) that its location counts from."""
    HEIGHT = "height"
    """Across, through the art's optical centre."""
    BASELINE = "baseline"
    """Along the line that lettering stands on."""
    TILT = "tilt"
    """Along turned art, through its optical centre."""
    FOLD = "garment"
    """The face's centre line, to load the garment by."""
    PITS = "armpits"
    """From armpit to armpit, to load the garment by."""


@dataclass(frozen=True)
class LaserLine:
    """One straight line on the cloth.

    Attributes
    ----------
    kind : LineKind
    words : str
        What it is, for the operator.
    point : (x, y)
        A point of it, platen frame, mm.
    angle : float
        Its direction from platen +x, radians, from -45 (not included) to 135 degrees.
    height : float
        Of the cloth above the bare platen, mm.
    on_art : Sentence or None
        Where it falls on the transfer; None for a line that only the garment lies by.
    """

    kind: LineKind
    words: str
    point: XY
    angle: float
    height: float
    on_art: Sentence | None = None

    @property
    def way(self) -> Way:
        """How it runs, near enough."""
        return Way.AWAY if self.angle > math.pi / 4 else Way.ACROSS

    @property
    def turned(self) -> bool:
        """Whether it is parallel to no edge of the platen."""
        return abs(self.angle - straight(self.way)) > STRAIGHT

    @property
    def offset(self) -> float:
        """Distance from the platen's middle along `normal`, mm."""
        x, y = normal(self.angle)
        return x * self.point[0] + y * self.point[1]


def straight(way: Way) -> float:
    """Return the angle of a line that runs this way exactly, radians."""
    return math.pi / 2 if way is Way.AWAY else 0.0


def normal(angle: float) -> XY:
    """Return the unit vector square to a line, to the right or to the back.

    Parameters
    ----------
    angle : float
        As of `LaserLine`.
    """
    sign = 1.0 if angle > math.pi / 4 else -1.0
    return sign * math.sin(angle), -sign * math.cos(angle)


@dataclass(frozen=True)
class WantedLines:
    """The lines of one imprint, the most wanted first.

    Attributes
    ----------
    lay : tuple of LaserLine
        Two lines that the transfer is laid by.
    load : tuple of LaserLine
        Lines that help to load the garment.
    """

    lay: tuple[LaserLine, ...]
    load: tuple[LaserLine, ...] = ()


def wanted_lines(placement: Placement, loading: Loading) -> WantedLines:
    """Return the lines of a placed and loaded imprint."""
    pose, height = loading.platen_from_garment, loading.height
    y = placement.centre[1]
    centre = centre_line(placement)
    title, middle = placement.location.title, centre_words(placement.face.name)
    x, on_art = _upright(placement)
    if abs(x - centre) <= CLOSE:
        first = _line(LineKind.CENTRE, middle, pose, (x, y), 90.0, height, on_art)
    else:
        words = f"{title} vertical"
        first = _line(LineKind.UPRIGHT, words, pose, (x, y), 90.0, height, on_art)
    load = []
    if first.kind is LineKind.UPRIGHT:
        load.append(_line(LineKind.FOLD, middle, pose, (centre, y), 90.0, height))
    level = placement.face.along.get("pit_line")
    if level is not None and placement.face.name in ("front", "back"):
        load.append(_line(LineKind.PITS, "armpits", pose, (centre, level.value), 0.0, height))
    shown = tuple(line for line in load if _crosses(line, loading.platen.face))
    return WantedLines((first, _second(placement, pose, height)), shown)


def _crosses(line: LaserLine, face: PlatenFace) -> bool:
    """Whether a straight line lies on the platen, well inside its edges."""
    side = face.width if line.way is Way.AWAY else face.depth
    return abs(line.offset) < side / 2 - INSIDE


def _rule(placement: Placement, axis: Axis) -> Rule:
    """Return the rule by which art is placed along an axis."""
    return next(
        each.rule
        for each in placement.rules
        if each.rule.axis is axis and each.rule.bound == "target" and not each.rule.check
    )


def _upright(placement: Placement) -> tuple[float, Sentence]:
    """Return x of the line down the garment, and where it falls on the transfer."""
    art, turn = placement.artwork, placement.garment_from_art.angle
    beside = feature_offset(_rule(placement, Axis.ACROSS), extents(art, turn))
    if abs(turn) > STRAIGHT and beside != 0.0:
        beside = 0.0  # what no line of the turned sheet tells: its optical centre does
    return placement.centre[0] + beside, _from_left(art, art.optical_centre.point[0] + beside)


def _second(placement: Placement, pose: Isometry, height: float) -> LaserLine:
    """Return the line across: by what the location counts from, or along turned art."""
    art, turn = placement.artwork, placement.garment_from_art.angle
    x, y = placement.centre
    if abs(turn) > STRAIGHT:
        at = art.optical_centre.point[1] if art.baseline is None else art.baseline
        kind = LineKind.TILT if art.baseline is None else LineKind.BASELINE
        words = f"tilt {math.degrees(abs(turn)):.3g}°"
        words = words if art.baseline is None else f"baseline, {words}"
        point = placement.garment_from_art.apply([(art.optical_centre.point[0], at)])[0]
        place = (float(point[0]), float(point[1]))
        return _line(kind, words, pose, place, math.degrees(turn), height, _from_top(art, at))
    rule = _rule(placement, Axis.ALONG)
    down = feature_offset(rule, extents(art, turn))
    edge = rule.art.replace("_", " ")
    kinds = {
        "optical_centre": (LineKind.HEIGHT, "height"),
        "baseline": (LineKind.BASELINE, "baseline"),
    }
    kind, words = kinds.get(rule.art, (LineKind.DEPTH, f"depth, {edge}"))
    on_art = _from_top(art, art.optical_centre.point[1] + down)
    return _line(kind, words, pose, (x, y + down), 0.0, height, on_art)


def _line(
    kind: LineKind, words: str, pose: Isometry, point: XY, degrees: float, height: float,
    on_art: Sentence | None = None,
) -> LaserLine:  # fmt: skip
    """Return a line of the garment frame (degrees from its +x, y down) in the platen frame."""
    along = math.radians(degrees)
    dx, dy = pose.matrix @ (math.cos(along), math.sin(along))
    angle = math.atan2(dy, dx) % math.pi
    if angle > 3 * math.pi / 4 + 1e-9:
        angle -= math.pi
    x, y = pose.apply([point])[0]
    return LaserLine(kind, words, (float(x), float(y)), angle, height, on_art)


def _from_left(art: Artwork, x: float) -> Sentence:
    """Return where the upright line falls on the transfer."""
    return _on_art(art, x, art.ink.centre[0], (art.ink.left, art.sheet.left), "left")


def _from_top(art: Artwork, y: float) -> Sentence:
    """Return where a line along the art falls on the transfer."""
    if abs(y - art.ink.top) < CLOSE:
        return Sentence("along the top of the ink")
    return _on_art(art, y, art.ink.centre[1], (art.ink.top, art.sheet.top), "top")


def _on_art(
    art: Artwork, at: float, middle: float, edges: tuple[float, float], name: str
) -> Sentence:
    """Return where a line falls; `edges` are those of ink and sheet, on the side of that name."""
    if abs(at - middle) < CLOSE:
        return Sentence("through the middle of the ink")
    ink, sheet = edges
    if art.sheet != art.ink:
        return Sentence(f"{{0}} from the sheet's {name} edge", (at - sheet,))
    return Sentence(f"{{0}} from the ink's {name} edge", (at - ink,))
