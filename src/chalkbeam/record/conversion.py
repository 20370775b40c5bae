"""A record before it is opened: one without a journal gets one, and old files are set aside."""

from __future__ import annotations

import logging
import os
import sqlite3
from collections.abc import Iterable
from contextlib import closing, suppress
from itertools import count
from pathlib import Path
from urllib.parse import quote

from chalkbeam.record import old_record
from chalkbeam.record.events import new_id
from chalkbeam.record.faults import fault
from chalkbeam.record.file_lock import locked
from chalkbeam.record.journal import sync_folder
from chalkbeam.record.journal_lines import JournalLine
from chalkbeam.record.migrations import WITHOUT_JOURNAL

_log = logging.getLogger(__name__)


def prepare(record: Path, journal: Path, wait: float) -> bool:
    """See what lies at a record's place; return whether it has a journal that says something.

    A record of a version that had no journal is written as one, once, and kept under another
    name. Nothing is ever lost by a kill in between: the journal gets its name when it is whole.

    Raises
    ------
    Refusal
        If the record has no journal and is damaged; it stays as it is.
    """
    try:
        _take_back(record, wait)
        old = 0 < version_of(record) <= WITHOUT_JOURNAL
        if not _has_content(journal):
            if old:
                _convert(record, journal, wait)
                return True
            if _has_content(record):
                _check_sound(record)
            return False
        if old:  # converted, and then killed
            _keep_old(record)
        return True
    except (OSError, sqlite3.Error) as error:
        raise fault(record, str(error)) from error


def _take_back(record: Path, wait: float) -> None:
    """Let SQLite take back what a program was writing when it died.

    It has to write for that, and so refuses to who only looks.
    """
    if _has_content(record) and Path(f"{record}-journal").is_file():
        with closing(sqlite3.connect(record, timeout=wait)) as raw, suppress(sqlite3.Error):
            raw.execute("PRAGMA schema_version").fetchone()


def _has_content(path: Path) -> bool:
    return path.is_file() and path.stat().st_size > 0


def _convert(record: Path, journal: Path, wait: float) -> None:
    draft = journal.with_name(f"{journal.name}.part")
    file = os.open(draft, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
    with closing(os.fdopen(file, "r+b")) as out, locked(file, wait):
        if _has_content(journal):  # by another program, meanwhile
            return
        try:
            out.truncate()
            for text in _lines(old_record.acts_of(record)):
                out.write(text)
            out.flush()
            os.fsync(file)
            draft.replace(journal)
        finally:
            draft.unlink(missing_ok=True)
        sync_folder(journal.parent)
        kept = _keep_old(record)
    _log.warning(
        "The record %s was brought to today's form, with a journal beside it; as it was, it is "
        "kept as %s.", record, kept.name,
    )  # fmt: skip


def _lines(acts: Iterable[old_record.OldAct]) -> Iterable[bytes]:
    press = new_id()
    for number, act in enumerate(acts, start=1):
        line = JournalLine(press, number, act.run, act.body, (number, number))
        yield f"{line.text}\n".encode()


def _keep_old(record: Path) -> Path:
    return set_aside(record, f"version-{version_of(record)}")


def set_aside(record: Path, why: str) -> Path:
    """Give a database another name, with its log; return the name. It is left out of use."""
    kept = free_name(record, why)
    with suppress(FileNotFoundError):  # the log first: SQLite would take it for a new file's
        Path(f"{record}-wal").replace(f"{kept}-wal")
    Path(f"{record}-shm").unlink(missing_ok=True)
    with suppress(FileNotFoundError):
        record.replace(kept)
    return kept


def free_name(path: Path, why: str) -> Path:
    """Return a name beside a file's that says why it is kept, and that no file has."""
    names = (path.with_name(f"{path.name}.{why}{f'-{n}' if n > 1 else ''}") for n in count(1))
    return next(name for name in names if not name.exists())


def version_of(record: Path) -> int:
    """Return the version that a record's file is marked with; 0 where it cannot be read."""
    if _has_content(record):
        with suppress(sqlite3.Error), closing(_looked_into(record)) as raw:
            return int(raw.execute("PRAGMA user_version").fetchone()[0])
    return 0


def _check_sound(record: Path) -> None:
    """Look through a whole database without writing to it: its journal is to be made from it."""
    with closing(_looked_into(record)) as raw:
        (said,) = raw.execute("PRAGMA integrity_check(1)").fetchone()
        if said != "ok":
            raise sqlite3.DatabaseError(f"malformed: {said}")


def _looked_into(record: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{quote(str(record.absolute()))}?mode=ro", uri=True)
