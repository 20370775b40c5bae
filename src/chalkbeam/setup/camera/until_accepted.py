"""Photos from a camera until they make a rig: what a refusal leaves of them, and what it wants."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig.from_photos import CalibrationPhoto
from chalkbeam.setup.camera.source import FrameSource
from chalkbeam.setup.camera.take import CaptureProgress, Ended, Keep, Taken, Taker, Wanted

Result = TypeVar("Result")

MORE = 5
"""Photos beyond the number asked for after which it is given up."""

MORE_FOR_HEIGHT = 2
"""The same where only a board or a tape would truly help: photos of one plane say little of
height, however many they are."""

BARE_AGAIN = (
    "Take the board away and lay the cards flush on the bare platen again: all photos are "
    "taken anew."
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


class _Anew(Exception):
    """With the board's photos to hand, those of the bare platen turn out to be of no use."""

    def __init__(self, refusal: Refusal, seen: list[Taken]) -> None:
        super().__init__(str(refusal))
        self.refusal, self.seen = refusal, seen


def take_until_sure(
    source: FrameSource,
    wanted: Wanted,
    keep: Keep,
    tell: Callable[[CaptureProgress], None],
    solve: Callable[[Sequence[CalibrationPhoto], bool], Result],
    stopped: Callable[[], bool] = lambda: False,
) -> Result:
    """Take photos as `taking.take_photos` does, and more of them until they make a rig.

    Photos of the bare platen are judged by themselves before a board is asked for, since
    a board once laid cannot be taken away without moving the cards. Where the board shows
    that they will not do after all, all photos are taken again.

    Parameters
    ----------
    source : FrameSource
    wanted : Wanted
    keep, tell : callable
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
    taker = Taker(source, wanted, keep, tell, stopped)
    board = wanted.board

    def at_every_height(shots: Sequence[CalibrationPhoto]) -> Result:
        return solve(shots, True)

    def on_the_bare_platen(shots: Sequence[CalibrationPhoto]) -> Result:
        return solve(shots, False)

    judge = on_the_bare_platen if board else at_every_height
    boards = wanted.count - wanted.flat
    again: _Anew | None = None
    while True:
        flat, result = _until(taker, [], 0.0, wanted.flat, boards, judge, tell, again)
        if not board:
            return result
        try:
            return _until(taker, flat, board, boards, 0, at_every_height, tell)[1]
        except _Anew as anew:
            if again is not None:  # once is enough
                raise anew.refusal from None
            again = anew
        said = f"{again.refusal} {BARE_AGAIN}"
        tell(CaptureProgress(1, wanted.count, 0.0, said, refused=True))


def _until(
    taker: Taker,
    before: list[Taken],
    raised: float,
    count: int,
    to_come: int,
    judge: Callable[[Sequence[CalibrationPhoto]], Result],
    tell: Callable[[CaptureProgress], None],
    again: _Anew | None = None,
) -> tuple[list[Taken], Result]:
    """Take photos at one height until they and those before make a rig.

    At least `count` of them; `to_come` will be wanted at another height afterwards.
    `again` is why they are taken once more.

    Raises
    ------
    _Anew
        If a refusal leaves not all of the photos before in use.
    """
    good: list[Taken] = []
    asked, taken = count, 0
    refused = again.refusal if again is not None else None
    side = ""
    elsewhere = again.seen if again is not None else []  # to tell this height from that one
    while True:
        while len(good) < asked:
            whole = len(before) + asked + to_come
            try:
                beside = [*elsewhere, *before, *good]
                photo = taker.take(len(before) + len(good) + 1, whole, raised, beside, side)
            except Ended:
                if refused is not None:
                    raise refused from None  # why there was to be one more
                raise
            good.append(photo)
            taken, side = taken + 1, ""
        try:
            return [*before, *good], judge([each.shot for each in (*before, *good)])
        except Refusal as refusal:
            refused = refusal
        remedy = next((each for each in refused.remedies if each.kind in _PHOTOS), None)
        if remedy is None:
            raise refused
        kept = still_good(remedy, [*before, *good])
        if not all(each in kept for each in before):
            raise _Anew(refused, good)
        good = [each for each in kept if each not in before]
        asked = max(count, len(good) + 1)
        more = MORE_FOR_HEIGHT if remedy.kind is RemedyKind.ON_SPACER else MORE
        if taken + asked - len(good) > count + more:
            raise refused
        number = len(before) + len(good) + 1
        side = str(remedy.value) if remedy.kind is RemedyKind.ONE_MORE else ""
        whole = len(before) + asked + to_come
        tell(CaptureProgress(number, whole, raised, str(refused), refused=True))


def still_good(remedy: Remedy, taken: Sequence[Taken]) -> list[Taken]:
    """Return which of the photos taken may stay, going by what the refusal asks for."""
    match remedy.kind:
        case RemedyKind.AGAIN:
            return [each for each in taken if each.shot.path.name != remedy.value]
        case RemedyKind.SPACER_AGAIN:
            return [each for each in taken if not each.shot.raised]
        case RemedyKind.SINCE_MOVED:
            return list(taken[-1:])
        case RemedyKind.ALL_AGAIN:
            return []
        case _:
            return list(taken)
