"""The tables of the record's database, as a list of steps from an empty file to today's form.

Each step takes a file to the next version, in one transaction together with the version mark
(`PRAGMA user_version`): a file is never between two versions. Steps that have been released
are never edited; a change of the tables is a new step at the end. Versions 1 to 4 are of
records that had no journal (`chalkbeam.record.old_record`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sqlalchemy import Connection

from calibration.refusal import Refusal

WITHOUT_JOURNAL = 4
"""The last version of records that had no journal."""


def _lines(connection: Connection) -> None:
    """Keep the journal's lines, found by press and number, run and id; and count them."""
    for statement in (
        "CREATE TABLE lines (seq INTEGER PRIMARY KEY, press TEXT NOT NULL, "
        "number INTEGER NOT NULL, run TEXT NOT NULL, id TEXT UNIQUE, line TEXT NOT NULL, "
        "UNIQUE (press, number))",
        "CREATE INDEX lines_of_run ON lines (run, seq)",
        "CREATE TABLE runs (place INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, "
        "line TEXT NOT NULL)",
        "CREATE TABLE counts (run TEXT PRIMARY KEY, count INTEGER NOT NULL)",
    ):
        connection.exec_driver_sql(statement)
    for act in ("UPDATE", "DELETE"):
        connection.exec_driver_sql(
            f"CREATE TRIGGER lines_{act.lower()} BEFORE {act} ON lines "
            "BEGIN SELECT RAISE(ABORT, 'lines are only ever added'); END"
        )


STEPS: tuple[Callable[[Connection], None], ...] = (_lines,)


def newest(steps: Sequence[Callable[[Connection], None]] = STEPS) -> int:
    """Return the version that the steps lead to."""
    return WITHOUT_JOURNAL + len(steps)


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
            check_known(version, newest(steps))
            if version == newest(steps):
                return version
            version = max(version, WITHOUT_JOURNAL)
            steps[version - WITHOUT_JOURNAL](connection)
            connection.exec_driver_sql(f"PRAGMA user_version = {version + 1}")


def check_known(version: int, known: int | None = None) -> None:
    """Refuse a record of a version that only a newer program knows."""
    known = known or newest()
    if version > known:
        raise Refusal(
            f"The record is of version {version} and this Chalkbeam knows up to "
            f"{known}: update Chalkbeam, or use another record."
        )
