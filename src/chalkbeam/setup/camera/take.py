"""Watch a camera until every photo that a calibration needs is taken and saved."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.detect import card_layout
from calibration.detect.cards import FoundCard
from calibration.detect.observe import observe
from calibration.geometry import PlatenFace, Points
from calibration.model import homography
from calibration.observations import PhotoObservation
from calibration.photo.read import SMALLEST, Photo
from calibration.refusal import Refusal
from calibration.rig.from_photos import CalibrationPhoto
from calibration.targets.cards import Card, layout
from calibration.targets.pattern import Pattern
from chalkbeam.setup.camera.advice import (
    APART,
    LEAST_MODULE,
    XYZ,
    Advice,
    Want,
    Watch,
    advise,
    fault_of_view,
)
from chalkbeam.setup.camera.quick_look import QuickLook, quick_look, quick_look_of
from chalkbeam.setup.camera.source import CameraFrame, FrameSource

PATIENCE = 90.0
"""Seconds without any card in sight after which watching ends."""

LEAST_SPACER = 5.0
"""Lowest spacer, mm, that is told from the bare platen by where the light falls."""

_LEAST_LIFT = 0.2
"""Movement of the light on the cards, as a share of the spacer's height, that proves that
the spacer is there: a projector 20 degrees off the normal moves it by 0.36."""

_MISSED_FOR = 2.0
"""Seconds for which cards are missed before a thorough look is taken to learn why."""

_PAUSE = 1.0
"""Seconds between two thorough looks: they take about half of one."""

_CROWD = 4
"""Photos from which on another may be taken half as far from them: room runs out."""

_HERE = "this view"


@dataclass(frozen=True)
class Wanted:
    """What a calibration asks of the camera.

    Attributes
    ----------
    face : PlatenFace
    size : tuple of int
        The projector's picture, px.
    flat : int
        Photos of the cards on the bare platen, each from another side.
    spacer : float
        Height of the spacer under the cards (the board, to the operator) for one photo more,
        mm; 0 for none.
    """

    face: PlatenFace
    size: tuple[int, int]
    flat: int = 3
    spacer: float = 0.0

    @property
    def count(self) -> int:
        """Number of photos."""
        return self.flat + (1 if self.spacer else 0)


@dataclass(frozen=True)
class CaptureProgress:
    """How far the taking of photos has come.

    Attributes
    ----------
    number, count : int
        Which photo is being taken, from 1, and how many there will be.
    raised : float
        Height of the spacer it is to be taken on, mm.
    sentence : str
        What the operator is to do now.
    saved : Path or None
        The photo that has just been taken, safely on disk.
    refused : bool
        Whether `sentence` says why the photos so far make no rig.
    image : ndarray, shape (height, width, 3), uint8, or None
        The picture that all this is about, BGR.
    seen : QuickLook or None
        What a quick look sees in it.
    good : bool
        Whether it lacks nothing, or nothing but a moment's rest.
    """

    number: int
    count: int
    raised: float
    sentence: str
    saved: Path | None = None
    refused: bool = False
    image: NDArray[np.uint8] | None = field(default=None, compare=False)
    seen: QuickLook | None = field(default=None, compare=False)
    good: bool = False


@dataclass(frozen=True, eq=False)
class TakenPhoto:
    """One photo that has been taken.

    Attributes
    ----------
    photo : CalibrationPhoto
    seen : PhotoObservation
    towards : (float, float, float) or None
        Direction from which it was taken, as `QuickLook.towards`.
    """

    photo: CalibrationPhoto
    seen: PhotoObservation
    towards: XYZ | None


class Ended(Refusal):
    """A recording has no more pictures."""


SavePhoto = Callable[[str, NDArray[np.uint8]], Path]
"""Name of a photo, such as "flat-1", and its picture, to the file it is now safe in."""


def take_photos(
    source: FrameSource,
    wanted: Wanted,
    save: SavePhoto,
    tell: Callable[[CaptureProgress], None],
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[CalibrationPhoto, ...]:
    """Watch pictures, guide the operator, and take each photo when it is worth it.

    A photo is taken only once `calibration.detect.observe` has found everything in it,
    and is told of only once it is saved.

    Parameters
    ----------
    source : FrameSource
    wanted : Wanted
    save : callable
    tell : callable
        Is told the progress after every picture.
    stopped : callable
        Whether the operator wants no more.

    Raises
    ------
    Refusal
        If the source brings no usable pictures, or a recording ends too soon.
    KeyboardInterrupt
        If `stopped` says so.
    """
    taker = PhotoTaker(source, wanted, save, tell, stopped)
    taken: list[TakenPhoto] = []
    for number in range(1, wanted.count + 1):
        raised = 0.0 if number <= wanted.flat else wanted.spacer
        taken.append(taker.take(number, wanted.count, raised, taken))
    return tuple(each.photo for each in taken)


@dataclass(frozen=True)
class _Doubt:
    """What a thorough look said against a picture, and when.

    `since` is when cards were first missed, `looked` when a thorough look was last
    taken, `sentence` what it brought; `want` is the advice it goes with.
    """

    since: float = math.inf
    looked: float = -math.inf
    want: Want | None = None
    sentence: str = ""


class PhotoTaker:
    """Waits for one photo after the other."""

    def __init__(
        self,
        source: FrameSource,
        wanted: Wanted,
        save: SavePhoto,
        tell: Callable[[CaptureProgress], None],
        stopped: Callable[[], bool],
    ) -> None:
        if wanted.spacer and wanted.spacer < LEAST_SPACER:
            raise Refusal(
                f"A board of {wanted.spacer:g} mm is too low to be told from the bare platen: lay "
                f"one of {LEAST_SPACER:g} mm or more, or take the photos yourself and name them."
            )
        self._source, self._wanted = source, wanted
        self._save, self._tell, self._stopped = save, tell, stopped
        self._cards, self._pattern = layout(wanted.face), Pattern(wanted.size)
        self._names = Counter[str]()

    def take(
        self, number: int, count: int, raised: float, before: Sequence[TakenPhoto], side: str = ""
    ) -> TakenPhoto:
        """Wait for the next photo and save it.

        Parameters
        ----------
        number, count : int
            Which photo it is, from 1, and how many there will be.
        raised : float
            Height of the spacer, mm; 0 for none.
        before : sequence of TakenPhoto
            Photos that it is to go with: it is not taken from where one of its height was,
            nor before its light lies elsewhere than in those of another height.
        side : str
            Side of the platen that was asked for, as a `Remedy` has it.
        """
        watch = Watch(self._wanted.face, side=side)
        like = [each for each in before if each.photo.raised == raised]
        for each in like:
            watch = watch.with_photo(each.towards)
        if len(like) >= _CROWD:
            watch = replace(watch, apart=APART / 2)
        other = next((each for each in before if each.photo.raised != raised), None)
        picture, seen, towards = self._wait_for(number, count, raised, watch, other)
        kind = f"raised-{raised:g}mm" if raised else "flat"
        self._names[kind] += 1
        nth = self._names[kind]
        name = kind if raised and nth == 1 else f"{kind}-{nth}"
        path = self._save(name, picture.image)
        self._tell(CaptureProgress(number, count, raised, f"Photo {number} is taken.", path))
        return TakenPhoto(CalibrationPhoto(path, raised), seen, towards)

    def _wait_for(
        self, number: int, count: int, raised: float, watch: Watch, other: TakenPhoto | None
    ) -> tuple[CameraFrame, PhotoObservation, XYZ | None]:
        """Return the next picture worth a photo, what it shows, and where it was taken from."""
        doubt = _Doubt()
        sentence = ""
        seen_at: float | None = None
        while (picture := self._source.read()) is not None:
            if self._stopped():
                raise KeyboardInterrupt
            _check_size(self._source, picture, self._cards, self._wanted.face)
            now = quick_look(picture.image, self._cards, self._wanted.face, picture.at)
            watch = watch.after(now)
            advice = advise(now, watch)
            seen_at = picture.at if now.cards or seen_at is None else seen_at
            if picture.at - seen_at > PATIENCE:
                raise Refusal(
                    f"No card was seen for {PATIENCE:g} seconds; the last advice was: {sentence}"
                )
            doubt = _updated(doubt, advice, now)
            if _look_closer(doubt, advice, picture.at):
                outcome = self._look(picture, raised, other, watch, now, quick=advice.take)
                if not isinstance(outcome, str):
                    return picture, *outcome
                doubt = replace(doubt, looked=picture.at, want=advice.want, sentence=outcome)
            sentence = doubt.sentence or advice.sentence
            good = not doubt.sentence and advice.want in (Want.STILLNESS, Want.NOTHING)
            self._tell(
                CaptureProgress(
                    number, count, raised, sentence, image=picture.image, seen=now, good=good
                )
            )
        raise Ended(
            f"{self._source.name} ends before photo {number} of {count} could be "
            f"taken; the last advice was: {sentence or 'none, it has no pictures.'}"
        )

    def _look(
        self,
        picture: CameraFrame,
        raised: float,
        other: TakenPhoto | None,
        watch: Watch,
        now: QuickLook,
        quick: bool,
    ) -> tuple[PhotoObservation, XYZ | None] | str:
        """Return what a thorough look finds, or what speaks against the photo."""
        size = (picture.image.shape[1], picture.image.shape[0])
        photo = Photo(_HERE, picture.image, f"live {size[0]}x{size[1]}")
        try:
            seen = observe(photo, self._cards, self._pattern, raised)
        except Refusal as refusal:
            return str(refusal)[:1].upper() + str(refusal)[1:]
        if not quick:  # the quick look had missed a card, so nothing else was judged
            now = quick_look_of(seen, self._cards, self._wanted.face, picture.at)
            fault = fault_of_view(now, watch)
            if fault is not None:
                return fault.sentence
        if other is not None:
            moved = lift(other.seen, seen, self._cards)
            if moved < _LEAST_LIFT * abs(raised - other.photo.raised):
                if not raised:
                    return (
                        "Now take the board away, and lay the cards on the bare platen, flush in "
                        "its corners."
                    )
                return (
                    f"Now lay the flat board of {raised:g} mm on the platen, and the cards on it, "
                    "flush as before."
                )
        return seen, now.towards


def _updated(doubt: _Doubt, advice: Advice, now: QuickLook) -> _Doubt:
    """Return the doubt after a picture: it lasts while the advice stays what it was."""
    missed = advice.want in (Want.CARDS, Want.SHARPNESS)
    since = (min(doubt.since, now.at)) if missed else math.inf
    settled = {Want.STILLNESS, Want.NOTHING}
    same = advice.want is doubt.want or {advice.want, doubt.want} <= settled
    return replace(doubt, since=since, sentence=doubt.sentence if same else "")


def _look_closer(doubt: _Doubt, advice: Advice, at: float) -> bool:
    """Tell whether a picture deserves a thorough look now."""
    due = at - doubt.looked >= _PAUSE
    return due and (advice.take or at - doubt.since >= _MISSED_FOR)


def lift(bare: PhotoObservation, other: PhotoObservation, cards: tuple[Card, ...]) -> float:
    """Return how far the pattern has moved on the cards' plane between two photos, mm.

    A projector that shines obliquely lights other places once the plane is raised, by
    the height times the tangent of its angle; where the camera stands does not matter.
    The median over the points of the pattern that both photos show; 0 if there are none.
    """
    one, two = (_pattern_places(seen, cards) for seen in (bare, other))
    common = sorted(one.keys() & two.keys())
    if not common:
        return 0.0
    moved = np.array([one[index] for index in common]) - [two[index] for index in common]
    return float(np.median(np.linalg.norm(moved, axis=1)))


def _pattern_places(
    seen: PhotoObservation, cards: tuple[Card, ...]
) -> dict[int, tuple[float, float]]:
    """Return where on the plane of the cards each point of the pattern falls, mm."""
    found = []
    for card in cards:
        mine = [corner for corner in seen.cards if corner.board == card.name]
        indices = np.array([corner.index for corner in mine], np.intp)
        pixels: Points = np.array([corner.pixel for corner in mine])
        matrix = homography.fit(card.charuco.corners[indices], pixels)
        found.append(FoundCard(card, indices, pixels, matrix))
    view = card_layout.measure(found, seen.size).view
    places = view.plane_from_photo(np.array([corner.pixel for corner in seen.pattern]))
    return {
        corner.index: (float(x), float(y))
        for corner, (x, y) in zip(seen.pattern, places, strict=True)
    }


def _check_size(
    source: FrameSource, picture: CameraFrame, cards: tuple[Card, ...], face: PlatenFace
) -> None:
    """Refuse pictures too small to read the cards in, however near the camera comes."""
    height, width = picture.image.shape[:2]
    scale = max(
        min(width / across, height / along)
        for across, along in ((face.width, face.depth), (face.depth, face.width))
    )
    too_small = max(width, height) < SMALLEST[0] or min(width, height) < SMALLEST[1]
    if too_small or scale * cards[0].module < LEAST_MODULE:
        raise Refusal(
            f"{source.name} brings pictures of only {width} x {height} pixels, too few to read the "
            "cards: set it to 1920 x 1080, or take the photos with a phone."
        )
