"""Artwork as the operator sees it laid: where its ink is, where it balances, how its sheet is cut.

Frame ``art``: millimetres at true size; origin at the middle of the box around
the ink; x right and y **down**, as the operator sees the sheet lying on the
garment (a sheet printed in mirror image is seen through its carrier, so it is
turned over here, once, and nowhere else).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path

import numpy as np

from calibration.geometry import XY, Isometry, Points, as_points, xy_tuple
from chalkbeam.basics.sentences import Sentence, joined
from chalkbeam.basics.units import MM_PER_INCH

COARSE_DPI = 100
"""Fewer pixels to the inch print with visible steps."""
UNSEEN_SHIFT = 0.03
"""Along an axis, a centroid closer to the box's middle than this share of the extent looks the
same: the middle is used, being easier to check with a ruler."""
SAME_PLACE = 1.6
"""A centroid nearer to the middle than this, mm, is not worth a word: 1/16 in, which inches to
the nearest 1/8 would call none."""
LARGEST_SHIFT = 0.10
"""Further off than this share of the extent, the art's edges would look off centre whatever
its weight says."""


@dataclass(frozen=True)
class Box:
    """An upright rectangle in a frame with y down, mm."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Extent along x, mm."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Extent along y, mm."""
        return self.bottom - self.top

    @property
    def centre(self) -> XY:
        """The middle."""
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    def corners(self) -> Points:
        """Return top left, top right, bottom right, bottom left, shape (4, 2)."""
        return np.array(
            [
                [self.left, self.top],
                [self.right, self.top],
                [self.right, self.bottom],
                [self.left, self.bottom],
            ]
        )

    def grown(self, margin: float) -> Box:
        """Return the box with `margin` mm more on every side."""
        return Box(self.left - margin, self.top - margin, self.right + margin, self.bottom + margin)

    def scaled(self, factor: float) -> Box:
        """Return the box with every coordinate multiplied."""
        return Box(*(factor * side for side in (self.left, self.top, self.right, self.bottom)))

    def shifted(self, x: float, y: float) -> Box:
        """Return the box moved by (x, y)."""
        return Box(self.left + x, self.top + y, self.right + x, self.bottom + y)

    @classmethod
    def around(cls, points: Points) -> Box:
        """Return the smallest box that holds points of shape (N, 2)."""
        (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
        return cls(float(left), float(top), float(right), float(bottom))


class CentreRule(Enum):
    """Which centre of the art is laid on the line."""

    AUTO = "auto"
    """The ink's, where the eye would see the difference; within limits."""
    INK = "ink"
    """The weighted centroid of the ink."""
    BOX = "box"
    """The middle of the box around the ink."""


@dataclass(frozen=True)
class OpticalCentre:
    """Where the art balances for the eye.

    Attributes
    ----------
    point : (x, y)
        Art frame, mm.
    reason : Sentence
        Which centre this is, and why.
    """

    point: XY
    reason: Sentence


def optical_centre(ink: Box, centroid: XY, rule: CentreRule = CentreRule.AUTO) -> OpticalCentre:
    """Choose between the ink's weighted centroid and the middle of its box, axis by axis.

    The eye weighs ink, but it also sees edges. A difference nobody sees is not
    worth a number nobody can check with a ruler: then the box's middle is used.
    A large one is followed only so far. The two limits are Chalkbeam's
    choice.

    Parameters
    ----------
    ink : Box
        The box around the ink, mm.
    centroid : (x, y)
        Centroid of the ink weighted by its cover, same frame, mm.
    rule : CentreRule
        The user's choice; `AUTO` decides as above.
    """
    middle = ink.centre
    if rule is CentreRule.BOX:
        return OpticalCentre(middle, Sentence("the middle of the ink's box, as you asked"))
    if rule is CentreRule.INK:
        return OpticalCentre(centroid, Sentence("the centroid of the ink, as you asked"))
    x, across = _axis_centre(middle[0], centroid[0], ink.width, ("left of", "right of"))
    y, along = _axis_centre(middle[1], centroid[1], ink.height, ("above", "below"))
    moved = [part for part in (across, along) if part and part.lengths[0] >= SAME_PLACE]
    if not moved:
        off = math.hypot(centroid[0] - middle[0], centroid[1] - middle[1])
        if off < SAME_PLACE or across or along:
            return OpticalCentre((x, y), Sentence("the middle of the ink's box"))
        words = "the middle of the ink's box; the ink balances {0} from it, which nobody sees"
        return OpticalCentre((x, y), Sentence(words, (off,)))
    where = joined(moved, " and ")
    words = f"where the ink balances: {where.template} the middle of its box"
    return OpticalCentre((x, y), replace(where, template=words))


def _axis_centre(
    middle: float, centroid: float, extent: float, sides: tuple[str, str]
) -> tuple[float, Sentence | None]:
    """Return the centre along one axis, and the words for it if it is not the box's middle."""
    shift = centroid - middle
    if abs(shift) <= UNSEEN_SHIFT * extent:
        return middle, None
    side = sides[shift > 0]
    limit = LARGEST_SHIFT * extent
    if abs(shift) <= limit:
        return centroid, Sentence(f"{{0}} {side}", (abs(shift),))
    words = f"{{0}} {side} (its centroid lies {{1}} off, but its edges count too)"
    return middle + math.copysign(limit, shift), Sentence(words, (limit, abs(shift)))


