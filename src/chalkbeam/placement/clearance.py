"""Ink and sheet against a garment's stay-clear areas."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from calibration.geometry import Isometry, Points, as_points
from chalkbeam.artwork import Artwork
from chalkbeam.basics.sentences import Sentence, literal
from chalkbeam.garments import Area, Face
from chalkbeam.placement.values import Concern, Severity

TRACE = 1.0
"""An overlap below this, mm², is the rounding of a simplified outline."""
CLEAR = 3.0
"""Ink nearer than this to an area it must not touch leaves no room for the hand, mm."""
SLIVER = 0.5
"""A hood that covers no more than this of the ink's top, mm, covers none that anybody sees."""

_TELL = {
    "hood_shadow": "hood",
    "side_fold": "fold",
    "pocket_edge": "pocket",
    "button": "placket",
}


@functools.lru_cache(maxsize=512)
def ink_shape(artwork: Artwork) -> BaseGeometry:
    """Return the ink's outer outlines as one shapely shape in the art frame, mm."""
    rings = [shapely.Polygon(ring) for ring in artwork.outline if len(ring) >= 3]
    shape = shapely.union_all([valid(ring) for ring in rings])
    return shape if shape.area > 0 else shapely.Polygon(artwork.hull)


@dataclass(frozen=True, eq=False)
class _FaceShapes:
    """A face's polygons, ready to be asked many times; areas of one name are one shape."""

    cloth: BaseGeometry
    areas: tuple[tuple[Area, BaseGeometry], ...]
    bounds: Points

    def near(self, low: Points, high: Points) -> list[tuple[Area, BaseGeometry]]:
        """Return the areas whose boxes come near the box between two corners of shape (2,)."""
        reach = (self.bounds[:, :2] <= high + CLEAR) & (self.bounds[:, 2:] >= low - CLEAR)
        return [self.areas[index] for index in np.nonzero(reach.all(axis=1))[0]]


@functools.lru_cache(maxsize=2048)
def _face_shapes(face: Face) -> _FaceShapes:
    cloth = valid(shapely.Polygon(face.outline))
    shapely.prepare(cloth)
    named: dict[str, tuple[Area, list[BaseGeometry]]] = {}
    for area in face.areas:
        named.setdefault(area.name, (area, []))[1].append(valid(shapely.Polygon(area.polygon)))
    areas = []
    for area, shapes in named.values():
        shape = shapely.union_all(shapes)
        shapely.prepare(shape)
        areas.append((area, shape))
    bounds = np.array([shape.bounds for _, shape in areas]).reshape(-1, 4)
    return _FaceShapes(cloth, tuple(areas), bounds)


def valid(shape: BaseGeometry) -> BaseGeometry:
    """Return a shape whose edges do not cross."""
    return shape if shape.is_valid else shape.buffer(0)


def moved(shape: BaseGeometry, pose: Isometry) -> BaseGeometry:
    """Return a shape of the source frame in the target frame."""
    return shapely.transform(shape, lambda points: np.asarray(pose.apply(points)))


@dataclass(frozen=True)
class Clearance:
    """What ink on a face touches.

    Attributes
    ----------
    warnings : tuple of Concern
    hidden : float
        Share of the ink under a lying hood, 0 to 1.
    covered : float
        How far down from the ink's top the hood reaches over it, mm.
    """

    warnings: tuple[Concern, ...]
    hidden: float = 0.0
    covered: float = 0.0


