"""The further platens of a press: where each lies on the post, so that one calibration serves all.

Platens are changed on one post under one projector. Its lens and its place are known from the
calibration of the first platen; of another only its own *place* is new: where its middle lies, how
high its face is, how it is turned and, a little, how it leans. One photo of cards on its corners
tells that, or three crosses of light on marks of its face, four where it is wide, and a ruler for
its height.

A platen found is a rig of its own, in the frame of its own face. The place is no more than what
joins its projector's pose to the first platen's: so it follows when that one is repaired.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from calibration.geometry import Isometry, PlatenFace, Points, as_points
from calibration.model import homography
from calibration.model.eye import Eye
from calibration.model.pinhole import INTRINSIC, PARAMETERS, Array, Pinhole
from calibration.model.projector import ProjectorMap
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal
from calibration.rig.file import Rig, load
from calibration.solve.fit import Solution, solve_plans
from calibration.solve.parameters import N_BOW
from calibration.solve.priors import BOW_ERROR
from calibration.solve.values import CardPlan, Cross, Inherited, Stated, frozen_matrix
from calibration.targets.cards import layout

LEAN_ERROR = math.radians(0.15)
"""Standard error of how far a platen leans against the first one, radians, each way. One that
leaned by three times as much would press 2 mm harder at one end of a leg platen than at the
other: from memory."""
RULER_ERROR = 0.5
"""Standard error of a height measured with a ruler, mm."""
HEIGHT_ERROR = 40.0
PLACE_ERROR = 500.0
"""Standard errors of a height and a place that nobody stated, mm."""
TURN_ERROR = math.radians(30.0)
"""Standard error of the first guess of how a platen is turned, radians."""
SAME_FACE = 6.0
"""Faces are one if neither side differs by more than this, mm."""

_POSE = slice(len(INTRINSIC), len(PARAMETERS))
_BOW = slice(len(PARAMETERS), len(PARAMETERS) + N_BOW)
LEAST_CROSSES = 3
WIDE = 200.0
"""A platen whose shorter side is longer wants a cross near each of its four corners, mm: with three
light at its fourth corner is told no better than to about a millimetre."""


def crosses_wanted(face: PlatenFace) -> int:
    """Return how many crosses tell surely where a platen of this size lies."""
    return LEAST_CROSSES + (min(face.width, face.depth) > WIDE)


@dataclass(frozen=True)
class PlatenPlace:
    """Where a platen lies, ``rig_from_platen``, in the frame of the platen that was calibrated.

    Attributes
    ----------
    x, y, height : float
        Its middle, mm.
    turn : float
        Counter-clockwise, radians.
    lean : float
        Angle between the two faces, radians.
    """

    x: float
    y: float
    height: float
    turn: float
    lean: float


def on_post(rig: Rig) -> tuple[Rig, ...]:
    """Return a rig for every platen of a press, that of the calibration first."""
    first = replace(rig, platens=())
    if not rig.platens:
        return (first,)
    return (first, *(_named(rig, each) for each in rig.platens))


def _named(rig: Rig, found: Rig) -> Rig:
    name = f"{rig.name}, {found.platen}" if rig.name else found.platen
    return replace(found, name=name, eye=eye_on(rig, found))


def eye_on(rig: Rig, found: Rig) -> Eye | None:
    """Return the press's fixed camera as it sees another of its platens; None if it has none.

    Camera and projector stand still when platens are changed: what is not known of a platen's
    place moves both alike. So the camera's errors follow those of the projector's map over this
    platen as they did over the first.
    """
    eye = rig.eye
    if eye is None:
        return None
    turned, shift = _between(rig.projector.pinhole, found.projector.pinhole)
    by_camera = _pose_carried(eye.camera, turned, shift)
    by_projector = _pose_carried(rig.projector.pinhole, turned, shift)
    slope = np.eye(len(PARAMETERS))
    slope[_POSE, _POSE] = by_camera
    follow = slope @ eye.projector_slope
    follow[:, _POSE] = follow[:, _POSE] @ np.linalg.inv(by_projector)
    follow[:, _BOW] = 0.0  # the first face's own
    return replace(
        eye,
        camera=_moved(eye.camera, turned, shift),
        covariance=frozen_matrix(slope @ eye.matrix @ slope.T),
        by_projector=frozen_matrix(follow),
        fixed_by=(*eye.fixed_by, f"It is known over {found.platen} by that platen's place."),
        reflectance=None,
    )


def on_platen(rig: Rig, name: str | None) -> Rig:
    """Return the rig for one of the press's platens, by name; the calibrated one without.

    Raises
    ------
    Refusal
        If the press has no platen of that name.
    """
    if name is None:
        return replace(rig, platens=())
    for each, called in zip(on_post(rig), platen_names(rig), strict=True):
        if called.casefold() == name.strip().casefold():
            return each
    raise Refusal(
        f"The rig “{rig.name}” has no platen “{name}”; it has {', '.join(platen_names(rig))}."
    )


def platen_names(rig: Rig) -> tuple[str, ...]:
    """Return what the platens of a press are called, that of the calibration first."""
    return (platen_name(rig), *(each.platen for each in rig.platens))


def platen_name(rig: Rig) -> str:
    """Return what a rig's own platen is called: its name, else its size."""
    return rig.platen or f"{rig.face.width:.0f}x{rig.face.depth:.0f}mm"


