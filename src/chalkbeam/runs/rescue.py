"""Saving what can still be read from a damaged record."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.runs.store import Store

_RUN = ("id", "title", "sheet", "digest", "earlier", "begun", "work")
_EVENT = (
    "seq", "id", "run", "kind", "imprint", "step", "data", "session", "clock", "wall",
    "operator", "rig", "calibration",
)  # fmt: skip
_GIVE_UP_AFTER = 10_000  # numbers in a row that hold nothing, where the last is not known


@dataclass(frozen=True)
class Rescued:
    """What was saved.

    Attributes
    ----------
    runs, events : int
        Saved.
    lost : int
        Events known to have been there that could not be read, or whose run could not.
    """

    runs: int
    events: int
    lost: int


def rescue(damaged: Path, fresh: Path) -> Rescued:
    """Copy every run and event that can be read into a new record; the old one stays as it is.

    Raises
    ------
    Refusal
        If the new file exists, or nothing can be read.
    """
    if fresh.exists():
        raise Refusal(f"{fresh} exists already: give the rescued record another name.")
    if not damaged.is_file():
        raise Refusal(f"There is no record {damaged}: check the name.")
    with tempfile.TemporaryDirectory() as folder, _readable(damaged, Path(folder)) as old:
        runs = list(_rows(old, "runs", "rowid", _RUN, None))
        last = _last(old)
        events = list(_rows(old, "events", "seq", _EVENT, last))
        if not runs:
            raise Refusal(
                f"Nothing can be read from {damaged}: keep the file, and begin a new record."
            )
        Store(fresh).close()
        known = {row[0] for row in runs}
        kept = [row for row in events if row[2] in known]
        with contextlib.closing(sqlite3.connect(fresh)) as new, new:
            for table, columns, rows in (("runs", _RUN, runs), ("events", _EVENT, kept)):
                marks = ", ".join("?" * len(columns))
                new.executemany(
                    f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({marks})", rows
                )
    return Rescued(len(runs), len(kept), max(len(events), last or 0) - len(kept))


@contextlib.contextmanager
def _readable(damaged: Path, folder: Path) -> Iterator[sqlite3.Connection]:
    """Open a copy of the record and of the log beside it, so that the original is not touched."""
    for ending in ("", "-wal"):
        beside = damaged.with_name(damaged.name + ending)
        if beside.is_file():
            shutil.copyfile(beside, folder / f"copy.db{ending}")
    connection = sqlite3.connect(folder / "copy.db")
    try:
        yield connection
    finally:
        connection.close()


def _last(old: sqlite3.Connection) -> int | None:
    """Return the highest sequence number ever given, which SQLite keeps apart."""
    try:
        row = old.execute("SELECT seq FROM sqlite_sequence WHERE name = 'events'").fetchone()
    except sqlite3.DatabaseError:
        return None
    return int(row[0]) if row else 0


def _rows(
    old: sqlite3.Connection, table: str, key: str, columns: tuple[str, ...], last: int | None
) -> Iterator[tuple[object, ...]]:
    """Yield the rows that can be read, each asked for by its number alone."""
    query = f"SELECT {', '.join(columns)} FROM {table} WHERE {key} = ?"
    number = missed = 0
    while (missed < _GIVE_UP_AFTER) if last is None else (number < last):
        number += 1
        try:
            row = old.execute(query, (number,)).fetchone()
        except (sqlite3.DatabaseError, UnicodeDecodeError):
            row = None
        missed = 0 if row else missed + 1
        if row:
            yield row
