"""Records of earlier versions, which had no journal: read once, to be written as one.

Their runs and events were tables of one SQLite file, the same columns in every version; runs
are there twice from version 3 on, and events bear a check sum from version 4 on. SQLite writes
to what it opens, so a copy is read, and the record stays as it is.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
import struct
import tempfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.files import read_whole
from chalkbeam.record import snapshot
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.faults import fault
from chalkbeam.record.runs import HEADING, begun_body

_EVENT = (
    "seq", "id", "run", "kind", "imprint", "step", "data", "session", "clock", "wall",
    "operator", "rig", "calibration",
)  # fmt: skip
_RUN = (*HEADING, "work")
_LONGEST_LOG = 4_000_000_000
"""Bytes of a write-ahead log; SQLite keeps it to a thousandth."""


@dataclass(frozen=True)
class OldAct:
    """What an old record says of a run's beginning, or of an event.

    Attributes
    ----------
    run : str
    body : mapping
        As a line of the journal says it.
    seq : int
        The event's number in the old record; 0 of a run.
    """

    run: str
    body: Mapping[str, Any]
    seq: int = 0


@dataclass(frozen=True)
class Remains:
    """What can be read of a damaged old record.

    Attributes
    ----------
    acts : tuple of OldAct
        Runs first.
    highest : int
        Number of the last event, as far as it is known.
    sure : bool
        Whether none can have come after it.
    """

    acts: tuple[OldAct, ...]
    highest: int
    sure: bool


def acts_of(path: Path) -> tuple[OldAct, ...]:
    """Return what a sound old record holds: its runs, then its events.

    Raises
    ------
    Refusal
        If it is damaged.
    """
    try:
        with _copy(path) as (raw, sound_log):
            (said,) = raw.execute("PRAGMA integrity_check(1)").fetchone()
            if said != "ok":
                raise ValueError(said)
            if not sound_log:
                raise ValueError("its log is spoiled before its end")
            query = f"SELECT {', '.join(_RUN)} FROM runs ORDER BY rowid"
            runs = [_run(row) for row in raw.execute(query)]
            events = [_event(row) for row in raw.execute("SELECT * FROM events ORDER BY seq")]
    except (sqlite3.Error, OSError) as error:
        raise fault(path, str(error)) from error
    except (ValueError, LookupError, TypeError) as error:
        raise fault(path, f"malformed: {error}") from error
    return (*runs, *events)


def what_is_left(path: Path) -> Remains:
    """Return what can be read of a damaged old record.

    Every row is asked for by itself, so that a damaged place costs what lies there.
    """
    runs: dict[str, OldAct] = {}
    events: list[OldAct] = []
    with _copy(path) as (raw, sound_log):
        for table, columns, act in (
            ("runs", ", ".join(_RUN), _run), ("run_copies", "packed", _unpacked),
        ):  # fmt: skip
            count = _number(raw, f"SELECT max(rowid) FROM {table}")
            for row in _rows(raw, f"SELECT {columns} FROM {table} WHERE rowid = ?", count):
                with suppress(ValueError, LookupError, TypeError):
                    found = act(row)
                    runs.setdefault(found.run, found)
        given = _number(raw, "SELECT seq FROM sqlite_sequence WHERE name = 'events'")
        highest = max(given, _number(raw, "SELECT max(seq) FROM events"))
        for row in _rows(raw, "SELECT * FROM events WHERE seq = ?", highest):
            with suppress(ValueError, LookupError, TypeError):
                events.append(_event(row))
    return Remains((*runs.values(), *events), highest, sound_log and given == highest)


def _rows(raw: sqlite3.Connection, query: str, count: int) -> Iterator[tuple[Any, ...]]:
    for number in range(1, count + 1):
        with suppress(sqlite3.Error):
            yield from raw.execute(query, (number,)).fetchall()


def _number(raw: sqlite3.Connection, query: str) -> int:
    """Return a number that a record says; 0 where it cannot be, or cannot be read."""
    with suppress(sqlite3.Error, TypeError, ValueError):
        pages = int(raw.execute("PRAGMA page_count").fetchone()[0])
        said = int(raw.execute(query).fetchone()[0])
        return said if 0 < said <= pages * _MOST_A_PAGE else 0
    return 0


_MOST_A_PAGE = 40
"""Events of a page of 4096 bytes: each has three ids of 32."""


def _run(row: tuple[Any, ...]) -> OldAct:
    said = dict(zip(_RUN, row, strict=True))
    snapshot.load(said["work"])
    return OldAct(str(said["id"]), begun_body(said, said["work"]))


def _unpacked(row: tuple[Any, ...]) -> OldAct:
    try:
        said = json.loads(zlib.decompress(row[0]))
    except zlib.error as error:
        raise ValueError(str(error)) from None
    return _run(tuple(said[name] for name in _RUN))


def _event(row: tuple[Any, ...]) -> OldAct:
    columns = row[: len(_EVENT)]
    if len(row) > len(_EVENT) and row[-1] != checksum(columns):
        raise ValueError(f"event {row[0]} is spoiled")
    said = dict(zip(_EVENT, columns, strict=True))
    seq, run = int(said.pop("seq")), str(said.pop("run"))
    said["data"] = dict(json.loads(said["data"]))
    Kind(said["kind"])
    if said["step"] is not None:
        Step(said["step"])
    texts = [said[name] for name in _EVENT if name not in ("seq", "run", "step", "data", "clock")]
    if not isinstance(said["clock"], float) or not all(isinstance(text, str) for text in texts):
        raise ValueError(f"event {seq} is spoiled")
    return OldAct(run, {"kind": said.pop("kind"), **said}, seq)


def checksum(values: tuple[object, ...]) -> str:
    """Return the check sum of an event's columns as records of version 4 kept it."""
    return hashlib.blake2b(json.dumps(list(values)).encode(), digest_size=8).hexdigest()


