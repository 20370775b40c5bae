"""How the garment lies on the platen: its pose, what hangs over, what lies under pressure."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from calibration.geometry import XY, Isometry, Points
from calibration.refusal import Refusal
from chalkbeam.basics.sentences import Sentence, joined, literal
from chalkbeam.basics.units import Unit
from chalkbeam.garments import Face
from chalkbeam.placement import Concern, Placement, Severity
from chalkbeam.placement.clearance import ink_shape, moved, valid
from chalkbeam.placement.loading_values import (
    COLLARS,
    Collar,
    Loading,
    centre_line,
    centre_words,
    loading_words,
    origin_words,
    plain_loading,
)
from chalkbeam.placement.platens import Platen, platens

__all__ = [
    "COLLARS",
    "Collar",
    "Loading",
    "OffPlaten",
    "centre_line",
    "centre_words",
    "fitting",
    "laid_at",
    "load",
    "loading_words",
    "origin_words",
    "plain_loading",
]

EDGE = 6.0
"""Pressure and heat fall off towards a platen's edge: ink stays this far inside it, mm.
Common practice, no source."""
OVERHANG = 12.7
"""How far the collar's seam hangs over the edge if the art leaves the choice, mm: off the pressed
area with its stitching, about a finger's width. Common practice, no source."""
STEP = 5.0
"""Where the art moves the garment from its usual place, it moves by whole steps of this, mm, so
that the load can be set with a ruler."""
FOLDS = 12.0
"""A garment must be this much wider than the platen to be threaded over it, mm in all."""

_ANGLE: dict[Collar, float] = {
    "away": 0.0,
    "towards": math.pi,
    "left": math.pi / 2,
    "right": -math.pi / 2,
}
_UP: dict[Collar, XY] = {
    "away": (0.0, 1.0),
    "towards": (0.0, -1.0),
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
}


class OffPlaten(Refusal):
    """The ink would leave the pressed area.

    Attributes
    ----------
    words : Sentence
        The whole message, its lengths open.
    instead : Loading or None
        The loading that would work, perhaps on another platen.
    """

    def __init__(self, words: Sentence, instead: Loading | None) -> None:
        super().__init__(words.say(Unit.MM))
        self.words = words
        self.instead = instead


def load(
    placement: Placement,
    platen: Platen,
    *,
    collar: Collar = "away",
    overhang: float | None = None,
    aside: float | None = None,
    angle: float = 0.0,
    threaded: bool = True,
) -> Loading:
    """Lay a placed garment on a platen so that its ink lies within the pressed area.

    Parameters
    ----------
    placement : Placement
    platen : Platen
    collar : {"away", "towards", "left", "right"}
        Where the collar points, seen from the operator.
    overhang, aside : float, optional
        As in `Loading`; what is not given is chosen: the collar just off the platen
        and the centre line on its middle, as near as the ink allows.
    angle : float
        A further counter-clockwise turn on the platen, radians, about the garment
        frame's origin.
    threaded : bool
        One layer of cloth on the platen; otherwise the garment lies on top with both.

    Raises
    ------
    OffPlaten
        If the ink leaves the pressed area; says which loading would work.
    """
    loading = _lay(placement, platen, collar, overhang, aside, angle, threaded)
    if isinstance(loading, Loading):
        return loading
    instead = None
    if overhang is not None or aside is not None or angle != 0.0:
        instead = _lay(placement, platen, collar, None, None, 0.0, threaded)
    raise _off_platen(placement, platen, collar, threaded, loading, instead)


def _lay(
    placement: Placement,
    platen: Platen,
    collar: Collar,
    overhang: float | None,
    aside: float | None,
    angle: float,
    threaded: bool,
) -> Loading | BaseGeometry:
    """Return the loading, or the part of the ink that would leave the pressed area."""
    turn = Isometry(angle=_ANGLE[collar] + angle, mirrored=True)
    inside = _inside(platen)
    if inside.is_empty:
        raise Refusal(f"The pressed area of {platen.name} is too small to press anything.")
    ink = moved(ink_shape(placement.artwork), turn @ placement.garment_from_art)
    middle = turn.apply([(centre_line(placement), 0.0)])[0]
    for centred in (False, True):  # rounded corners may cut the first choice
        shift = _shift(platen, collar, ink, middle, inside, overhang, aside, centred)
        lying = shapely.affinity.translate(ink, *shift)
        if inside.contains(lying):
            break
    else:
        return lying.difference(inside)
    pose = Isometry(float(shift[0]), float(shift[1]), turn.angle, mirrored=True)
    up = np.array(_UP[collar])
    layers = 1 if threaded else 2
    return Loading(
        platen=platen,
        collar=collar,
        platen_from_garment=pose,
        overhang=float(up @ shift) - _reach(platen, collar),
        aside=float((shift + middle)[0 if collar in ("away", "towards") else 1]),
        height=platen.height + layers * placement.garment.thickness,
        threaded=threaded,
        concerns=_concerns(placement.face, platen, pose, threaded),
    )


