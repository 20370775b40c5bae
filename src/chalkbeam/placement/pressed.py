"""What lies under the press's head besides the print, graded, and what would keep it out."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from calibration.geometry import Isometry
from chalkbeam.basics.sentences import Sentence, joined, literal
from chalkbeam.basics.units import MM_PER_INCH
from chalkbeam.garments import Face
from chalkbeam.placement.clearance import moved
from chalkbeam.placement.platens import Platen
from chalkbeam.placement.ridges import Ridge, ridges
from chalkbeam.placement.values import Concern, Severity

EDGE = 6.0
"""Pressure and heat fall off towards a platen's edge: ink stays this far inside it, mm.
Common practice, no source."""
MARGIN = MM_PER_INCH / 2
"""How far the sheet stays inside the platen's edge where it can, mm; common practice, no source."""
TRACE = EDGE * EDGE
"""Less of a ridge than this under the head is its very edge, mm²."""
PAD_STEP = MM_PER_INCH / 2
"""Pads are offered in sizes that are whole multiples of this, mm."""


def under_head(
    face: Face, thickness: float, platen: Platen, pose: Isometry, ink: BaseGeometry
) -> list[tuple[Ridge, float]]:
    """Return the ridges under the head and how far each is from the ink, mm, the gravest first.

    Parameters
    ----------
    face : Face
    thickness : float
        Of one layer of its cloth, mm.
    platen : Platen
    pose : Isometry
        platen_from_garment.
    ink : shapely geometry
        In the platen frame, mm.
    """
    pressed = shapely.Polygon(pose.inverse().apply(platen.pressed()))
    on_face = moved(ink, pose.inverse())
    shapely.prepare(pressed)
    found = []
    for ridge in ridges(face, thickness):
        if not pressed.intersects(ridge.shape):
            continue
        part = ridge.shape.intersection(pressed)
        if part.area > TRACE:
            found.append((ridge, float(part.distance(on_face))))
    return sorted(found, key=lambda each: (-each[0].weight(each[1]), each[1] - each[0].reach))


def pressed_concerns(
    face: Face, thickness: float, platen: Platen, pose: Isometry, ink: BaseGeometry
) -> list[Concern]:
    """Return what lies under the head and should not: what to look at, and what is usual."""
    found = under_head(face, thickness, platen, pose, ink)
    grave = [each for each in found if each[0].weight(each[1]) >= Severity.CAUTION]
    concerns = []
    if grave:
        listed = joined([_where(*each) for each in _paired(grave)], ", ")
        cure = _cure([ridge for ridge, _ in grave], platen, pose, ink)
        words = joined([Sentence("Under the head: "), listed, Sentence(": "), cure], "")
        sentence = Sentence(f"{words.template}.", words.lengths)
        concerns.append(Concern(Severity.CAUTION, "pressed", sentence))
    told = {ridge.name for ridge, _ in grave}
    usual = [each for each in found if each[0].name not in told]
    if usual:
        names = literal(", ".join(ridge.name for ridge, _ in _paired(usual)))
        nearest = min(distance for _, distance in usual)
        seen = f"As usual under the head, {{0}} and more from the print: {names}."
        concerns.append(Concern(Severity.NOTE, "pressed", Sentence(seen, (nearest,))))
    return concerns


def _where(ridge: Ridge, distance: float) -> Sentence:
    return Sentence(f"{literal(ridge.name)} {{0}} from the print", (distance,))


def _paired(found: list[tuple[Ridge, float]]) -> list[tuple[Ridge, float]]:
    """Return ridges without repetition, "left x" and "right x" as one, at the lesser distance."""
    nearest: dict[str, tuple[Ridge, float]] = {}
    for ridge, distance in found:
        if ridge.name not in nearest or distance < nearest[ridge.name][1]:
            nearest[ridge.name] = (ridge, distance)
    paired: list[tuple[Ridge, float]] = []
    for name, (ridge, distance) in nearest.items():
        side, _, what = name.partition(" ")
        other = {"left": "right", "right": "left"}.get(side)
        twin = nearest.get(f"{other} {what}")
        if twin is None:
            paired.append((ridge, distance))
        elif side == "left" or twin[0].name not in nearest:
            both = Ridge(f"left and right {what}", ridge.kind, ridge.height, ridge.shape,
                         ridge.hard)  # fmt: skip
            paired.append((both, min(distance, twin[1])))
    return paired