def place_of(rig: Rig, found: Rig) -> PlatenPlace:
    """Return where a platen lies on the post."""
    return _place(*_between(rig.projector.pinhole, found.projector.pinhole))


def _place(turned: Array, shift: Array) -> PlatenPlace:
    x, y, height = (float(value) for value in shift)
    turn = math.atan2(turned[1, 0], turned[0, 0])
    return PlatenPlace(x, y, height, turn, math.acos(min(1.0, float(turned[2, 2]))))


def find_by_photos(
    rig: Rig, face: PlatenFace, photos: Sequence[PhotoObservation], stated: Stated
) -> Solution:
    """Return the light on another platen, from photos of cards on its corners and the pattern.

    Parameters
    ----------
    rig : Rig
        The press, calibrated on its first platen.
    face : PlatenFace
        The other platen's.
    photos : sequence of PhotoObservation
        Cards on the bare face, the pattern shown as for the calibration.
    stated : Stated

    Raises
    ------
    Refusal
        If no photo shows enough to tell where the platen lies.
    """
    from calibration.targets.pattern import Pattern

    size = rig.projector.size
    pattern = Pattern(size)
    plans = [CardPlan.of(card) for card in layout(face)]
    pixels = pattern.pixels(np.arange(pattern.count))
    bare = [photo for photo in photos if not photo.raised] or photos
    guess = _seen_place(rig, bare[0], plans, pixels)
    inherited = _inherited(rig, guess, HEIGHT_ERROR)
    return solve_plans(photos, plans, pixels, size, stated, (), inherited)


def find_by_crosses(
    rig: Rig, face: PlatenFace, crosses: Sequence[Cross], height: float, stated: Stated
) -> Solution:
    """Return the light on another platen, from crosses set on marks of its face.

    Parameters
    ----------
    rig : Rig
        The press, calibrated on its first platen.
    face : PlatenFace
        The other platen's.
    crosses : sequence of Cross
        Three or more, far apart: points of the other platen's face and where their crosses stand.
    height : float
        How high its face lies above the first platen's, by a ruler, mm.
    stated : Stated

    Raises
    ------
    Refusal
        If they are too few or too near each other.
    """
    points = as_points([cross.point for cross in crosses])
    if len(points) < LEAST_CROSSES or np.ptp(points, axis=0).max() < 0.4 * max(
        face.width, face.depth
    ):
        raise Refusal(
            "Three crosses far apart are needed: set them on marks near three corners of the "
            "platen."
        )
    lit = rig.projector.platen_from_projector([cross.pixel for cross in crosses], height)
    inherited = _inherited(rig, (Isometry.nearest(points, lit), height), RULER_ERROR)
    none = np.zeros((0, 2))
    return solve_plans((), (), none, rig.projector.size, stated, crosses, inherited)


