"""The record's tables, as a list of steps from an empty file to today's form.

Step n takes a file from version n - 1 to n, in one transaction together with the version
mark (`PRAGMA user_version`): a file is never between two versions. Steps that have been
released are never edited; a change of the tables is a new step at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

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
    """Let the file itself refuse to change or drop what has been recorded."""
    for act in ("UPDATE", "DELETE"):
        connection.exec_driver_sql(
            f"CREATE TRIGGER events_{act.lower()} BEFORE {act} ON events "
            "BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END"
        )


STEPS: tuple[Callable[[Connection], None], ...] = (_runs_and_events, _append_only)


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