def _cure(grave: Sequence[Ridge], platen: Platen, pose: Isometry, ink: BaseGeometry) -> Sentence:
    """Return what keeps grave ridges out: the largest pad around the print, and where it lies."""
    box = largest_pad(grave, platen, pose, ink)
    what = "a smaller pad" if platen.pad else "a pad"
    if box is None:
        return Sentence(
            "no pad keeps them out, so near is the print; press it softly, or elsewhere"
        )
    left, front, right, back = box
    x, y = (left + right) / 2, (front + back) / 2
    x0, y0, x1, y1 = ink.bounds
    beside = _off(x - (x0 + x1) / 2, "right", "left")
    beyond = _off(y - (y0 + y1) / 2, "beyond", "nearer than")
    where = [part for part in (beside, beyond) if part is not None]
    size = Sentence(f"{what} {{0}} x {{1}} or less keeps them out", (right - left, back - front))
    if not where:
        return joined([size, Sentence(", its middle under the print's")], "")
    return joined([size, Sentence(", its middle "), joined(where, " and "),
                   Sentence(" the print's")], "")  # fmt: skip


def _off(by: float, more: str, less: str) -> Sentence | None:
    if abs(by) < 3.0:
        return None
    word = more if by > 0 else less
    return Sentence(f"{{0}} {word}{' of' if word in ('right', 'left') else ''}", (abs(by),))


def largest_pad(
    grave: Sequence[Ridge], platen: Platen, pose: Isometry, ink: BaseGeometry
) -> tuple[float, float, float, float] | None:
    """Return the largest rectangle around the ink that none of some ridges lies under.

    Cut down from the pressed area, the nearest part of a ridge first, each time by the side that
    costs least; in whole half inches.

    Returns
    -------
    (left, front, right, back) or None
        Platen frame, mm; None where a ridge lies within the margin that the ink needs.
    """
    pressed = shapely.Polygon(platen.pressed())
    need = np.array(ink.bounds) + np.array([-EDGE, -EDGE, EDGE, EDGE])
    low, high = need[:2], need[2:]
    parts = [moved(ridge.shape, pose).intersection(pressed) for ridge in grave]
    points = shapely.get_coordinates(shapely.segmentize(parts, PAD_STEP / 2))
    off = np.hypot(*np.maximum(np.maximum(low - points, points - high), 0.0).T)
    box = np.array(pressed.bounds)
    for point in points[np.argsort(off)]:
        if not (box[0] < point[0] < box[2] and box[1] < point[1] < box[3]):
            continue
        cuts = []
        for side in range(4):
            cut = box.copy()
            cut[side] = point[side % 2]
            if cut[side] <= need[side] if side < 2 else cut[side] >= need[side]:
                cuts.append(((cut[2] - cut[0]) * (cut[3] - cut[1]), tuple(cut)))
        if not cuts:
            return None
        box = np.array(max(cuts)[1])
    return _in_half_inches(box, need)


def _in_half_inches(
    box: np.ndarray[tuple[int], np.dtype[np.float64]],
    need: np.ndarray[tuple[int], np.dtype[np.float64]],
) -> tuple[float, float, float, float] | None:
    """Return a box made smaller to whole half inches, its middle as near the ink's as can be."""
    sides = []
    for axis in (0, 1):
        length = math.floor((box[2 + axis] - box[axis] + 0.01) / PAD_STEP) * PAD_STEP
        if length < need[2 + axis] - need[axis]:
            length = float(box[2 + axis] - box[axis])
        middle = (need[axis] + need[2 + axis]) / 2
        middle = min(max(middle, box[axis] + length / 2), box[2 + axis] - length / 2)
        sides.append((middle - length / 2, middle + length / 2))
    return float(sides[0][0]), float(sides[1][0]), float(sides[0][1]), float(sides[1][1])