def straight_above(rig: Rig, height: float) -> ProjectorMap:
    """Return the light on a platen as if it lay right above the calibrated one, or below, mm."""
    pinhole = _moved(rig.projector.pinhole, np.eye(3), np.array([0.0, 0.0, height]))
    return ProjectorMap(rig.projector.size, pinhole)


def with_platen(rig: Rig, name: str, face: PlatenFace, found: Solution) -> Rig:
    """Return the press with a platen more, or with one of its platens found anew.

    Raises
    ------
    Refusal
        If the calibrated platen is called so.
    """
    if name.casefold() == platen_name(rig).casefold():
        raise Refusal(
            f"The platen that “{rig.name}” was calibrated on is called {platen_name(rig)}: give "
            "the other one another name."
        )
    added = replace(Rig.of(found, name, face), platen=name)
    others = (each for each in rig.platens if each.platen.casefold() != name.casefold())
    return replace(rig, platens=(*others, added))


def without_platen(rig: Rig, name: str) -> Rig:
    """Return the press less one of its further platens.

    Raises
    ------
    Refusal
        If it has none of that name.
    """
    kept = tuple(each for each in rig.platens if each.platen.casefold() != name.casefold())
    if len(kept) == len(rig.platens):
        raise Refusal(
            f"“{name}” is no further platen of the rig “{rig.name}”; it has "
            f"{', '.join(platen_names(rig))}, the first of them calibrated."
        )
    return replace(rig, platens=kept)


def renewed(before: Rig, now: Rig) -> Rig:
    """Return a press solved again, its platens' names and places those that it had before.

    Each platen keeps its place on the post. What is known of its light is then less: the errors of
    when it was found, of the calibration then and of the calibration now add up.
    """
    kept = []
    for each in before.platens:
        turned, shift = _between(before.projector.pinhole, each.projector.pinhole)
        moved = _moved(now.projector.pinhole, turned, shift)
        spread = each.fit.matrix
        for base in (before, now):
            spread = spread + _carried(base, turned, shift)
        fit = replace(
            each.fit,
            covariance=frozen_matrix(spread),
            freedom=min(each.fit.freedom, before.fit.freedom, now.fit.freedom),
        )
        projector = replace(each.projector, size=now.projector.size, pinhole=moved)
        kept.append(replace(each, projector=projector, fit=fit))
    return replace(now, platen=before.platen, platens=tuple(kept))


def kept_from(place: Path, rig: Rig) -> Rig:
    """Return a new calibration with the platens of the one in its place, if it is of one post.

    Where the calibrated platen is another, nobody knows where the others lie against it.
    """
    try:
        before = load(place)
    except Refusal:
        return rig
    sides = np.array([(each.face.width, each.face.depth) for each in (before, rig)])
    return renewed(before, rig) if np.ptp(sides, axis=0).max() <= SAME_FACE else rig


# -- poses ---------------------------------------------------------------------------------


def _between(base: Pinhole, other: Pinhole) -> tuple[Array, Array]:
    """Return ``base_from_other``, a rotation and a shift: one projector's pose over two faces."""
    turned = base.rotation.T @ other.rotation
    return turned, base.lens - turned @ other.lens


def _moved(base: Pinhole, turned: Array, shift: Array) -> Pinhole:
    """Return a pinhole of the base's frame in that of a face that is turned and shifted there."""
    rotation = base.rotation
    return base.moved(rotation @ turned, rotation @ shift + base.translation)


