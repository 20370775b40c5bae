"""What the set-up has done in a process of its own: photos looked at, the rig solved.

Photos are files of others, and both take seconds of a core: the page goes on meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from calibration.files import write_whole
from calibration.geometry import PlatenFace
from calibration.observations import PhotoObservation
from calibration.rig.file import Rig
from calibration.solve.fit import Solution
from calibration.solve.values import CardPlan, Cross, Stated

THUMBNAIL = 360
"""Longer side of the small picture of a photo, px."""

XYZ = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class LookedAt:
    """What a photo shows.

    Attributes
    ----------
    seen : PhotoObservation
    towards : (x, y, z) or None
        From where it was taken, as `QuickLook.towards`.
    """

    seen: PhotoObservation
    towards: XYZ | None


@dataclass(frozen=True, eq=False)
class Worked:
    """A rig and the picture of how sure it is, PNG."""

    rig: Rig
    report: bytes


def small_place(photo: Path) -> Path:
    """Return where the small picture of a photo lies."""
    return photo.with_name(f"{photo.stem}.small.jpg")


def look_at(path: Path, raised: float, face: PlatenFace, size: tuple[int, int]) -> LookedAt:
    """Find cards and pattern in a photo; a small picture of it is left beside it.

    Parameters
    ----------
    path : Path
    raised : float
        Height of the board under the cards, mm.
    face : PlatenFace
    size : (int, int)
        Of the projector's picture, px.

    Raises
    ------
    Refusal
        If it cannot be used.
    """
    from calibration.detect.observe import observe
    from calibration.photo.read import read_photo
    from calibration.targets.cards import layout
    from calibration.targets.pattern import Pattern
    from chalkbeam.setup.camera.quick_look import quick_look_of

    photo = read_photo(path)
    scale = THUMBNAIL / max(photo.size)
    small = cv2.resize(photo.image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    write_whole(small_place(path), cv2.imencode(".jpg", small)[1].tobytes())
    cards = layout(face)
    seen = observe(photo, cards, Pattern(size), raised)
    return LookedAt(seen, quick_look_of(seen, cards, face).towards)


def work_out(
    paths: Sequence[tuple[Path, float]],
    known: Mapping[str, PhotoObservation],
    face: PlatenFace,
    size: tuple[int, int],
    stated: Stated,
    name: str,
    tell: Callable[[str], None],
) -> Worked:
    """Return the rig that photos make, and its report.

    Parameters
    ----------
    paths : sequence of (Path, float)
        Photos, and the height of the board under the cards in each, mm.
    known : mapping of str to PhotoObservation
        What was seen, by the photo's name, where that is at hand.
    face, size, stated
        As `calibrate` takes them.
    name : str
        Of the rig.
    tell : callable
        Is told "reading", "solving" and "drawing".

    Raises
    ------
    Refusal
        If they make none that can be trusted.
    """
    from calibration.photo.read import read_photo
    from calibration.rig.from_photos import CalibrationPhoto, calibrate_seen, read_and_observe
    from calibration.rig.report import coded, draw_report

    tell("reading")
    given = [CalibrationPhoto(path, raised) for path, raised in paths]
    if all(each.path.name in known for each in given):
        photos = tuple(read_photo(each.path) for each in given)
        seen = tuple(known[each.path.name] for each in given)
    else:
        photos, seen = read_and_observe(given, face, size)
    tell("solving")
    done = calibrate_seen(photos, seen, face, size, stated)
    tell("drawing")
    rig = Rig.of(done.solution, name, face)
    return Worked(rig, coded(draw_report(rig, done.photos, done.solution)))


def touched_up(rig: Rig, crosses: tuple[Cross, ...]) -> Worked:
    """Return a rig with a few crosses moved on to their marks, and its report.

    Raises
    ------
    Refusal
        If they do not fit, or the result is not sure enough.
    """
    from calibration.rig.by_hand import touch_up

    return _examined(touch_up(rig, crosses), rig.name, rig.face, rig.plans)


def by_hand(
    crosses: tuple[Cross, ...], face: PlatenFace, size: tuple[int, int], stated: Stated, name: str
) -> Worked:
    """Return the rig that crosses make by themselves, and its report.

    Raises
    ------
    Refusal
        If the result is not sure enough.
    """
    from calibration.rig.by_hand import solve_by_hand

    places = np.array([cross.point for cross in crosses])
    lights = np.array([cross.pixel for cross in crosses])
    return _examined(solve_by_hand(places, lights, face, size, stated), name, face)


def _examined(
    now: Solution, name: str, face: PlatenFace, plans: tuple[CardPlan, ...] = ()
) -> Worked:
    from calibration.rig.report import coded, draw_report
    from calibration.solve.acceptance import examine

    examine(now, face)
    rig = Rig.of(now, name, face)
    rig = replace(rig, plans=plans) if plans else rig
    return Worked(rig, coded(draw_report(rig, (), now)))
