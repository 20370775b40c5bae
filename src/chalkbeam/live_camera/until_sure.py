"""Photos from a camera until they make a rig: what a refusal leaves of them, and what it wants."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from calibration.pipeline import Shot
from calibration.refusal import Refusal
from chalkbeam.live_camera.source import FrameSource
from chalkbeam.live_camera.taking import Ended, Keep, Progress, Taken, Taker, Wanted

Result = TypeVar("Result")

MORE = 5
"""Photos beyond the number asked for after which it is given up."""

MORE_FOR_HEIGHT = 2
"""The same where only a board or a tape would truly help: photos of one plane say little of
height, however many they are."""


def take_until_sure(
    source: FrameSource,
    wanted: Wanted,
    keep: Keep,
    tell: Callable[[Progress], None],
    solve: Callable[[Sequence[Shot], bool], Result],
    stopped: Callable[[], bool] = lambda: False,
) -> Result:
    """Take photos as `taking.take_photos` does, and more of them until they make a rig.

    Photos of the bare platen are judged by themselves before a board is asked for, since
    a board once laid cannot be taken away without moving the cards.

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

    def at_every_height(shots: Sequence[Shot]) -> Result:
        return solve(shots, True)

    def on_the_bare_platen(shots: Sequence[Shot]) -> Result:
        return solve(shots, False)

    judge = on_the_bare_platen if board else at_every_height
    boards = wanted.count - wanted.flat
    flat, result = _until(taker, [], 0.0, wanted.flat, boards, judge, tell)
    if board:
        _, result = _until(taker, flat, board, boards, 0, at_every_height, tell)
    return result


def _until(
    taker: Taker,
    before: list[Taken],
    raised: float,
    count: int,
    to_come: int,
    judge: Callable[[Sequence[Shot]], Result],
    tell: Callable[[Progress], None],
) -> tuple[list[Taken], Result]:
    """Take photos at one height until they and those before make a rig.

    At least `count` of them; `to_come` will be wanted at another height afterwards.
    """
    good: list[Taken] = []
    asked, taken = count, 0
    refused: Refusal | None = None
    while True:
        while len(good) < asked:
            whole = len(before) + asked + to_come
            try:
                photo = taker.take(len(before) + len(good) + 1, whole, raised, [*before, *good])
            except Ended:
                if refused is not None:
                    raise refused from None  # why there was to be one more
                raise
            good.append(photo)
            taken += 1
        try:
            return [*before, *good], judge([each.shot for each in (*before, *good)])
        except Refusal as refusal:
            refused = refusal
        sentence = str(refused)
        good = still_good(sentence, good)
        asked = max(count, len(good) + 1)
        more = MORE_FOR_HEIGHT if "(--raised)" in sentence else MORE
        if not cured_by_photos(sentence) or taken + asked - len(good) > count + more:
            raise refused
        number = len(before) + len(good) + 1
        tell(Progress(number, len(before) + asked + to_come, raised, sentence, refused=True))


def cured_by_photos(sentence: str) -> bool:
    """Tell whether more photos can help against a refusal: a wrong measure stays wrong."""
    return "(--bar)" not in sentence and "measure the bar" not in sentence


def still_good(sentence: str, taken: Sequence[Taken]) -> list[Taken]:
    """Return which of the photos taken may stay, going by what the refusal asks for.

    All where it only wants more; none where something must be laid or set anew first; the
    newest, which shows what now is, where something moved between them; all but the one
    that it names where that one is bad.
    """
    if "does not agree with the other photos" in sentence:
        return list(taken[-1:])
    if "photos again" in sentence or "keystone" in sentence:
        return []
    return [each for each in taken if each.shot.path.name not in sentence]
