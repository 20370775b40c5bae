"""Journal and database brought to the same acts: each makes good what the other lacks."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.record.conversion import free_name
from chalkbeam.record.database import RecordDatabase, SpoiledDatabase, Work
from chalkbeam.record.faults import fault
from chalkbeam.record.journal import Journal, sync_folder
from chalkbeam.record.journal_lines import WINDOW, JournalLine, Missing, scan

BATCH = 5000
"""Lines that are taken over at once."""
_log = logging.getLogger(__name__)


def meet(database: RecordDatabase, journal: Journal) -> None:
    """Fill the database from the journal, or the journal's end from the database.

    Parameters
    ----------
    journal : Journal
        Held.

    Raises
    ------
    Refusal
        If they tell of different acts, or the journal lacks some that the database has not got.
    SpoiledDatabase
        If the database is damaged.
    """
    with database.at_work() as work:
        press = work.press()
        if press is not None and not journal.last:
            journal.press = press
        known = work.last(journal.press)
        if (press or journal.press) != journal.press or not _agree(work, journal, known):
            raise Refusal(
                f"The record {database.path} and its journal {journal.path.name} do not belong "
                "together, as one of them was replaced: put back the right one, or move the "
                "record's file away, and it is made anew from the journal."
            )
    if known > journal.last:
        _write_again(database, journal, known)
    elif journal.torn:
        _tell_torn(journal, bool(known) and known == journal.last)
    _fill(database, journal, known)


def _tell_torn(journal: Journal, confirmed: bool) -> None:
    """Say that the journal's end cannot be read; `confirmed` if the database has no more."""
    with journal.path.open("rb") as file:
        file.seek(-journal.torn, os.SEEK_END)
        if not journal.last and not confirmed and b"\n" in file.read(WINDOW):
            raise _damaged(journal.path, journal.path, [], "and there is no other copy")
    _log.warning(
        "The end of the journal %s cannot be read (%d bytes), as when a machine stops while it "
        "writes. %s", journal.path, journal.torn,
        "It had not been confirmed, and counts for nothing." if confirmed else
        "What was done last may be missing: look at the garments before you go on.",
    )  # fmt: skip
    journal.torn = 0


def _agree(work: Work, journal: Journal, known: int) -> bool:
    """Whether the last act that both have is the same."""
    common = min(known, journal.last)
    here = next(journal.lines_after(common - 1), None) if common else None
    if here is None or here.number != common:  # damaged there: told where it is needed
        return True
    return work.lines_after(journal.press, common - 1, 1) == [here]


def _write_again(database: RecordDatabase, journal: Journal, known: int) -> None:
    """Write into the journal what it lost at its end."""
    first = journal.last + 1
    while journal.last < known:
        with database.at_work() as work:
            lines = work.lines_after(journal.press, journal.last, BATCH)
        if [line.number for line in lines[:1]] != [journal.last + 1]:
            raise SpoiledDatabase("malformed: an act is lost")
        journal.add(lines)
    journal.torn = 0
    _log.warning(
        "The journal %s lacked what the record holds (%s): it is written into it again.",
        journal.path, _acts(Missing(first, known)),
    )  # fmt: skip


def _fill(database: RecordDatabase, journal: Journal, known: int) -> None:
    lines = journal.lines_after(known)
    while batch := list(islice(lines, BATCH)):
        while batch[-1].number != batch[-1].group[1]:
            batch += islice(lines, 1)
        for line in batch:
            if line.number != known + 1:
                gaps = [gap for gap in _gaps(journal) if gap.last > known]
                raise _damaged(journal.path, database.path, gaps, "which the record has not got")
            known = line.number
        with database.at_work() as work:
            work.add(batch)


def mended(database: RecordDatabase, journal: Journal) -> bool:
    """Look a journal through; write it anew where its middle is damaged. Return whether it was.

    What is damaged is taken from the database. The damaged file is kept beside it.

    Parameters
    ----------
    journal : Journal
        Held; to be opened again where it was written anew.

    Raises
    ------
    Refusal
        If the database lacks what the journal has lost.
    """
    gaps = _gaps(journal)
    if not gaps:
        return False
    draft = journal.path.with_name(f"{journal.path.name}.part")
    kept = free_name(journal.path, "damaged")
    try:
        with draft.open("wb") as file:
            for line in _whole_lines(database, journal):
                file.write(f"{line.text}\n".encode())
            file.flush()
            os.fsync(file.fileno())
        journal.path.replace(kept)  # a kill here leaves the database: it is written again
        draft.replace(journal.path)
    except OSError as error:
        raise fault(journal.path, str(error)) from error
    finally:
        draft.unlink(missing_ok=True)
    sync_folder(journal.path.parent)
    _log.warning(
        "The journal %s was damaged (%s) and is made anew with the record's help; nothing is "
        "lost. The damaged file is kept as %s.", journal.path, _some(gaps), kept.name,
    )  # fmt: skip
    return True


def _whole_lines(database: RecordDatabase, journal: Journal) -> Iterator[JournalLine]:
    for item in scan(journal.path):
        if isinstance(item, JournalLine):
            yield item
        elif isinstance(item, Missing):
            with database.at_work() as work:
                count = item.last - item.first + 1
                lines = work.lines_after(journal.press, item.first - 1, count)
            if [line.number for line in lines] != list(range(item.first, item.last + 1)):
                raise _damaged(journal.path, database.path, [item], "which the record has not got")
            yield from lines


def check_whole(journal: Journal, record: Path, said: str) -> None:
    """Pass if a damaged database can be made anew from the journal.

    Raises
    ------
    Refusal
        If it cannot.
    """
    gaps = _gaps(journal)
    if gaps or not journal.last:
        raise _damaged(journal.path, record, gaps, f"and the record is damaged, too ({said})")


def _damaged(journal: Path, record: Path, gaps: list[Missing], more: str) -> Refusal:
    what = f"lacks {_some(gaps)}" if gaps else "holds nothing that can be read"
    return Refusal(
        f"The journal {journal} is damaged: it {what}, {more}. Copy the folder to a safe place, "
        "then ",
        Remedy(RemedyKind.RESCUE, "save what can be read", str(record)),
        ".",
    )


def _gaps(journal: Journal) -> list[Missing]:
    return [item for item in scan(journal.path) if isinstance(item, Missing)]


def _some(gaps: list[Missing]) -> str:
    return ", ".join(_acts(gap) for gap in gaps[:3]) + (" and more" if len(gaps) > 3 else "")


def _acts(gap: Missing) -> str:
    if gap.first == gap.last:
        return f"act {gap.first}"
    return f"acts {gap.first} to {gap.last}"