def clearance(face: Face, artwork: Artwork, garment_from_art: Isometry) -> Clearance:
    """Compare the ink with the face's stay-clear areas and its edge.

    Parameters
    ----------
    face : Face
    artwork : Artwork
    garment_from_art : Isometry
        Pose of the art in the face's garment frame.
    """
    shapes = _face_shapes(face)
    corners = garment_from_art.apply(artwork.sheet.corners())
    hull = garment_from_art.apply(as_points(artwork.hull))
    low, high = hull.min(axis=0), hull.max(axis=0)
    sheet_low, sheet_high = corners.min(axis=0), corners.max(axis=0)
    near = shapes.near(np.minimum(low, sheet_low), np.maximum(high, sheet_high))
    room = shapely.box(*low, *high)
    if not near and shapes.cloth.contains(room):
        return Clearance(())
    ink = moved(ink_shape(artwork), garment_from_art)
    sheet = shapely.Polygon(corners)
    warnings: list[Concern] = []
    under_sheet: list[Area] = []
    hidden = covered = 0.0
    if not shapes.cloth.contains(ink):
        off = ink.difference(shapes.cloth)
        if off.area > TRACE:
            warnings.append(_off_cloth(face, off, ink, shapes.cloth))
    for area, shape in near:
        if not (shape.dwithin(ink, CLEAR) or shape.intersects(sheet)):
            continue
        overlap = shape.intersection(ink)
        if area.kind == "hood_shadow":
            if overlap.area > TRACE:
                hidden = overlap.area / ink.area
                covered = float(overlap.bounds[3] - ink.bounds[1])
            if covered > SLIVER:
                warnings.append(_hidden(covered, hidden, ink))
        elif overlap.area > TRACE:
            severity = Severity.STOP if area.hard else Severity.CAUTION
            warnings.append(_on_area(area, overlap, ink, severity))
        elif area.hard and shape.distance(ink) < CLEAR:
            words = f"The ink comes within {{0}} of {_the(area)}."
            warnings.append(Concern(Severity.CAUTION, _about(area), Sentence(words, (CLEAR,))))
        elif area.hard and shape.intersection(sheet).area > TRACE:
            under_sheet.append(area)
    if under_sheet:
        names = ", ".join(_the(area) for area in under_sheet)
        words = f"The sheet's edge lies on {names}: trim the sheet there."
        warnings.append(Concern(Severity.NOTE, _about(under_sheet[0]), Sentence(words)))
    return Clearance(tuple(warnings), hidden, covered)


def _the(area: Area) -> str:
    """Return an area's name for a sentence: "the collar", "button 2"."""
    name = literal(area.name)
    return name if name[-1:].isdigit() else f"the {name}"


def _about(area: Area) -> str:
    return _TELL.get(area.kind, area.kind)


def _extent(shape: BaseGeometry) -> float:
    """Return how far an overlap reaches, mm: the shorter side of the box around its largest part.

    Parts are judged one by one: ink may lie on an area at both of its ends.
    """
    boxes = shapely.bounds(shapely.get_parts(shape))
    return float(np.minimum(*(boxes[:, 2:] - boxes[:, :2]).T).max())


def _beyond(off: BaseGeometry, cloth: BaseGeometry) -> float:
    """Return how far the farthest of what lies off the cloth is from it, mm."""
    corners = shapely.points(shapely.get_coordinates(off))
    return float(shapely.distance(corners, cloth).max())


def _on_area(area: Area, overlap: BaseGeometry, ink: BaseGeometry, severity: Severity) -> Concern:
    share = overlap.area / ink.area
    words = f"The ink lies on {_the(area)}, {{0}} deep, with {_percent(share)} of its area."
    return Concern(severity, _about(area), Sentence(words, (_extent(overlap),)))


def _off_cloth(face: Face, off: BaseGeometry, ink: BaseGeometry, cloth: BaseGeometry) -> Concern:
    name = face.name.replace("_", " ")
    words = f"The ink runs {{0}} off the {name}, with {_percent(off.area / ink.area)} of its area."
    return Concern(Severity.STOP, "edge", Sentence(words, (_beyond(off, cloth),)))


def _hidden(covered: float, share: float, ink: BaseGeometry) -> Concern:
    """Say how far down the hood covers the ink; lower is no remedy where it covers it all."""
    if covered >= ink.bounds[3] - ink.bounds[1] - SLIVER:
        words = (
            f"The hood, worn down, covers the ink to its foot, {_percent(share)} of it: put it "
            "below the hood or on the hood itself."
        )
        return Concern(Severity.CAUTION, "hood", Sentence(words))
    words = (
        f"The hood, worn down, covers the uppermost {{0}} of the ink, {_percent(share)} of it: "
        "place it lower by as much."
    )
    return Concern(Severity.CAUTION, "hood", Sentence(words, (covered,)))


def _percent(share: float) -> str:
    return "less than 1 %" if share < 0.01 else f"{share * 100:.0f} %"
