"""From photo files to a solved and examined calibration, in one call."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from calibration.detect.observe import observe
from calibration.detect.single_exposure import MOST_UNEXPLAINED, unexplained_residual
from calibration.geometry import PlatenFace
from calibration.model.coverage import check_covered
from calibration.model.uncertainty import Worst
from calibration.observations import PhotoObservation
from calibration.photo.read import UNKNOWN_CAMERA, Photo, read_photo
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.solve.acceptance import examine
from calibration.solve.fit import Solution, solve
from calibration.solve.values import Stated
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern

WORKERS = 2
"""Photos observed at the same time; OpenCV releases the interpreter lock while it works."""


@dataclass(frozen=True)
class CalibrationPhoto:
    """One photo file, or two from the same place that count as one.

    Attributes
    ----------
    path : Path
        The photo of cards and pattern; of the cards under plain light if `lit` is given.
    raised : float
        Height of the cards above the bare platen, mm.
    lit : Path or None
        A second photo from exactly the same place, which shows the pattern.
    """

    path: Path
    raised: float = 0.0
    lit: Path | None = None


@dataclass(frozen=True, eq=False)
class Calibration:
    """Photos, and what was solved from them.

    Attributes
    ----------
    photos : tuple of Photo
    solution : Solution
    worst : tuple of Worst
        The worst point at each height that was asked for.
    """

    photos: tuple[Photo, ...]
    solution: Solution
    worst: tuple[Worst, ...]


def read_and_observe(
    given: Sequence[CalibrationPhoto], face: PlatenFace, size: tuple[int, int]
) -> tuple[tuple[Photo, ...], tuple[PhotoObservation, ...]]:
    """Read photos and find cards and pattern in each.

    Raises
    ------
    Refusal
        For the first photo that cannot be used.
    """
    cards, pattern = layout(face), Pattern(size)

    def one(each: CalibrationPhoto) -> tuple[Photo, PhotoObservation]:
        photo = read_photo(each.path)
        lit = None if each.lit is None else read_photo(each.lit)
        return photo, observe(photo, cards, pattern, each.raised, pattern_photo=lit)

    with _single_threaded_opencv(), ThreadPoolExecutor(WORKERS) as pool:
        found = list(pool.map(one, given))
    _check_all_different([photo for photo, _ in found])
    return tuple(photo for photo, _ in found), tuple(seen for _, seen in found)


@contextmanager
def _single_threaded_opencv() -> Iterator[None]:
    """Let OpenCV work in the calling thread: its own wait busily for each other."""
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(threads)


def _check_all_different(photos: Sequence[Photo]) -> None:
    """Refuse a photo given twice: it would count as a second observation."""
    for one, other in itertools.combinations(photos, 2):
        if one.size == other.size and np.array_equal(one.image, other.image):
            twice = "given twice" if other.name == one.name else f"the same photo as {one.name}"
            raise Refusal(
                f"{other.name} is {twice}: leave it out, or ",
                Remedy(RemedyKind.AGAIN, "take another from a different side", other.name),
                ".",
            )


def calibrate(
    given: Sequence[CalibrationPhoto],
    face: PlatenFace,
    size: tuple[int, int],
    stated: Stated | None = None,
    part_lit: bool = False,
    tell: Callable[[str], None] = lambda _: None,
) -> Calibration:
    """Return the calibration that photo files give.

    Parameters
    ----------
    given : sequence of CalibrationPhoto
    face : PlatenFace
    size : tuple of int
        The projector's picture, px.
    stated : Stated, optional
    part_lit : bool
        Whether the picture may end on the platen.
    tell : callable
        Called with what is about to be done, for the operator.

    Raises
    ------
    Refusal
        If a photo cannot be used, or the result is not to be trusted.
    """
    tell(f"Reading {', '.join(each.path.name for each in given)} …")
    photos, seen = read_and_observe(given, face, size)
    tell("Solving …")
    return calibrate_seen(photos, seen, face, size, stated, part_lit)


def calibrate_seen(
    photos: tuple[Photo, ...],
    seen: tuple[PhotoObservation, ...],
    face: PlatenFace,
    size: tuple[int, int],
    stated: Stated | None = None,
    part_lit: bool = False,
) -> Calibration:
    """Return the calibration that photos give in which everything was found before.

    As `calibrate`, with what `read_and_observe` found.
    """
    done = _solved(photos, seen, face, size, stated)
    if not part_lit:
        check_covered(done.solution.map, face)
    return done


def _solved(
    photos: tuple[Photo, ...],
    seen: tuple[PhotoObservation, ...],
    face: PlatenFace,
    size: tuple[int, int],
    stated: Stated | None,
) -> Calibration:
    """Return the calibration, taking unknown cameras first for one, then for several."""

    def attempt(observations: Sequence[PhotoObservation]) -> Calibration:
        solution = solve(observations, layout(face), Pattern(size), face, stated)
        return Calibration(photos, solution, examine(solution, face))

    apart = _with_separate_cameras(seen)
    try:
        return attempt(seen)
    except Refusal as refusal:
        if apart != seen:
            with suppress(Refusal):  # if both are refused, the usual case's refusal is told
                return attempt(apart)
        _check_single_exposures(seen, Pattern(size))
        told = refusal
        if (swapped := _swapped(seen)) is not None:
            with suppress(Refusal):
                attempt(swapped)
                told = _as_swapped(seen)
        raise told from None


def _swapped(seen: tuple[PhotoObservation, ...]) -> tuple[PhotoObservation, ...] | None:
    """Return photos as if those of the bare platen and of the one board were swapped."""
    raised = {each.raised for each in seen if each.raised}
    if len(raised) != 1 or all(each.raised for each in seen):
        return None
    (height,) = raised
    return tuple(replace(each, raised=0.0 if each.raised else height) for each in seen)


def _as_swapped(seen: Sequence[PhotoObservation]) -> Refusal:
    """Say that photos fit together the other way round only."""
    board, bare = (
        ", ".join(each.name for each in seen if bool(each.raised) is raised)
        for raised in (False, True)
    )
    return Refusal(
        "The photos of the bare platen and of the board are swapped, by where the light falls: "
        f"{bare} {'show' if ',' in bare else 'shows'} the bare platen, {board} the board; ",
        Remedy(RemedyKind.SPACER, "give the board's height with those that show it"),
        ".",
    )


def _check_single_exposures(seen: Sequence[PhotoObservation], pattern: Pattern) -> None:
    """Refuse a photo that is no single exposure: that is what caused any other refusal."""
    for photo in seen:
        lit = pattern.pixels(np.array([corner.index for corner in photo.pattern], np.intp))
        pixels = np.array([corner.pixel for corner in photo.pattern]).reshape(-1, 2)
        if unexplained_residual(lit, pixels, photo.size) > MOST_UNEXPLAINED:
            raise Refusal(
                f"The parts of {photo.name} do not fit together: ",
                Remedy(RemedyKind.AGAIN, "take it as one ordinary photo", photo.name),
                ", no panorama and not edited, of a flat platen.",
            )


def _with_separate_cameras(seen: tuple[PhotoObservation, ...]) -> tuple[PhotoObservation, ...]:
    """Return observations in which photos of unknown cameras share no lens.

    Photos without EXIF are first taken to come from one camera, which is usual and gives
    the surest result; where that does not fit they may come from several.
    """
    unknown = [each for each in seen if each.camera.startswith(UNKNOWN_CAMERA)]
    if len(unknown) < 2:
        return seen
    return tuple(
        replace(each, camera=f"{each.camera} {k}") if each in unknown else each
        for k, each in enumerate(seen, 1)
    )