def laid_at(placement: Placement, planned: Loading, pose: Isometry) -> Loading:
    """Return a loading with the garment lying where it was found, to be pressed so.

    Parameters
    ----------
    placement : Placement
    planned : Loading
    pose : Isometry
        platen_from_garment, as found.

    Raises
    ------
    Refusal
        If it cannot be pressed so: the ink would leave the pressed area, or the press would close
        on what the planned loading keeps out of it.
    """
    platen = planned.platen
    ink = moved(ink_shape(placement.artwork), pose @ placement.garment_from_art)
    inside = _inside(platen)
    if not inside.contains(ink):
        off = shapely.get_coordinates(ink.difference(inside))
        beyond = shapely.distance(shapely.points(off), inside).max()
        raise Refusal(f"there the ink would leave the pressed area by {beyond:.0f} mm")
    concerns = _concerns(placement.face, platen, pose, planned.threaded)
    expected = _pressed_areas(placement.face, platen, planned.platen_from_garment)
    closed_on = _pressed_areas(placement.face, platen, pose)
    hard = {area.name for area in placement.face.areas if area.hard}
    new = [name for name in closed_on if name in hard and name not in expected]
    if new:
        raise Refusal(f"there the press would close on the {' and the '.join(dict.fromkeys(new))}")
    up = np.array(_UP[planned.collar])
    lengthways = planned.collar in ("away", "towards")
    middle = pose.apply([(centre_line(placement), 0.0)])[0]
    return replace(
        planned,
        platen_from_garment=pose,
        overhang=float(up @ (pose.x, pose.y)) - _reach(platen, planned.collar),
        aside=float(middle[0 if lengthways else 1]),
        concerns=concerns,
    )


def fitting(
    placement: Placement,
    candidates: Iterable[Platen] | None = None,
    *,
    collar: Collar = "away",
    threaded: bool = True,
) -> tuple[Loading, ...]:
    """Return a loading on every platen that can take the imprint, the best first.

    Best means: fewest concerns, then the smallest platen, whose pressure is the most even.
    """
    tried = [
        _lay(placement, candidate, collar, None, None, 0.0, threaded)
        for candidate in (platens().values() if candidates is None else candidates)
    ]
    loadings = [loading for loading in tried if isinstance(loading, Loading)]

    def rank(loading: Loading) -> tuple[int, float]:
        face = loading.platen.face
        worst = sum(c.severity >= Severity.CAUTION for c in loading.concerns)
        return worst, face.width * face.depth

    return tuple(sorted(loadings, key=rank))


def _reach(platen: Platen, collar: Collar) -> float:
    """Return the distance from the platen's middle to the edge on the collar's side, mm."""
    face = platen.face
    return (face.depth if collar in ("away", "towards") else face.width) / 2


def _shift(
    platen: Platen,
    collar: Collar,
    ink: BaseGeometry,
    middle: Points,
    inside: shapely.Polygon,
    overhang: float | None,
    aside: float | None,
    centred: bool,
) -> Points:
    """Return where the garment frame's origin lies on the platen, shape (2,), mm.

    `ink` and `middle`, a point of the face's centre line, are turned as on the
    platen, their origin still that of the garment frame.
    """
    first, last = np.array(ink.bounds[:2]), np.array(ink.bounds[2:])
    low = np.array(inside.bounds[:2]) - first
    high = np.array(inside.bounds[2:]) - last
    up = np.array(_UP[collar])
    length = int(np.argmax(np.abs(up)))
    reach = _reach(platen, collar)
    if centred:
        wish = (low + high) / 2
    elif platen.pad is not None:  # there is little room on a pad: the art in its middle
        wish = np.array(platen.pad.centre) - (first + last) / 2
    else:
        wish = up * (reach + OVERHANG) - np.abs(up[::-1]) * middle
    shift = np.array([_rounded(wish[i], low[i], high[i]) for i in range(2)])
    if overhang is not None:
        shift[length] = up[length] * (reach + overhang)
    if aside is not None:
        shift[1 - length] = aside - middle[1 - length]
    return shift


