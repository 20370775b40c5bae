"""The queue's tables as a list of steps from an empty database to today's form, on both engines.

All steps that are missing are one transaction, under a lock: two programs that start at once do
them once. Released steps are never edited; a change is a new step at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import sqlalchemy as sa

from calibration.refusal import Refusal

_LOCK = 0x6368616C
"""Of PostgreSQL's advisory locks, the one that guards these tables."""


def _queue(connection: sa.Connection) -> None:
    for statement in (
        "CREATE TABLE presses (id TEXT PRIMARY KEY, name TEXT NOT NULL UNIQUE, "
        "machine TEXT NOT NULL, last BIGINT NOT NULL, at_hand TEXT, doing TEXT NOT NULL, "
        "told TEXT NOT NULL)",
        "CREATE TABLE runs (id TEXT PRIMARY KEY, place BIGINT NOT NULL UNIQUE, "
        "key TEXT NOT NULL UNIQUE, title TEXT NOT NULL, sheet TEXT NOT NULL, "
        "digest TEXT NOT NULL, earlier TEXT, begun TEXT NOT NULL, work TEXT NOT NULL, "
        "imprints BIGINT NOT NULL, changed BIGINT NOT NULL)",
        "CREATE TABLE claims (id TEXT PRIMARY KEY, run TEXT NOT NULL REFERENCES runs (id), "
        "press TEXT NOT NULL REFERENCES presses (id), lot BIGINT NOT NULL, from_press TEXT, "
        "wall TEXT NOT NULL)",
        "CREATE TABLE lots (run TEXT NOT NULL REFERENCES runs (id), lot BIGINT NOT NULL, "
        "pile TEXT NOT NULL, setting TEXT NOT NULL, pieces BIGINT NOT NULL, "
        "claim TEXT REFERENCES claims (id), PRIMARY KEY (run, lot))",
        "CREATE TABLE needs (run TEXT NOT NULL, lot BIGINT NOT NULL, what TEXT NOT NULL, "
        "PRIMARY KEY (run, lot, what))",
        "CREATE TABLE pieces (run TEXT NOT NULL, piece TEXT NOT NULL, lot BIGINT NOT NULL, "
        "place BIGINT NOT NULL, imprints TEXT NOT NULL, PRIMARY KEY (run, piece), "
        "FOREIGN KEY (run, lot) REFERENCES lots (run, lot))",
        "CREATE TABLE holds (run TEXT NOT NULL, piece TEXT NOT NULL, "
        "press TEXT NOT NULL REFERENCES presses (id), claim TEXT NOT NULL REFERENCES claims (id), "
        "base BIGINT NOT NULL, garment BIGINT NOT NULL, PRIMARY KEY (run, piece), "
        "FOREIGN KEY (run, piece) REFERENCES pieces (run, piece))",
        "CREATE TABLE acts (press TEXT NOT NULL REFERENCES presses (id), number BIGINT NOT NULL, "
        "id TEXT NOT NULL UNIQUE, run TEXT NOT NULL, kind TEXT NOT NULL, "
        "imprint TEXT NOT NULL, piece TEXT NOT NULL, body TEXT NOT NULL, "
        "PRIMARY KEY (press, number))",
        "CREATE INDEX acts_of_run ON acts (run, press, number)",
        "CREATE INDEX acts_of_piece ON acts (run, piece, press, number)",
        "CREATE TABLE outcomes (run TEXT NOT NULL, imprint TEXT NOT NULL, "
        "garment BIGINT NOT NULL, piece TEXT NOT NULL, outcome TEXT NOT NULL, "
        "press TEXT NOT NULL, act TEXT NOT NULL, PRIMARY KEY (run, imprint, garment))",
        "CREATE TABLE conflicts (number BIGINT PRIMARY KEY, run TEXT NOT NULL, "
        "piece TEXT NOT NULL, imprint TEXT NOT NULL, press TEXT NOT NULL, "
        "act TEXT NOT NULL UNIQUE, said TEXT NOT NULL, settled TEXT)",
    ):
        connection.exec_driver_sql(statement)


def _files(connection: sa.Connection) -> None:
    bytes_type = "BYTEA" if connection.dialect.name == "postgresql" else "BLOB"
    for statement in (
        f"CREATE TABLE contents (digest TEXT PRIMARY KEY, bytes {bytes_type} NOT NULL)",
        "CREATE TABLE shared_files (name TEXT NOT NULL, version BIGINT NOT NULL, "
        "digest TEXT NOT NULL REFERENCES contents (digest), press TEXT NOT NULL, "
        "wall TEXT NOT NULL, PRIMARY KEY (name, version))",
        "CREATE TABLE artworks (run TEXT NOT NULL REFERENCES runs (id), path TEXT NOT NULL, "
        "digest TEXT NOT NULL REFERENCES contents (digest), PRIMARY KEY (run, path))",
    ):
        connection.exec_driver_sql(statement)


def _starts(connection: sa.Connection) -> None:
    for statement in (
        "ALTER TABLE runs ADD COLUMN started TEXT NOT NULL DEFAULT '[]'",
        "ALTER TABLE runs ADD COLUMN replaced_by TEXT",
    ):
        connection.exec_driver_sql(statement)


STEPS: tuple[Callable[[sa.Connection], None], ...] = (_queue, _files, _starts)


def migrate(
    connection: sa.Connection, steps: Sequence[Callable[[sa.Connection], None]] = STEPS
) -> int:
    """Bring the tables to the newest version within a transaction; return the version.

    Raises
    ------
    Refusal
        If a newer Chalkbeam has been here.
    """
    if connection.dialect.name == "postgresql":  # SQLite's transactions begin with its write lock
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
    if not sa.inspect(connection).has_table("queue_version"):
        connection.exec_driver_sql("CREATE TABLE queue_version (version BIGINT NOT NULL)")
        connection.exec_driver_sql("INSERT INTO queue_version VALUES (0)")
    version = int(connection.exec_driver_sql("SELECT version FROM queue_version").scalar_one())
    if version > len(steps):
        raise Refusal(
            f"The queue is of version {version} and this Chalkbeam knows up to {len(steps)}: "
            "update Chalkbeam on this machine."
        )
    for step in steps[version:]:
        step(connection)
    if version < len(steps):
        connection.exec_driver_sql(f"UPDATE queue_version SET version = {len(steps)}")
    return len(steps)