@contextmanager
def _copy(path: Path) -> Iterator[tuple[sqlite3.Connection, bool]]:
    """Open a copy of a record; say whether SQLite reads its log to the end."""
    with tempfile.TemporaryDirectory(prefix="chalkbeam-") as folder:
        copy, log = Path(folder) / "record.db", Path(folder) / "record.db-wal"
        shutil.copyfile(path, copy)
        with suppress(FileNotFoundError):
            shutil.copyfile(path.with_name(f"{path.name}-wal"), log)
        frames = read_whole(log, _LONGEST_LOG) if log.exists() else b""
        with closing(sqlite3.connect(copy)) as raw:
            read = 0
            with suppress(sqlite3.Error):
                read = int(raw.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()[1])
            yield raw, not _goes_on(frames, max(0, read))


def _goes_on(log: bytes, read: int) -> bool:
    """Whether two or more commits follow in a write-ahead log on the `read` pages SQLite took in.

    One may be what a kill cut off; each was on the disk before the next was begun. By “Database
    File Format” of the SQLite documentation, section 4.
    """
    if len(log) < 32:
        return False
    size = struct.unpack_from(">I", log, 8)[0]
    size = size if size in {1 << power for power in range(9, 17)} else 4096
    frames = [log[at : at + 24] for at in range(32, len(log) - size, size + 24)]
    salts = [frame[8:16] for frame in frames]
    ours = log[16:24] if _head_is_sound(log) else max(salts, key=salts.count, default=b"")
    rest = zip(frames[read:], salts[read:], strict=True)
    return sum(salt == ours and any(frame[4:8]) for frame, salt in rest) > 1


def _head_is_sound(log: bytes) -> bool:
    magic = int.from_bytes(log[:4], "big")
    words = struct.unpack_from(("<" if magic == 0x377F0682 else ">") + "6I", log)
    one = two = 0
    for place in (0, 2, 4):
        one = one + words[place] + two & 0xFFFFFFFF
        two = two + words[place + 1] + one & 0xFFFFFFFF
    return magic in (0x377F0682, 0x377F0683) and struct.unpack_from(">2I", log, 24) == (one, two)