def _rounded(wish: float, low: float, high: float) -> float:
    """Return the wish held between limits, moved by whole steps where that stays between them."""
    if low > high:
        return (low + high) / 2
    held = min(max(wish, low), high)
    steps = (held - wish) / STEP
    stepped = wish + STEP * (math.ceil(steps) if steps > 0 else math.floor(steps))
    return stepped if low <= stepped <= high else held


def _off_platen(
    placement: Placement,
    platen: Platen,
    collar: Collar,
    threaded: bool,
    off: BaseGeometry,
    instead: Loading | BaseGeometry | None,
) -> OffPlaten:
    inside = _inside(platen)
    # The pressed area is convex: what lies farthest off is a corner of what is left over.
    beyond = shapely.distance(shapely.points(shapely.get_coordinates(off)), inside).max()
    size = (placement.artwork.ink.width, placement.artwork.ink.height)
    what = Sentence(
        f"The ink ({{0}} x {{1}}) would leave the pressed area of {literal(platen.name)} by {{2}}",
        (*size, float(beyond)),
    )
    others = fitting(placement, collar=collar, threaded=threaded)
    if isinstance(instead, Loading):
        cure = loading_words(placement, instead)
        cure = Sentence(f"load it with the {cure.template}", cure.lengths)
    elif others:
        instead = min(others, key=lambda o: o.platen.face.width * o.platen.face.depth)
        cure = loading_words(placement, instead)
        cure = Sentence(f"use {literal(instead.platen.name)}, {cure.template}", cure.lengths)
    else:
        cure = Sentence("no platen on file holds it, make the art smaller")
    whole = joined([what, cure], ": ")
    words = Sentence(whole.template + ".", whole.lengths)
    return OffPlaten(words, instead if isinstance(instead, Loading) else None)


@functools.lru_cache(maxsize=64)
def _inside(platen: Platen) -> shapely.Polygon:
    """Return the pressed area without its very edge, platen frame, mm."""
    inside = shapely.Polygon(platen.pressed()).buffer(-EDGE)
    shapely.prepare(inside)
    return inside


@functools.lru_cache(maxsize=256)
def _concerns(face: Face, platen: Platen, pose: Isometry, threaded: bool) -> tuple[Concern, ...]:
    """Return what lies under pressure and should not, and whether the garment goes over.

    Names and numbers of one size mostly lie alike: results are cached.
    """
    concerns = []
    names = _pressed_areas(face, platen, pose)
    if names:
        listed = literal(", ".join(_paired(names)))
        cure = (
            "a smaller platen or a pad keeps them out"
            if platen.pad is None
            else "move the garment or the pad"
        )
        words = f"The press will close on: {listed}. Ridges hold it open around them: {cure}."
        concerns.append(Concern(Severity.CAUTION, "pressed", Sentence(words)))
    if threaded:
        concerns += _threading(face, platen, pose)
    return tuple(concerns)


def _pressed_areas(face: Face, platen: Platen, pose: Isometry) -> list[str]:
    """Return the names of what should not lie under pressure and does."""
    pressed = shapely.Polygon(platen.pressed())
    names = []
    for area in face.areas:
        if area.kind == "hood_shadow":
            continue
        shape = valid(shapely.Polygon(pose.apply(area.polygon)))
        if shape.intersection(pressed).area > EDGE * EDGE:
            names.append(area.name)
    return names


def _paired(names: list[str]) -> list[str]:
    """Return names without repetition, "left x" and "right x" as one."""
    paired = []
    for name in dict.fromkeys(names):
        side, _, what = name.partition(" ")
        other = {"left": "right", "right": "left"}.get(side)
        if other is None or f"{other} {what}" not in names:
            paired.append(name)
        elif f"left and right {what}" not in paired:
            paired.append(f"left and right {what}")
    return paired


def _threading(face: Face, platen: Platen, pose: Isometry) -> list[Concern]:
    cloth = valid(shapely.Polygon(pose.apply(face.outline)))
    plate = shapely.Polygon(platen.face.outline())
    bare = plate.difference(cloth)
    lying = cloth.intersection(plate)
    if lying.is_empty or face.name not in ("front", "back"):
        return []
    lengthways = abs(math.cos(pose.angle)) > 0.5
    wide = platen.face.width if lengthways else platen.face.depth
    left, front, right, back = cloth.bounds
    has = right - left if lengthways else back - front
    if has >= wide + FOLDS or bare.is_empty:
        return []
    words = "The garment is {0} wide and the platen {1}: it cannot be threaded over it."
    return [Concern(Severity.CAUTION, "threading", Sentence(words, (has, wide)))]
