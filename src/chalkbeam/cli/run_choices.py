"""What `chalkbeam run` makes of what was begun before: the operator's choice, never its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal

if TYPE_CHECKING:
    from chalkbeam.orders.sheet import RunSheet
    from chalkbeam.record.progress import Progress
    from chalkbeam.record.resume import Left
    from chalkbeam.record.runs import Run
    from chalkbeam.record.source import RunSource
    from chalkbeam.record.taken_over import TakenOver

CHOICES = ("--as-recorded", "--new-run", "--again", "--take-changes", "--only-spoiled")


def check_one_choice(*made: bool) -> None:
    """Pass if no more than one of `CHOICES` is made.

    Raises
    ------
    Refusal
        If more are.
    """
    if sum(made) > 1:
        raise Refusal(
            f"{', '.join(CHOICES)} say each what becomes of an earlier run: give one only."
        )


def digest_now(sheet: Path, as_recorded: bool) -> str:
    """Return the digest of the sheet; empty for one that is gone and not wanted."""
    from chalkbeam.basics.spreadsheets import digest_of

    try:
        return digest_of(sheet)
    except Refusal:
        if as_recorded:
            return ""
        raise


def seen_before(
    source: RunSource, sheet: Path, digest: str, by_place: bool
) -> tuple[str | None, Left | None]:
    """Return the id of the latest run of this sheet, and its run if it was left unfinished.

    Runs of the same bytes at another place are its own unless it is known `by_place` alone.
    """
    from calibration.files import resolved
    from chalkbeam.record.resume import left_unfinished

    latest = source.latest(digest, resolved(sheet))
    known = None if by_place else digest
    return latest.id if latest else None, left_unfinished(source, sheet, known)


def check_new(
    source: RunSource, sheet: Path, digest: str, order: RunSheet | None, by_place: bool
) -> None:
    """Pass if an order was not finished already; `order` where the sheet was edited since.

    With `by_place` runs of the same bytes at another place are another order's.

    Raises
    ------
    Refusal
        As `chalkbeam.record.resume.check_not_finished`.
    """
    from calibration.files import resolved
    from chalkbeam.record.resume import check_not_finished

    run = source.latest(None if by_place else digest, resolved(sheet))
    if run is not None and (run.digest == digest) == (order is None):
        check_not_finished(source, run, None if order is None else order.pieces)


def check_nothing_lies(progress: Progress) -> None:
    """Pass if no garment was left under the press, or with its carrier on.

    Raises
    ------
    Refusal
        If one was: it is to be seen to first.
    """
    from chalkbeam.record.events import UNDER_HEAD
    from chalkbeam.station.words import pressed_words, unpeeled_pieces

    if progress.stop is not None and progress.at.step in UNDER_HEAD:
        raise Refusal(
            f"{pressed_words(progress)} The run was left under the press: go on with it as it was "
            "recorded, say so, leave it, and take the changes in then."
        )
    if cooling := unpeeled_pieces(progress):
        raise Refusal(
            f"Pressed and not peeled: {', '.join(cooling)}. Go on with the run as it was recorded, "
            "peel them, leave it, and take the changes in then."
        )


def taken_over(
    source: RunSource, order: RunSheet, only_spoiled: bool
) -> tuple[Run, RunSheet, TakenOver]:
    """Return the sheet's latest run, what of the order is to be worked, and what is done of it.

    Parameters
    ----------
    source : RunSource
    order : RunSheet
    only_spoiled : bool
        Only what that run has spoiled or skipped; else the order as it reads now.

    Raises
    ------
    Refusal
        If there is no such run, or it was left under the closed press.
    """
    from calibration.files import resolved
    from chalkbeam.record.progress import Outcome, Progress
    from chalkbeam.record.taken_over import TakenOver, take_over, unfinished_pieces

    run = source.latest(order.digest, resolved(order.path))
    if run is None:
        raise Refusal(f"There is no earlier run of {order.path} to go by: begin it as usual.")
    events = source.events(run)
    progress = Progress(run.stops, events)
    check_nothing_lies(progress)
    if not only_spoiled:
        return run, order, take_over(run.id, run.stops, events, order.pieces)
    if progress.stop is not None or run.digest != order.digest:
        raise Refusal(
            f"The last run of {order.path} is unfinished, or the sheet was edited since: go on "
            "with it, or keep what is pressed and go on with the edited order."
        )
    wanted = set(unfinished_pieces(run.stops, events))
    pieces = tuple(piece for piece in order.pieces if piece.id in wanted)
    if not pieces:
        raise Refusal(f"Nothing of {order.path} was spoiled or skipped: there is nothing to press.")
    stops = [stop for stop in run.stops if stop.piece.id in wanted]
    found = take_over(run.id, stops, events, pieces)
    kept = tuple(act for act in found.acts if act.data["outcome"] == Outcome.PRESSED.value)
    return run, replace(order, pieces=pieces), TakenOver(kept)
