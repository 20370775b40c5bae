"""The record's tables, as a list of steps from an empty file to today's form.

Step n takes a file from version n - 1 to n, in one transaction together with the version
mark (`PRAGMA user_version`): a file is never between two versions. Steps that have been
released are never edited; a change of the tables is a new step at the end.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection

from calibration.refusal import Refusal


def _runs_and_events(connection: Connection) -> None:
    connection.exec_driver_sql(
        """
        CREATE TABLE runs (
            id TEXT PRIMARY KEY,
            title TEXT NOT NULL,
            sheet TEXT NOT NULL,
            digest TEXT NOT NULL,
            earlier TEXT REFERENCES runs (id),
            begun TEXT NOT NULL,
            work TEXT NOT NULL
        )
        """
    )
    connection.exec_driver_sql(
        """
        CREATE TABLE events (
            seq INTEGER PRIMARY KEY AUTOINCREMENT,
            id TEXT NOT NULL UNIQUE,
            run TEXT NOT NULL REFERENCES runs (id),
            kind TEXT NOT NULL,
            imprint TEXT NOT NULL,
            step TEXT,
            data TEXT NOT NULL,
            session TEXT NOT NULL,
            clock REAL NOT NULL,
            wall TEXT NOT NULL,
            operator TEXT NOT NULL,
            rig TEXT NOT NULL,
            calibration TEXT NOT NULL
        )
        """
    )
    connection.exec_driver_sql("CREATE INDEX events_of_run ON events (run, seq)")


def _append_only(connection: Connection) -> None:
    """Make the file itself refuse to change or drop what has been recorded."""
    for act in ("UPDATE", "DELETE"):
        connection.exec_driver_sql(
            f"CREATE TRIGGER events_{act.lower()} BEFORE {act} ON events "
            "BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END"
        )


RUN_COLUMNS = ("id", "title", "sheet", "digest", "earlier", "begun", "work")


def _runs_twice(connection: Connection) -> None:
    """Store every run a second time, packed, elsewhere in the file.

    Without its order of work a run's events say little; and it is the longest thing in the
    file, so the one that damage hits first.
    """
    connection.exec_driver_sql("CREATE TABLE run_copies (packed BLOB NOT NULL)")
    query = f"SELECT {', '.join(RUN_COLUMNS)} FROM runs ORDER BY rowid"
    for row in connection.exec_driver_sql(query).mappings().all():
        connection.exec_driver_sql("INSERT INTO run_copies VALUES (?)", (packed({**row}),))


def packed(run: Mapping[str, Any]) -> bytes:
    """Return a row of `runs` as `run_copies` stores it: packed JSON."""
    return zlib.compress(json.dumps(dict(run)).encode())


def unpacked(copy: bytes) -> dict[str, Any]:
    """Return the row that `packed` stored.

    Raises
    ------
    ValueError
        If it is spoiled.
    """
    try:
        run = json.loads(zlib.decompress(copy))
    except zlib.error as error:
        raise ValueError(str(error)) from None
    if not isinstance(run, dict) or set(run) != set(RUN_COLUMNS):
        raise ValueError("not a run")
    return run


EVENT_COLUMNS = (
    "seq", "id", "run", "kind", "imprint", "step", "data", "session", "clock", "wall",
    "operator", "rig", "calibration",
)  # fmt: skip
"""What an event says; its check sum follows."""


def checksum(values: Iterable[object]) -> str:
    """Return the check sum of an event's columns, 16 hexadecimal digits."""
    content = json.dumps(list(values)).encode()
    return hashlib.blake2b(content, digest_size=8).hexdigest()


def _events_checked(connection: Connection) -> None:
    """Give every event a check sum: SQLite sees a spoiled tree, not a spoiled text."""
    connection.exec_driver_sql("ALTER TABLE events ADD COLUMN checksum TEXT NOT NULL DEFAULT ''")
    (trigger,) = connection.exec_driver_sql(
        "SELECT sql FROM sqlite_master WHERE name = 'events_update'"
    ).one()
    connection.exec_driver_sql("DROP TRIGGER events_update")
    query = f"SELECT {', '.join(EVENT_COLUMNS)} FROM events"
    sums = [(checksum(row), row[0]) for row in connection.exec_driver_sql(query)]
    if sums:
        connection.exec_driver_sql("UPDATE events SET checksum = ? WHERE seq = ?", sums)
    connection.exec_driver_sql(trigger)


STEPS: tuple[Callable[[Connection], None], ...] = (
    _runs_and_events,
    _append_only,
    _runs_twice,
    _events_checked,
)


def migrate(connection: Connection, steps: Sequence[Callable[[Connection], None]] = STEPS) -> int:
    """Bring the file to the newest version, one transaction a step; return the version.

    Parameters
    ----------
    connection : Connection
        With no transaction begun.

    Raises
    ------
    Refusal
        If the file was written by a newer Chalkbeam.
    """
    while True:
        with connection.begin():
            version = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
            if version > len(steps):
                raise Refusal(
                    f"The record is of version {version} and this Chalkbeam knows up to "
                    f"{len(steps)}: update Chalkbeam, or use another record."
                )
            if version == len(steps):
                return version
            steps[version](connection)
            connection.exec_driver_sql(f"PRAGMA user_version = {version + 1}")
