"""What the set-up has done in a process of its own: photos looked at, the rig solved.

Photos are files of others, and both take seconds of a core: the page goes on meanwhile.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.files import read_whole, write_whole
from calibration.geometry import PlatenFace
from calibration.observations import PhotoObservation
from calibration.rig.file import Rig
from calibration.solve.fit import Solution
from calibration.solve.values import CardPlan, Cross, Stated

THUMBNAIL = 360
"""Longer side of the small picture of a photo, px."""

LENS_ERROR = 0.05
"""Share by which a focal length from a data sheet may be off, as `chalkbeam eye fit` takes it."""

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


@dataclass(frozen=True, eq=False)
class WatchedView:
    """What a live camera sees, and what is to be done.

    Attributes
    ----------
    number, count : int
        Which photo is being taken, from 1, and how many there will be.
    sentence : str
    refused : bool
        Whether the sentence says why the photos so far make no rig.
    picture : bytes
        What it sees, with what was found in it, JPEG.
    """

    number: int
    count: int
    sentence: str
    refused: bool
    picture: bytes


@dataclass(frozen=True, eq=False)
class EyeFitted:
    """A rig with its eye, what is to be said of it, and a picture of what it sees.

    Attributes
    ----------
    rig : Rig
    bound : float
        Within which a point of the bare platen is measured (95 %), mm.
    said : tuple of str
    report : bytes
        PNG.
    """

    rig: Rig
    bound: float
    said: tuple[str, ...]
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


def watch(
    camera: str,
    folder: Path,
    face: PlatenFace,
    size: tuple[int, int],
    stated: Stated,
    name: str,
    raised: float,
    tell: Callable[[str | WatchedView], None],
) -> Worked:
    """Return the rig that a live camera's photos make, and its report.

    Parameters
    ----------
    camera : str
        As `open_source` takes it.
    folder : Path
        Where the photos are kept.
    face, size, stated, name
        As in `work_out`.
    raised : float
        Height of a board under the cards for one photo more, mm; 0 for none.
    tell : callable
        Is told what is seen, "solving" after each set of photos, and "drawing" at the end.

    Raises
    ------
    Refusal
        If the camera cannot be used, or its photos make no rig.
    """
    from calibration.rig.from_photos import Calibration, CalibrationPhoto, calibrate
    from calibration.rig.report import coded, draw_report
    from chalkbeam.setup.camera.preview import Preview
    from chalkbeam.setup.camera.source import open_source
    from chalkbeam.setup.camera.take import CaptureProgress, Wanted
    from chalkbeam.setup.camera.until_accepted import take_until_accepted

    preview = Preview()

    def save(photo: str, image: NDArray[np.uint8]) -> Path:
        write_whole(folder / f"{photo}.png", cv2.imencode(".png", image)[1].tobytes())
        return folder / f"{photo}.png"

    def told(now: CaptureProgress) -> None:
        picture = preview.jpeg(now)
        if picture is not None:
            tell(WatchedView(now.number, now.count, now.sentence, now.refused, picture))

    def solve(photos: Sequence[CalibrationPhoto], everywhere: bool) -> Calibration:
        tell("solving")
        asked = stated if everywhere else replace(stated, heights=(0.0,))
        return calibrate(photos, face, size, asked)

    with open_source(camera) as source:
        wanted = Wanted(face, size, spacer=raised)
        done = take_until_accepted(source, wanted, save, told, solve)
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


def fit_the_eye(rig: Rig, bursts: Sequence[tuple[Path, float]], view: float | None) -> EyeFitted:
    """Return a rig with the eye that saw its bare platen.

    Parameters
    ----------
    rig : Rig
    bursts : sequence of (Path, float)
        Folders with the eye's pictures, and the height of the board on the platen, mm.
    view : float or None
        View across the picture, as the camera's data sheet says, degrees.

    Raises
    ------
    Refusal
        If the pictures do not tell where it stands.
    """
    from calibration.rig.eye import bounds, fit_eye, with_eye
    from calibration.rig.eye_report import places, sides, write_eye_report
    from calibration.solve.eye import FocalPrior
    from chalkbeam.eye.bare import bare_view, fit_words
    from chalkbeam.eye.burst import read_burst
    from chalkbeam.eye.flashes import dots_of

    views = [bare_view(read_burst(folder), folder.name, raised, rig) for folder, raised in bursts]
    prior = None
    if view is not None:
        focal = views[0].size[0] / 2 / math.tan(math.radians(view) / 2)
        prior = FocalPrior(focal, LENS_ERROR * focal)
    eye = fit_eye(rig, views, dots_of(rig.projector), prior)
    seen = sides(rig, eye)
    said = (*fit_words(rig, eye), *(each.words for each in seen), *places(seen))
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "eye.png"
        write_eye_report(place, rig, eye, views[0].white, said)
        report = read_whole(place)
    return EyeFitted(with_eye(rig, eye), bounds(rig, eye)[0][1], said, report)
