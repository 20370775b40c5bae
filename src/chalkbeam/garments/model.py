"""What a garment is to the rest of the program: frozen values in millimetres.

Frames, one per face (all millimetres, x to the right as one looks at the face
lying flat with its upper end away from the viewer, y **down**):

``front``, ``back``
    Origin where the centre line meets the neck seam of that face. The wearer's
    left lies at x > 0 on the front and at x < 0 on the back.
``left_sleeve``, ``right_sleeve``
    The sleeve opened flat about its outer line, seen from outside. Origin where
    the outer line (the fold of the sleeve as the garment lies flat) meets the
    shoulder seam; y runs down that line to the hem or cuff. The garment's front
    lies at x < 0 on the left sleeve and at x > 0 on the right one.
``left_leg``, ``right_leg``
    The front of one leg as it lies flat. Origin where the side seam meets the
    waistband's seam; y runs down the side. The leg lies at x < 0 on the left leg
    (the wearer's left is the viewer's right) and at x > 0 on the right one.
``left_hood``, ``right_hood``
    One side of a hood folded flat along its middle, seen from outside. Origin at its
    top, half way between the opening's edge and the back; y runs down to the neck
    seam. The opening lies at x < 0 on the left side (the wearer's) and at x > 0 on
    the right one.
``panel``
    The front of a bag. Origin where the centre line meets the upper edge.

On faces without a neck seam the origin plays its part: y = 0 is the seam or edge
from which depths are measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

from calibration.geometry import Points, as_points
from calibration.refusal import Refusal

Age = Literal["infant", "toddler", "youth", "adult"]
Fit = Literal["regular", "womens"]
AreaKind = Literal[
    "collar",
    "placket",
    "button",
    "zip",
    "pocket_edge",
    "seam",
    "side_fold",
    "hood_shadow",
    "handle",
]
LineKind = Literal["edge", "seam", "stitch", "fold"]
Fill = Literal["none", "cloth", "rib", "inside", "metal"]

AGES: tuple[Age, ...] = get_args(Age)
FITS: tuple[Fit, ...] = get_args(Fit)


def _frozen_points(points: Points) -> Points:
    frozen = as_points(points).copy()
    frozen.setflags(write=False)
    return frozen


@dataclass(frozen=True)
class Measure:
    """One measurement of a garment lying flat.

    Attributes
    ----------
    value : float
        Millimetres.
    tolerance : float
        How far one piece of the box may differ from the next, ± mm.
    derived : str or None
        The rule the value comes from where no chart or tape gave it, as a sentence.
    source : str
        Where the value or the rule comes from.
    """

    value: float
    tolerance: float
    derived: str | None = None
    source: str = ""

    @property
    def assumed(self) -> bool:
        """Whether it rests on memory or common practice alone: on no chart, tape or standard."""
        return self.source.startswith(("from memory", "common practice"))


@dataclass(frozen=True)
class Landmark:
    """A line on a face that a location refers to: y if it runs across, x if it runs down.

    Attributes
    ----------
    value : float
        Where the line lies in the face's frame, mm.
    tolerance : float
        How far it may lie elsewhere on the next piece, ± mm.
    derived : str or None
        The grading rule behind it; None where it rests on chart or tape alone.
    """

    value: float
    tolerance: float
    derived: str | None = None


@dataclass(frozen=True, eq=False)
class Area:
    """A polygon to stay clear of, shape (N, 2), mm, in the face's frame; last joins first.

    `hard` areas never take ink; a soft one (a side fold, the part that a lying
    hood hides) deserves a warning.
    """

    name: str
    kind: AreaKind
    polygon: Points
    hard: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "polygon", _frozen_points(self.polygon))


@dataclass(frozen=True, eq=False)
class Line:
    """A line to draw on a face (a sleeve's edge, a stitch line), shape (N, 2), mm.

    Attributes
    ----------
    closed : bool
        Whether the last point joins the first.
    fill : Fill
        What a closed line is filled with; later lines lie on top of earlier ones.
    """

    name: str
    kind: LineKind
    points: Points
    closed: bool = False
    fill: Fill = "none"

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", _frozen_points(self.points))


@dataclass(frozen=True, eq=False)
class Face:
    """One decorated side of a garment, in its own frame (see the module's docstring).

    Attributes
    ----------
    name : str
    outline : ndarray, shape (N, 2), mm
        The cloth that can take ink, as a polygon; last vertex joins the first.
        Of a top's front or back it is the body panel, without the sleeves.
    along : mapping of name to Landmark
        Lines across the face, by their y ("neck_seam", "pit_line", "hem", …).
    across : mapping of name to Landmark
        Lines down the face, by their x ("centre", "left_neck_point", …).
    areas : tuple of Area
        Stay-clear polygons.
    lines : tuple of Line
        What a drawing shows besides the outline.
    """

    name: str
    outline: Points
    along: Mapping[str, Landmark]
    across: Mapping[str, Landmark]
    areas: tuple[Area, ...] = ()
    lines: tuple[Line, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "outline", _frozen_points(self.outline))
        object.__setattr__(self, "along", MappingProxyType(dict(self.along)))
        object.__setattr__(self, "across", MappingProxyType(dict(self.across)))

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Smallest and largest (x, y) of all that is drawn: x0, y0, x1, y1, mm."""
        points = np.vstack([self.outline, *(line.points for line in self.lines)])
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)


_FACE_WORDS = {"leg": "left_leg", "sleeve": "left_sleeve", "hood": "left_hood"}


@dataclass(frozen=True, eq=False)
class Garment:
    """A style in a size, with everything a placement needs to know about it.

    Attributes
    ----------
    style, size, fit, label : str
        As in the charts: "crew_tee", "M", "regular", "Crew tee, adult M".
    age : Age
        Which age group the size belongs to; bags count as adult.
    thickness : float
        One layer of its cloth, mm: how far the lit surface rises above what it lies on.
    tolerance : float
        How far pieces of one box differ from one another, ± mm.
    measures : mapping of name to Measure
    remark : str
        What to look at whenever it is pressed; empty for nothing.
    """

    style: str
    size: str
    fit: Fit
    label: str
    age: Age
    thickness: float
    tolerance: float
    measures: Mapping[str, Measure]
    _faces: Mapping[str, Face] = field(repr=False)
    remark: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "measures", MappingProxyType(dict(self.measures)))
        object.__setattr__(self, "_faces", MappingProxyType(dict(self._faces)))

    @property
    def faces(self) -> tuple[str, ...]:
        """The names of the faces that can be decorated."""
        return tuple(self._faces)

    def face(self, name: str) -> Face:
        """Return a face by name ("leg", "sleeve" and "hood" mean the wearer's left one).

        Raises
        ------
        Refusal
            If the garment has no such face.
        """
        found = self._faces.get(name) or self._faces.get(_FACE_WORDS.get(name, ""))
        if found is None:
            asked, has = name.replace("_", " "), ", ".join(self.faces).replace("_", " ")
            raise Refusal(f"{self.label} has no face “{asked}”: it has {has}.")
        return found
