"""A garment's face on a platen, as a value, in words and as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from calibration.geometry import XY, Isometry
from chalkbeam.basics.sentences import Sentence, joined
from chalkbeam.basics.units import Unit
from chalkbeam.placement import Concern, Placement, plain_concerns, plain_pose
from chalkbeam.placement.platens import Platen

Collar = Literal["away", "towards", "left", "right"]
"""To which side of the operator the face's upper end points. A face without a collar (a sleeve,
a leg, a bag) goes by the end its depths are measured from."""

COLLARS: tuple[Collar, ...] = get_args(Collar)

_ORIGINS = {
    "left_sleeve": "shoulder seam",
    "right_sleeve": "shoulder seam",
    "left_hood": "hood's top",
    "right_hood": "hood's top",
    "left_leg": "waistband seam",
    "right_leg": "waistband seam",
    "panel": "upper edge",
}


@dataclass(frozen=True)
class Loading:
    """A garment's face on a platen.

    Attributes
    ----------
    platen : Platen
    collar : Collar
    platen_from_garment : Isometry
        Pose of the face's garment frame (y down the garment) in the platen frame (y
        away from the operator): a mirror image.
    overhang : float
        How far the collar's seam, the garment frame's y = 0, hangs over the platen's
        edge, mm; negative if it lies on the platen.
    aside : float
        How far the face's centre line lies from the platen's middle, mm, to the
        operator's right (collar away or towards) or away from the operator.
    height : float
        Height of the lit surface above the platen's bare face, mm: pad and cloth.
    threaded : bool
        Whether the platen is inside the garment, so that one layer lies on it.
    concerns : tuple of Concern
        What lies under pressure and should not, and other things to look at.
    """

    platen: Platen
    collar: Collar
    platen_from_garment: Isometry
    overhang: float
    aside: float
    height: float
    threaded: bool
    concerns: tuple[Concern, ...]


def usual_collar(face: str) -> Collar:
    """Return where a face's upper end points if nobody says: sleeves and legs go on by the cuff."""
    return "towards" if face.endswith(("sleeve", "leg")) else "away"


def centre_line(placement: Placement) -> float:
    """Return x of the face's centre line, mm."""
    centre = placement.face.across.get("centre")
    return 0.0 if centre is None else centre.value


def origin_words(face: str) -> str:
    """Return what lies at y = 0 of a face: its neck seam, or what stands in for it."""
    return _ORIGINS.get(face, "neck seam")


def centre_words(face: str) -> str:
    """Return what a face's centre line is called."""
    return {"sleeve": "fold", "hood": "hood's middle"}.get(face.rpartition("_")[2], "centre line")


_LOWER_ENDS = {"cuff": "cuff", "sleeve_hem": "sleeve's hem", "hem": "hem"}


def end_laid_by(placement: Placement, loading: Loading) -> tuple[str, Collar, float]:
    """Return the end a face is laid by: its name, where it points, how far it hangs over, mm.

    The neck seam, or what stands in for it; of a sleeve or a leg laid along its platen the cuff,
    which goes on first.
    """
    face = placement.face
    lower = next((name for name in _LOWER_ENDS if name in face.along), None)
    if usual_collar(face.name) == "away" or lower is None or face.name not in _ORIGINS:
        return origin_words(face.name), loading.collar, loading.overhang
    plate = loading.platen.face
    deep = plate.depth if loading.collar in ("away", "towards") else plate.width
    over = face.along[lower].value - loading.overhang - deep
    return _LOWER_ENDS[lower], _OPPOSITE[loading.collar], over


_OPPOSITE: dict[Collar, Collar] = {
    "away": "towards", "towards": "away", "left": "right", "right": "left",
}  # fmt: skip


def loading_words(placement: Placement, loading: Loading) -> Sentence:
    """Return in words how to lay the garment."""
    origin, points, over = end_laid_by(placement, loading)
    centre = centre_words(placement.face.name)
    sides = {
        "away": "away from you",
        "towards": "towards you",
        "left": "to your left",
        "right": "to your right",
    }
    parts = [Sentence(f"{origin} {sides[points]}")]
    if over >= 0:
        parts.append(Sentence("hanging {0} over the edge", (over,)))
    else:
        parts.append(Sentence("{0} inside the edge", (-over,)))
    if abs(loading.aside) < 0.5:
        parts.append(Sentence(f"{centre} on the middle"))
    else:
        lengthways = loading.collar in ("away", "towards")
        sides_of = (
            ("to the left of", "to the right of") if lengthways else ("nearer than", "beyond")
        )
        side = sides_of[loading.aside > 0]
        parts.append(Sentence(f"{centre} {{0}} {side} the middle", (abs(loading.aside),)))
    if not loading.threaded:
        parts.append(Sentence("on top with both layers"))
    if loading.platen.pad is not None and loading.platen.pad.free:
        parts.append(_pad_words(loading.platen.pad.centre))
    return joined(parts, ", ")


def _pad_words(centre: XY) -> Sentence:
    """Return where a pad that may lie anywhere is to lie."""
    ways = [("right of", "left of"), ("beyond", "nearer than")]
    parts = [
        Sentence(f"{{0}} {way[by < 0]}", (abs(by),))
        for by, way in zip(centre, ways, strict=True)
        if abs(by) >= 0.5
    ]
    if not parts:
        return Sentence("pad on the middle")
    return joined(
        [Sentence("pad's middle "), joined(parts, " and "), Sentence(" the platen's")], ""
    )


def plain_loading(placement: Placement, loading: Loading, unit: Unit = Unit.MM) -> dict[str, Any]:
    """Return a loading for JSON: platen frame, mm; words in `unit`."""
    platen_from_art = loading.platen_from_garment @ placement.garment_from_art
    face, pad = loading.platen.face, loading.platen.pad
    centre = platen_from_art.apply([placement.artwork.optical_centre.point])[0]
    return {
        "platen": loading.platen.name,
        "platen_mm": [round(face.width, 3), round(face.depth, 3)],
        "pad_mm": pad and [round(pad.face.width, 3), round(pad.face.depth, 3), pad.height],
        "pad_centre_mm": pad and [round(value, 3) for value in pad.centre],
        "collar": loading.collar,
        "overhang_mm": round(loading.overhang, 3),
        "aside_mm": round(loading.aside, 3),
        "threaded": loading.threaded,
        "height_mm": round(loading.height, 3),
        "platen_from_garment": plain_pose(loading.platen_from_garment),
        "platen_from_art": plain_pose(platen_from_art),
        "optical_centre_mm": [round(float(value), 3) for value in centre],
        "sheet_mm": np.round(platen_from_art.apply(placement.artwork.sheet.corners()), 3).tolist(),
        "sentence": loading_words(placement, loading).say(unit),
        "warnings": plain_concerns(loading.concerns, unit),
    }
