"""Going on with an unfinished run: which run of a sheet that is, and whether the sheet still fits.

A run is worked as it was recorded. Going on although the sheet asks for something else by
now, or beginning again although some is pressed already, is the operator's choice, never
the program's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from calibration.files import resolved
from calibration.refusal import Phrase, Refusal, Remedy, RemedyKind
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import Piece
from chalkbeam.orders.place_imprint import artwork_trouble
from chalkbeam.orders.problems import row_words
from chalkbeam.record.events import Kind
from chalkbeam.record.progress import Progress
from chalkbeam.record.runs import Run
from chalkbeam.record.sheet_changes import differences
from chalkbeam.record.source import RunSource
from chalkbeam.record.taken_over import take_over, unfinished_pieces

MOST = 8
"""How many differences are told one by one."""


@dataclass(frozen=True)
class Left:
    """A run that was left unfinished.

    Attributes
    ----------
    run : Run
    pressed : int
        Imprints pressed so far.
    still_open : tuple of Stop
        What is neither pressed, skipped nor left out.
    operator : str
        Who was at the press last; empty if nobody was ever named.
    left_out : tuple of str
        Rows of the sheet that were left out when the run began, and why.
    """

    run: Run
    pressed: int
    still_open: tuple[Stop, ...]
    operator: str = ""
    left_out: tuple[str, ...] = ()

    @property
    def pieces(self) -> list[Piece]:
        """The pieces as they were recorded, in the order of the sheet's rows."""
        pieces = {stop.piece.id: stop.piece for stop in self.run.stops}
        return sorted(pieces.values(), key=lambda piece: (piece.row, piece.copy))

    def __str__(self) -> str:
        begun, imprints = local_time(self.run.begun), len(self.run.stops)
        return f"begun {begun}, {self.pressed} of {imprints} imprints pressed"


def left_unfinished(store: RunSource, sheet: Path, digest: str | None) -> Left | None:
    """Return the latest run of a sheet if it was left unfinished.

    Parameters
    ----------
    sheet : Path
        A run of this file, whatever it says by now, …
    digest : str or None
        … or, where it has none, of the very same bytes under another name; None: of no other.
    """
    path = resolved(sheet)
    run = store.latest(None, path) or (store.latest(digest) if digest else None)
    if run is None:
        return None
    events = store.events(run)
    progress = Progress(run.stops, events)
    if progress.stop is None:
        return None
    outcomes = progress.outcomes
    still_open = tuple(stop for stop in run.stops if stop.imprint.id not in outcomes)
    operator = next((event.operator for event in reversed(events) if event.operator), "")
    left_out = tuple(
        str(event.data["text"])
        for event in events
        if event.kind is Kind.NOTED and event.data.get("left_out")
    )
    return Left(run, progress.pressed(), still_open, operator, left_out)


def check_not_finished(store: RunSource, run: Run, now: Sequence[Piece] | None) -> None:
    """Pass if a sheet's latest run is not one that was finished already.

    Parameters
    ----------
    store : RunSource
    run : Run
        The sheet's latest run.
    now : sequence of Piece or None
        The order as the sheet reads now; None where it was not edited. An edited one that has
        nothing of what was pressed is another order.

    Raises
    ------
    Refusal
        If it was: when, what it came to, and what to choose from.
    """
    events = store.events(run)
    progress = Progress(run.stops, events)
    if progress.stop is not None:
        return
    if now is not None and not take_over(run.id, run.stops, events, now).acts:
        return
    ended = next((event.wall for event in reversed(events) if event.imprint), run.begun)
    edited = " and has been edited since" if now is not None else ""
    spoiled: tuple[Phrase, ...] = ()
    if now is None and unfinished_pieces(run.stops, events):
        spoiled = (Remedy(RemedyKind.ONLY_SPOILED, "only what was spoiled or skipped"), ", ")
    how = "only what is new in it" if now is not None else "add to the sheet and press what is new"
    raise Refusal(
        f"This order was finished on {local_time(ended)} ({progress.pressed()} of "
        f"{len(run.stops)} imprints pressed){edited}: ",
        Remedy(RemedyKind.NEW_RUN, "press it all again"),
        ", ",
        *spoiled,
        "or ",
        Remedy(RemedyKind.TAKE_CHANGES, how),
        ".",
    )


def local_time(wall: str) -> str:
    """Return a record's time (ISO 8601, UTC) as the shop's clock has it."""
    return f"{datetime.fromisoformat(wall).astimezone():%Y-%m-%d %H:%M}"


def check_unchanged(left: Left, now: Sequence[Piece]) -> None:
    """Pass if the sheet still asks for what the unfinished run was begun for.

    Raises
    ------
    Refusal
        If it does not: a sentence for each difference, and what to do.
    """
    told = differences(left.pieces, now)
    if not told:
        return
    more = len(told) - MOST
    lines = [f"  {line}" for line in told[:MOST]] + ([f"  … and {more} more."] if more > 0 else [])
    said = "\n".join([f"{unfinished(left)}, and the sheet was edited:", *lines, ""])
    raise Refusal(said, *CHOICE)


def unfinished(left: Left) -> str:
    """Return the beginning of a sentence about an unfinished run."""
    return f"An unfinished run of this sheet exists ({left})"


CHOICE: tuple[Phrase, ...] = (
    Remedy(RemedyKind.TAKE_CHANGES, "Keep what is pressed and go on with the edited order"),
    ", ",
    Remedy(RemedyKind.AS_RECORDED, "go on with it as it was recorded"),
    ", or ",
    Remedy(RemedyKind.NEW_RUN, "begin a new run"),
    ".",
)


def absent_artwork(stops: tuple[Stop, ...]) -> tuple[str, ...]:
    """Return which imprints cannot be pressed as their artwork is missing, a sentence a file."""
    rows: dict[str, list[int]] = {}
    for art, row in dict.fromkeys((stop.imprint.art, stop.piece.row) for stop in stops):
        trouble = artwork_trouble(art)
        if trouble is not None:
            rows.setdefault(trouble, []).append(row)
    return tuple(f"{row_words(found)}: {trouble}" for trouble, found in rows.items())