@dataclass(frozen=True)
class Lettered:
    """How a line of letters was set.

    Attributes
    ----------
    font : Path
    cap : float
        Height of its capitals, mm.
    share : float
        How wide it is, of its own width: less than 1 where it was condensed.
    arc : float or None
        Radius of its baseline, mm; None for a straight one.
    """

    font: Path
    cap: float
    share: float = 1.0
    arc: float | None = None

    def scaled(self, factor: float) -> Lettered:
        """Return how it is set `factor` times as large."""
        arc = None if self.arc is None else factor * self.arc
        return replace(self, cap=factor * self.cap, arc=arc)


@dataclass(frozen=True)
class Artwork:
    """One artwork at true size; all coordinates in the art frame, mm.

    Attributes
    ----------
    name : str
        What to call it, usually the file's name.
    ink : Box
        The box around the ink; its middle is the frame's origin.
    sheet : Box
        The transfer sheet's edges.
    optical_centre : OpticalCentre
        The point that location rules centre.
    centroid : (x, y)
        Centroid of the ink weighted by its cover.
    baseline : float or None
        y of the line a single line of lettering stands on; None for other art.
    outline : tuple of polygons
        The ink's outer edges, simplified to what light can show.
    hull : polygon
        Convex hull of the ink.
    mirrored : bool
        Whether the sheet is printed in mirror image and seen through its carrier.
    notes : tuple of Sentence
        What whoever orders it should know.
    remarks : tuple of Sentence
        What was taken for granted while reading its file, for the shop.
    letters : Lettered or None
        How it was set, if it is lettering.
    dots : float or None
        Pixels to the millimetre of a picture; None for what is drawn.
    """

    name: str
    ink: Box
    sheet: Box
    optical_centre: OpticalCentre
    centroid: XY
    baseline: float | None
    outline: tuple[tuple[XY, ...], ...]
    hull: tuple[XY, ...]
    mirrored: bool = False
    notes: tuple[Sentence, ...] = ()
    remarks: tuple[Sentence, ...] = ()
    letters: Lettered | None = None
    dots: float | None = None

    def said(self) -> tuple[Sentence, ...]:
        """Return what whoever orders it in this size should know."""
        dpi = math.inf if self.dots is None else self.dots * MM_PER_INCH
        if dpi >= COARSE_DPI:
            return self.notes
        words = f"At this size the picture has only {dpi:.0f} pixels to the inch."
        return (*self.notes, Sentence(words))

    def scaled(self, factor: float) -> Artwork:
        """Return the artwork printed `factor` times as large, its sheet with it."""

        def points(ring: tuple[XY, ...]) -> tuple[XY, ...]:
            return tuple((factor * x, factor * y) for x, y in ring)

        centre = self.optical_centre.point
        reason = self.optical_centre.reason
        return replace(
            self,
            ink=self.ink.scaled(factor),
            sheet=self.sheet.scaled(factor),
            optical_centre=OpticalCentre(
                (factor * centre[0], factor * centre[1]),
                replace(reason, lengths=tuple(factor * length for length in reason.lengths)),
            ),
            centroid=(factor * self.centroid[0], factor * self.centroid[1]),
            baseline=None if self.baseline is None else factor * self.baseline,
            outline=tuple(points(ring) for ring in self.outline),
            hull=points(self.hull),
            letters=self.letters and self.letters.scaled(factor),
            dots=self.dots and self.dots / factor,
        )


@dataclass(frozen=True)
class Extents:
    """Where an artwork's features lie once turned, relative to its optical centre, mm, y down.

    Attributes
    ----------
    ink, sheet : Box
        Boxes around the turned ink and the turned sheet.
    baseline : float or None
        y of the turned baseline straight below or above the optical centre.
    cap_line : float or None
        y of the upper end of upright capitals, which an O or an accent rises above; None for
        other art.
    """

    ink: Box
    sheet: Box
    baseline: float | None
    cap_line: float | None = None


def extents(artwork: Artwork, angle: float = 0.0) -> Extents:
    """Turn an artwork about its optical centre and measure it.

    Parameters
    ----------
    artwork : Artwork
    angle : float
        Turn in a frame with y down, radians; negative rises to the right.
    """
    x, y = artwork.optical_centre.point
    if angle == 0.0:
        baseline = None if artwork.baseline is None else artwork.baseline - y
        ink, sheet = artwork.ink.shifted(-x, -y), artwork.sheet.shifted(-x, -y)
        letters = artwork.letters
        hangs = letters is None or (letters.arc is not None and letters.arc < 0)
        line = None if baseline is None or letters is None or hangs else baseline - letters.cap
        return Extents(ink, sheet, baseline, line)
    turn = Isometry(angle=angle)
    steep = abs(math.cos(angle)) < 0.1  # a baseline that runs up or down stands on no line
    return Extents(
        Box.around(turn.apply(as_points(artwork.hull) - (x, y))),
        Box.around(turn.apply(artwork.sheet.corners() - (x, y))),
        None if artwork.baseline is None or steep else (artwork.baseline - y) / math.cos(angle),
    )


def convex_hull(points: Points) -> tuple[XY, ...]:
    """Return the convex hull of points of shape (N, 2) as a polygon."""
    from shapely import LineString

    hull = LineString(points).convex_hull  # made in one go, unlike as many points
    if hull.geom_type != "Polygon":  # ink as thin as a line
        return xy_tuple(Box.around(points).corners())
    return xy_tuple(np.asarray(hull.exterior.coords)[:-1])
