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
from chalkbeam.record.store import Store, is_record
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


def standings(record: Path, sheets: Iterable[Path], others: Iterable[Path] = ()) -> Standings:
    """Return how far the orders of some sheets are.

    Parameters
    ----------
    record : Path
    sheets : iterable of Path
    others : iterable of Path
        More sheets that are not elsewhere.
    """
    if not is_record(record):  # it is not made for looking
        return Standings({})
    wanted = {str(resolved(sheet)) for sheet in sheets}
    with Store(record) as store:
        latest = {heading.sheet: heading for heading in store.runs()}
        found = {sheet: _standing(store, latest[sheet]) for sheet in wanted if sheet in latest}
    here = wanted | {str(resolved(sheet)) for sheet in others}
    elsewhere = [each for each in latest.values() if each.sheet not in here]
    elsewhere.sort(key=lambda each: each.begun, reverse=True)
    return Standings(found, tuple(elsewhere))


def _standing(store: Store, heading: Heading) -> Standing:
    run = store.run(heading.id)
    events = store.events(run)
    progress = Progress(run.stops, events)
    finished = progress.stop is None
    return Standing(
        run.id, run.begun[:10], progress.pressed(), len(run.stops), finished,
        changed=_digest(Path(run.sheet)) != run.digest,
        set_aside=len(unfinished_pieces(run.stops, events)) if finished else 0,
    )  # fmt: skip


def _digest(sheet: Path) -> str:
    try:
        return digest_of(sheet)
    except Refusal:
        return ""