def _carried(rig: Rig, turned: Array, shift: Array) -> Array:
    """Return the covariance of the calibrated map, told in another platen's frame, (20, 20).

    That of the bow, which is the first platen's own, is left out.
    """
    slope = np.eye(len(rig.fit.covariance))
    slope[_BOW, _BOW] = 0.0
    slope[_POSE, _POSE] = _pose_carried(rig.projector.pinhole, turned, shift)
    return np.asarray(slope @ rig.fit.matrix @ slope.T)


def _pose_carried(base: Pinhole, turned: Array, shift: Array) -> Array:
    """Return how a pinhole's pose over another face follows that over the first, shape (6, 6)."""

    def off(by: Array) -> Pinhole:
        return base.moved(_turn(by[:3]) @ base.rotation, base.translation + by[3:])

    over_other = _pose_slope(lambda by: _moved(off(by), turned, shift))
    return np.asarray(over_other @ np.linalg.inv(_pose_slope(off)))


def _pose_slope(posed: Callable[[Array], Pinhole]) -> Array:
    """Return the derivative of a pinhole's pose by a small turn and shift, shape (6, 6)."""
    columns = []
    for k, step in enumerate([1e-6] * 3 + [1e-3] * 3):
        by = np.zeros(6)
        by[k] = step
        columns.append((posed(by).vector - posed(-by).vector)[_POSE] / (2 * step))
    return np.column_stack(columns)


def _turn(vector: Array) -> Array:
    return np.asarray(cv2.Rodrigues(np.asarray(vector, dtype=np.float64))[0])


# -- what is known before ------------------------------------------------------------------


def _inherited(rig: Rig, guess: tuple[Isometry, float], height_error: float) -> Inherited:
    """Return what the calibration and a guessed place tell of the light on another platen.

    Parameters
    ----------
    rig : Rig
    guess : (Isometry, float)
        ``rig_from_platen`` and the face's height, mm.
    height_error : float
        Of that height, mm.
    """
    place, height = guess
    base = rig.projector.pinhole
    turned, shift = _turn(np.array([0.0, 0.0, place.angle])), np.array([place.x, place.y, height])
    errors = [LEAN_ERROR, LEAN_ERROR, TURN_ERROR, PLACE_ERROR, PLACE_ERROR, height_error]
    spread = _carried(rig, turned, shift)
    slope = _pose_slope(lambda by: _moved(base, turned @ _turn(by[:3]), shift + by[3:]))
    spread[_POSE, _POSE] += slope @ np.diag(np.square(errors)) @ slope.T
    spread[_BOW, _BOW] = np.diag([BOW_ERROR**2] * 3)
    mean = np.zeros(len(spread))
    mean[: len(PARAMETERS)] = _moved(base, turned, shift).vector
    return Inherited(tuple(float(value) for value in mean), frozen_matrix(spread))


def _seen_place(
    rig: Rig, photo: PhotoObservation, plans: Sequence[CardPlan], pattern: Points
) -> tuple[Isometry, float]:
    """Return roughly where a platen lies: its cards and the light on it, seen in one photo.

    The height is what brings the light that the calibration foretells nearest to that seen.
    """
    at = {plan.name: plan.corners for plan in plans}
    laid = as_points([at[corner.board][corner.index] for corner in photo.cards])
    try:
        platen_from_photo = homography.fit([corner.pixel for corner in photo.cards], laid)
    except homography.DegeneratePointsError:
        raise Refusal(f"{photo.name} shows too little of the cards: take it again.") from None
    points = homography.apply(platen_from_photo, [corner.pixel for corner in photo.pattern])
    pixels = pattern[[corner.index for corner in photo.pattern]]

    def off(height: float) -> float:
        lit = rig.projector.platen_from_projector(pixels, height)
        return float(np.sum((Isometry.nearest(points, lit).apply(points) - lit) ** 2))

    height = min(np.arange(-150.0, 151.0, 2.0), key=off)
    lit = rig.projector.platen_from_projector(pixels, height)
    return Isometry.nearest(points, lit), float(height)
