"""How the garment lies on the platen: its pose, what hangs over, what lies under pressure."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry.base import BaseGeometry

from calibration.geometry import Isometry
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
    end_laid_by,
    loading_words,
    origin_words,
    plain_loading,
    usual_collar,
)
from chalkbeam.placement.platens import Platen, platens
from chalkbeam.placement.pressed import EDGE, pressed_concerns, under_head
from chalkbeam.placement.seeker import ANGLE, UP, Seeker, reach

__all__ = [
    "COLLARS",
    "Collar",
    "Loading",
    "OffPlaten",
    "against",
    "centre_line",
    "centre_words",
    "end_laid_by",
    "fitting",
    "laid_at",
    "load",
    "loading_words",
    "looks_of",
    "origin_words",
    "plain_loading",
    "with_better",
]

FOLDS = 12.0
"""A garment must be this much wider than the platen to be threaded over it, mm in all."""
THREADING = "threading"
"""What a concern is about that tells of a garment too narrow to be threaded."""


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
    collar: Collar | None = None,
    overhang: float | None = None,
    aside: float | None = None,
    angle: float = 0.0,
    threaded: bool = True,
    among: Sequence[Platen] = (),
) -> Loading:
    """Lay a placed garment on a platen so that its ink is pressed, and as little else as can be.

    Parameters
    ----------
    placement : Placement
    platen : Platen
    collar : {"away", "towards", "left", "right"}, optional
        Where the collar points, seen from the operator; without it away, a sleeve's or a leg's
        upper end towards: these go on by the cuff.
    overhang, aside : float, optional
        As in `Loading`; what is not given is sought (`seeking`), and so is the place of a pad
        that is free: no ridge under the print, none under the head where that can be helped,
        the sheet clear of the edge, the collar just off the platen and the centre line on its
        middle where nothing speaks against.
    angle : float
        A further counter-clockwise turn on the platen, radians, about the garment
        frame's origin.
    threaded : bool
        One layer of cloth on the platen, where the garment goes over it; otherwise it lies on
        top with both.
    among : sequence of Platen
        The press's other platens: named first where this one does not take the ink; all that are
        on file without.

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
    raise _off_platen(placement, platen, collar, threaded, loading, instead, among)


