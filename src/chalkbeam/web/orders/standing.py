"""How far orders are, by the record; and what was pressed of sheets that lie elsewhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from calibration.files import resolved
from calibration.refusal import Refusal
from chalkbeam.basics.spreadsheets import digest_of
from chalkbeam.record.progress import Progress
from chalkbeam.record.runs import Heading
from chalkbeam.record.source import RunSource
from chalkbeam.record.taken_over import unfinished_pieces


@dataclass(frozen=True)
class Standing:
    """How far an order's latest run is.

    Attributes
    ----------
    run : str
        Its id.
    begun : str
        Day, ISO 8601.
    pressed, imprints : int
    finished : bool
        Whether nothing is left to do.
    changed : bool
        Whether its sheet was edited since it began.
    set_aside : int
        Pieces on which something was spoiled or skipped, once it is finished.
    """

    run: str
    begun: str
    pressed: int
    imprints: int
    finished: bool
    changed: bool = False
    set_aside: int = 0


@dataclass(frozen=True)
class Standings:
    """What the record says.

    Attributes
    ----------
    of_sheet : dict of str to Standing
        By the sheet's path; a sheet never pressed is not among them.
    elsewhere : tuple of Heading
        Runs of sheets that are none of those asked for, the newest first, one a sheet.
    """

    of_sheet: dict[str, Standing]
    elsewhere: tuple[Heading, ...] = ()


def standings(source: RunSource, sheets: Iterable[Path], others: Iterable[Path] = ()) -> Standings:
    """Return how far the orders of some sheets are.

    Parameters
    ----------
    source : RunSource
    sheets : iterable of Path
    others : iterable of Path
        More sheets that are not elsewhere.
    """
    wanted = [resolved(sheet) for sheet in sheets]
    of_sheets = source.runs_of([*wanted, *(resolved(sheet) for sheet in others)])
    found = {
        str(sheet): _standing(source, of_sheets[sheet][-1], sheet)
        for sheet in wanted
        if sheet in of_sheets
    }
    here = {run.id for runs in of_sheets.values() for run in runs}
    latest = {each.sheet: each for each in source.runs() if each.id not in here}
    elsewhere = sorted(latest.values(), key=lambda each: each.begun, reverse=True)
    return Standings(found, tuple(elsewhere))


def same_elsewhere(
    source: RunSource, sheet: Path, others: Iterable[Path], shared: Iterable[str]
) -> Heading | None:
    """Return an unfinished order of the queue that has the very bytes of a sheet not begun yet.

    It may be the same order, made at two presses; only a person can say.

    Parameters
    ----------
    others : iterable of Path
        The other orders of this page: a copy made here is known to be another order.
    shared : iterable of str
        The unfinished orders of the queue, by their runs' ids.
    """
    digest, own = _digest(sheet), resolved(sheet)
    of_sheets = source.runs_of([own, *(resolved(each) for each in others)])
    here = {run.id for runs in of_sheets.values() for run in runs}
    open_ones = set(shared) - here
    found = [each for each in source.runs() if each.digest == digest and each.id in open_ones]
    return None if own in of_sheets or not found else found[-1]


def _standing(source: RunSource, heading: Heading, sheet: Path) -> Standing:
    run = source.run(heading.id)
    events = source.events(run)
    progress = Progress(run.stops, events)
    finished = progress.stop is None
    return Standing(
        run.id, run.begun[:10], progress.pressed(), len(run.stops), finished,
        changed=_digest(sheet) != run.digest,
        set_aside=len(unfinished_pieces(run.stops, events)) if finished else 0,
    )  # fmt: skip


def _digest(sheet: Path) -> str:
    try:
        return digest_of(sheet)
    except Refusal:
        return ""
