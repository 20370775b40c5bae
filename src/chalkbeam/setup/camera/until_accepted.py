"""Photos from a camera until they make a rig: what a refusal leaves of them, and what it wants."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig.from_photos import CalibrationPhoto
from chalkbeam.setup.camera.source import FrameSource
from chalkbeam.setup.camera.take import (
    CaptureProgress,
    Ended,
    PhotoTaker,
    SavePhoto,
    TakenPhoto,
    Wanted,
)

Result = TypeVar("Result")

MORE = 5
"""Photos beyond the number asked for after which it is given up."""

MORE_FOR_HEIGHT = 2
"""The same where only a spacer or a tape would truly help: photos of one plane say little of
height, however many they are."""

BARE_AGAIN = (
    "Take the board away and lay the cards flush on the bare platen again: all photos are "
    "taken again."
)

_PHOTOS = (
    RemedyKind.ONE_MORE,
    RemedyKind.ON_SPACER,
    RemedyKind.AGAIN,
    RemedyKind.SINCE_MOVED,
    RemedyKind.ALL_AGAIN,
    RemedyKind.SPACER_AGAIN,
)
"""What can be done here; a wrong measure stays wrong, whatever is photographed."""


class _StartAgain(Exception):
    """The photos on the spacer show that those of the bare platen are of no use."""

    def __init__(self, refusal: Refusal, seen: list[TakenPhoto]) -> None:
        super().__init__(str(refusal))
        self.refusal, self.seen = refusal, seen


def take_until_accepted(
    source: FrameSource,
    wanted: Wanted,
    save: SavePhoto,
    tell: Callable[[CaptureProgress], None],
    solve: Callable[[Sequence[CalibrationPhoto], bool], Result],
    stopped: Callable[[], bool] = lambda: False,
) -> Result:
    """Take photos as `take.take_photos` does, and more of them until they make a rig.

    Photos of the bare platen are judged by themselves before the spacer is asked for, since
    it cannot be taken away again without moving the cards. Where the photos on it show that
    those of the bare platen will not do after all, all are taken again.

    Parameters
    ----------
    source : FrameSource
    wanted : Wanted
    save, tell : callable
    solve : callable
        Makes a rig of photos, or raises a `Refusal`; is told whether it must hold at every
        height, or on the bare platen alone.
    stopped : callable

    Raises
    ------
    Refusal
        As the last set was refused, where more photos cannot mend it, or do not come.
    KeyboardInterrupt
        If `stopped` says so.
    """
    taker = PhotoTaker(source, wanted, save, tell, stopped)
    spacer = wanted.spacer

    def at_every_height(photos: Sequence[CalibrationPhoto]) -> Result:
        return solve(photos, True)

    def on_the_bare_platen(photos: Sequence[CalibrationPhoto]) -> Result:
        return solve(photos, False)

    judge = on_the_bare_platen if spacer else at_every_height
    on_spacer = wanted.count - wanted.flat
    again: _StartAgain | None = None
    while True:
        flat, result = _until(taker, [], 0.0, wanted.flat, on_spacer, judge, tell, again)
        if not spacer:
            return result
        try:
            return _until(taker, flat, spacer, on_spacer, 0, at_every_height, tell)[1]
        except _StartAgain as start:
            if again is not None:  # once is enough
                raise start.refusal from None
            again = start
        said = f"{again.refusal} {BARE_AGAIN}"
        tell(CaptureProgress(1, wanted.count, 0.0, said, refused=True))


def _until(
    taker: PhotoTaker,
    before: list[TakenPhoto],
    raised: float,
    count: int,
    to_come: int,
    judge: Callable[[Sequence[CalibrationPhoto]], Result],
    tell: Callable[[CaptureProgress], None],
    again: _StartAgain | None = None,
) -> tuple[list[TakenPhoto], Result]:
    """Take photos at one height until they and those before make a rig.

    At least `count` of them; `to_come` will be wanted at another height afterwards.
    `again` is why they are taken once more.

    Raises
    ------
    _StartAgain
        If a refusal leaves not all of the photos before in use.
    """
    good: list[TakenPhoto] = []
    asked, taken = count, 0
    refused = again.refusal if again is not None else None
    side = ""
    elsewhere = again.seen if again is not None else []  # to tell this height from that one
    while True:
        while len(good) < asked:
            whole = len(before) + asked + to_come
            try:
                others = [*elsewhere, *before, *good]
                photo = taker.take(len(before) + len(good) + 1, whole, raised, others, side)
            except Ended:
                if refused is not None:
                    raise refused from None  # why there was to be one more
                raise
            good.append(photo)
            taken, side = taken + 1, ""
        try:
            return [*before, *good], judge([each.photo for each in (*before, *good)])
        except Refusal as refusal:
            refused = refusal
        remedy = next((each for each in refused.remedies if each.kind in _PHOTOS), None)
        if remedy is None:
            raise refused
        staying = still_good(remedy, [*before, *good])
        if not all(each in staying for each in before):
            raise _StartAgain(refused, good)
        good = [each for each in staying if each not in before]
        asked = max(count, len(good) + 1)
        more = MORE_FOR_HEIGHT if remedy.kind is RemedyKind.ON_SPACER else MORE
        if taken + asked - len(good) > count + more:
            raise refused
        number = len(before) + len(good) + 1
        side = str(remedy.value) if remedy.kind is RemedyKind.ONE_MORE else ""
        whole = len(before) + asked + to_come
        tell(CaptureProgress(number, whole, raised, str(refused), refused=True))


def still_good(remedy: Remedy, taken: Sequence[TakenPhoto]) -> list[TakenPhoto]:
    """Return which of the photos taken may stay, going by what the refusal asks for."""
    newest = taken[-1:]
    return [each for each in taken if stays(remedy, each.photo, each in newest)]


def stays(remedy: Remedy, photo: CalibrationPhoto, newest: bool) -> bool:
    """Whether a photo may stay, going by what a refusal asks for."""
    match remedy.kind:
        case RemedyKind.AGAIN:
            return photo.path.name != remedy.value
        case RemedyKind.SPACER_AGAIN:
            return not photo.raised
        case RemedyKind.SINCE_MOVED:
            return newest
        case RemedyKind.ALL_AGAIN:
            return False
        case _:
            return True