def _lay(
    placement: Placement,
    platen: Platen,
    collar: Collar | None,
    overhang: float | None,
    aside: float | None,
    angle: float,
    threaded: bool,
) -> Loading | BaseGeometry:
    """Return the loading, or the part of the ink that would leave the pressed area."""
    face = placement.face
    pointing = usual_collar(face.name) if collar is None else collar
    turn = Isometry(angle=ANGLE[pointing] + angle, mirrored=True)
    if _inside(platen).is_empty:
        raise Refusal(f"The pressed area of {platen.name} is too small to press anything.")
    ink = moved(ink_shape(placement.artwork), turn @ placement.garment_from_art)
    narrow = _too_narrow(placement, platen, pointing)
    seeker = Seeker(placement, platen, pointing, turn, ink, overhang, aside,
                     threaded and narrow is None)  # fmt: skip
    for plate, shift in seeker.tries():
        lying = shapely.affinity.translate(ink, *shift)
        if _inside(plate).contains(lying):
            break
    else:
        return lying.difference(_inside(plate))
    pose = Isometry(float(shift[0]), float(shift[1]), turn.angle, mirrored=True)
    thickness = placement.garment.thickness
    concerns = _concerns(face, thickness, plate, pose, lying)
    if threaded and narrow is not None:
        concerns = (*concerns, narrow)
    on_it = 1 if seeker.threaded else 2
    return Loading(
        platen=plate,
        collar=pointing,
        platen_from_garment=pose,
        overhang=float(np.array(UP[pointing]) @ shift) - reach(plate, pointing),
        aside=float((shift + seeker.middle)[seeker.side]),
        height=plate.height + on_it * thickness,
        threaded=seeker.threaded,
        concerns=concerns,
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
    thickness = placement.garment.thickness
    concerns = _concerns(placement.face, thickness, platen, pose, ink)

    def closed_on(lying: Isometry, print_: BaseGeometry) -> list[str]:
        found = under_head(placement.face, thickness, platen, lying, print_)
        return [ridge.name for ridge, _ in found if ridge.hard]

    planned_ink = moved(
        ink_shape(placement.artwork), planned.platen_from_garment @ placement.garment_from_art
    )
    expected = closed_on(planned.platen_from_garment, planned_ink)
    new = [name for name in closed_on(pose, ink) if name not in expected]
    if new:
        raise Refusal(f"there the press would close on the {' and the '.join(dict.fromkeys(new))}")
    up = np.array(UP[planned.collar])
    lengthways = planned.collar in ("away", "towards")
    middle = pose.apply([(centre_line(placement), 0.0)])[0]
    return replace(
        planned,
        platen_from_garment=pose,
        overhang=float(up @ (pose.x, pose.y)) - reach(platen, planned.collar),
        aside=float(middle[0 if lengthways else 1]),
        concerns=concerns,
    )


def fitting(
    placement: Placement,
    candidates: Iterable[Platen] | None = None,
    *,
    collar: Collar | None = None,
    threaded: bool = True,
) -> tuple[Loading, ...]:
    """Return a loading on every platen that can take the imprint, the best first.

    Best means: least speaks `against` it, then the smallest platen, whose pressure is the most
    even.
    """
    tried = [
        _lay(placement, candidate, collar, None, None, 0.0, threaded)
        for candidate in (platens().values() if candidates is None else candidates)
    ]
    loadings = [loading for loading in tried if isinstance(loading, Loading)]

    def rank(loading: Loading) -> tuple[tuple[int, float], float]:
        face = loading.platen.face
        return against(loading), face.width * face.depth

    return tuple(sorted(loadings, key=rank))


def looks_of(loading: Loading) -> int:
    """Return how many things under the head ask for a look, or a stop."""
    return sum(each.severity >= Severity.CAUTION for each in loading.concerns)


def against(loading: Loading) -> tuple[int, float]:
    """Return what speaks against a platen, the less the better.

    How many things ask for a look; then by how much it is too wide for the garment, sleeve or leg
    to be threaded over it, mm: both layers, and what hangs from a sleeve, lie under the head.
    """
    narrow = [each.sentence.lengths for each in loading.concerns if each.about == THREADING]
    return looks_of(loading), max((wide + FOLDS - has for has, wide in narrow), default=0.0)


def with_better(loading: Loading, others: Iterable[Loading]) -> Loading:
    """Return a loading whose look is told with the platen of the press that spares it.

    Parameters
    ----------
    loading : Loading
    others : iterable of Loading
        The same imprint on the press's other platens.
    """
    better = [each for each in others if against(each) < against(loading)]
    if not better or not looks_of(loading):
        return loading
    best = min(better, key=against)
    less = "nothing" if not looks_of(best) else "less"
    words = f"Or press it on {literal(best.platen.name)}: {less} is under the head there."
    said = tuple(
        replace(each, sentence=joined([each.sentence, Sentence(words)], " "))
        if each.severity >= Severity.CAUTION
        else each
        for each in loading.concerns
    )
    return replace(loading, concerns=said)


def _off_platen(
    placement: Placement,
    platen: Platen,
    collar: Collar | None,
    threaded: bool,
    off: BaseGeometry,
    instead: Loading | BaseGeometry | None,
    among: Sequence[Platen],
) -> OffPlaten:
    inside = _inside(platen)
    # The pressed area is convex: what lies farthest off is a corner of what is left over.
    beyond = shapely.distance(shapely.points(shapely.get_coordinates(off)), inside).max()
    size = (placement.artwork.ink.width, placement.artwork.ink.height)
    what = Sentence(
        f"The ink ({{0}} x {{1}}) would leave the pressed area of {literal(platen.name)} by {{2}}",
        (*size, float(beyond)),
    )
    others = fitting(placement, among, collar=collar, threaded=threaded)
    if not others:
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
def _concerns(
    face: Face, thickness: float, platen: Platen, pose: Isometry, ink: BaseGeometry
) -> tuple[Concern, ...]:
    """Return what lies under the head and should not.

    Names and numbers of one size mostly lie alike: results are cached.
    """
    return tuple(pressed_concerns(face, thickness, platen, pose, ink))


def _too_narrow(placement: Placement, platen: Platen, collar: Collar) -> Concern | None:
    """Return why a garment cannot be threaded over a platen; None if it can."""
    face = placement.face
    what, has = _tube(face, placement.centre[1])
    wide = platen.face.width if collar in ("away", "towards") else platen.face.depth
    if has is None or has >= wide + FOLDS:
        return None
    words = (
        f"The {what} is {{0}} wide and the platen {{1}}, too narrow to be threaded over it: it "
        "lies on top, with both layers."
    )
    return Concern(Severity.NOTE, THREADING, Sentence(words, (has, wide)))


def _tube(face: Face, level: float) -> tuple[str, float | None]:
    """Return what a platen goes into and how wide it lies flat at a level of the face, mm.

    None where it is no tube: a bag's panel, a cap. A sleeve's face is all of it, opened; a leg's,
    a hood's, and a front or back, is one of its two layers.
    """
    if face.name in ("front", "back"):
        sides = [face.across.get(name) for name in ("left_side_seam", "right_side_seam")]
        left, right = sides
        if left is None or right is None:
            return "garment", None
        return "garment", abs(left.value - right.value)
    layers = {"sleeve": 2, "leg": 1, "hood": 1}
    what = face.name.rpartition("_")[2]
    if what not in layers:
        return what, None
    xs = face.outline[:, 0]
    line = shapely.LineString([(xs.min() - 1.0, level), (xs.max() + 1.0, level)])
    return what, float(line.intersection(valid(shapely.Polygon(face.outline))).length) / layers[
        what
    ]
