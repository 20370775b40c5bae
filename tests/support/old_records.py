"""Records as earlier versions wrote them, which had no journal: versions 1 to 4."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from chalkbeam.record import snapshot
from chalkbeam.record.events import Event
from chalkbeam.record.runs import Run

RUN = ("id", "title", "sheet", "digest", "earlier", "begun", "work")
EVENT = (
    "seq", "id", "run", "kind", "imprint", "step", "data", "session", "clock", "wall",
    "operator", "rig", "calibration",
)  # fmt: skip
VERSIONS = (
    (
        "CREATE TABLE runs (id TEXT PRIMARY KEY, title TEXT NOT NULL, sheet TEXT NOT NULL, "
        "digest TEXT NOT NULL, earlier TEXT REFERENCES runs (id), begun TEXT NOT NULL, "
        "work TEXT NOT NULL)",
        "CREATE TABLE events (seq INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, "
        "run TEXT NOT NULL REFERENCES runs (id), kind TEXT NOT NULL, imprint TEXT NOT NULL, "
        "step TEXT, data TEXT NOT NULL, session TEXT NOT NULL, clock REAL NOT NULL, "
        "wall TEXT NOT NULL, operator TEXT NOT NULL, rig TEXT NOT NULL, "
        "calibration TEXT NOT NULL)",
        "CREATE INDEX events_of_run ON events (run, seq)",
    ),
    (
        "CREATE TRIGGER events_update BEFORE UPDATE ON events "
        "BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END",
        "CREATE TRIGGER events_delete BEFORE DELETE ON events "
        "BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END",
    ),
    ("CREATE TABLE run_copies (packed BLOB NOT NULL)",),
    ("ALTER TABLE events ADD COLUMN checksum TEXT NOT NULL DEFAULT ''",),
)
"""What each version added."""


def old_record(path: Path, version: int, runs: Sequence[tuple[Run, Sequence[Event]]]) -> None:
    """Write a record of an earlier version, in its write-ahead log as it was used."""
    with closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("PRAGMA journal_mode=WAL")
        for statements in VERSIONS[:version]:
            for statement in statements:
                raw.execute(statement)
        for run, events in runs:
            work = snapshot.dump(run.stops, run.as_listed, run.by_hand)
            row = (run.id, run.title, run.sheet, run.digest, run.earlier, run.begun, work)
            _insert(raw, "runs", row)
            if version >= 3:
                packed = zlib.compress(json.dumps(dict(zip(RUN, row, strict=True))).encode())
                _insert(raw, "run_copies", (packed,))
            for event in events:
                step = event.step.value if event.step else None
                columns: tuple[object, ...] = (
                    event.seq, event.id, run.id, event.kind.value, event.imprint, step,
                    json.dumps(dict(event.data)), event.session, event.clock, event.wall,
                    event.operator, event.rig, event.calibration,
                )  # fmt: skip
                if version >= 4:
                    content = json.dumps(list(columns)).encode()
                    columns += (hashlib.blake2b(content, digest_size=8).hexdigest(),)
                _insert(raw, "events", columns)
        raw.execute(f"PRAGMA user_version = {version}")


def _insert(raw: sqlite3.Connection, table: str, row: Sequence[object]) -> None:
    raw.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", row)
