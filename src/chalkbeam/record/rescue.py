"""Saving what can still be read from a damaged record."""

from __future__ import annotations

import contextlib
import itertools
import json
import sqlite3
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.record import snapshot, sqlite_pages
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.migrations import (
    EVENT_COLUMNS,
    RUN_COLUMNS,
    STEPS,
    checksum,
    packed,
    unpacked,
)
from chalkbeam.record.sqlite_pages import FoundRow, Holds, Value
from chalkbeam.record.store import Store

HIGHEST_VERSION = 999
"""A version mark beyond it is damage, not a newer program's: the record is rescued all the same."""
SHORTEST_EVENT = 96
"""Least bytes of an event: its id, its run's and its session's, 32 each."""
_WALL = EVENT_COLUMNS.index("wall")
_KINDS = {kind.value for kind in Kind}
_STEPS = {None, *(step.value for step in Step)}

Row = tuple[Value, ...]


@dataclass(frozen=True)
class Gap:
    """Events in a row that could not be read.

    Attributes
    ----------
    first, last : int
        Sequence numbers.
    after, before : str
        Date and time (ISO 8601, UTC) of the events on either side; empty if there is none.
    """

    first: int
    last: int
    after: str
    before: str

    def __str__(self) -> str:
        which = f"event {self.first}" if self.first == self.last else (
            f"events {self.first} to {self.last}"
        )  # fmt: skip
        times = [word for word in (
            f"after {_minute(self.after)}" if self.after else "",
            f"before {_minute(self.before)}" if self.before else "",
        ) if word]  # fmt: skip
        return f"{which} ({', '.join(times)} UTC)" if times else which


def _minute(date: str) -> str:
    return date[:19].replace("T", " ")


@dataclass(frozen=True)
class Rescued:
    """What was saved.

    Attributes
    ----------
    runs, events : int
        Saved.
    gaps : tuple of Gap
        Events known to have been there that could not be read.
    orphans : tuple of str
        Ids of runs that are lost themselves, with their order of work: their events are
        saved, but they cannot be gone on with.
    sure : str
        What goes before the number of lost events: empty where it is known, else "at least "
        or "up to ".
    """

    runs: int
    events: int
    gaps: tuple[Gap, ...] = ()
    orphans: tuple[str, ...] = ()
    sure: str = ""

    @property
    def lost(self) -> int:
        """How many events could not be read."""
        return sum(gap.last - gap.first + 1 for gap in self.gaps)


@dataclass
class _Read:
    """What the pages of a record hold, read one by one."""

    runs: dict[str, tuple[int, Row]] = field(default_factory=dict)  # by id: rowid and row
    copies: dict[str, tuple[int, Row]] = field(default_factory=dict)
    events: dict[int, Row] = field(default_factory=dict)
    numbers: set[int] = field(default_factory=set)  # of events, by whatever names them
    given: set[int] = field(default_factory=set)  # the highest number so far, as the file says it

    def take(self, found: FoundRow) -> None:
        values = found.values
        if found.holds is not Holds.TABLE:
            # The index of events by run and number still names those whose rows are gone.
            # Each entry says its number twice: as a column and as the row it leads to.
            if len(values) == 3 and isinstance(values[1], int) and values[1] == values[2]:
                self.numbers.add(values[1])
        elif len(values) - len(EVENT_COLUMNS) in (0, 1) and _is_event(found.rowid, values):
            self.events[found.rowid] = (found.rowid, *values[1 : len(EVENT_COLUMNS)])
            self.numbers.add(found.rowid)
        elif len(values) == len(RUN_COLUMNS) and _is_run(values):
            self.runs[str(values[0])] = found.rowid, values
        elif len(values) == 1 and isinstance(values[0], bytes):
            with contextlib.suppress(ValueError):
                run = unpacked(values[0])
                self.copies[run["id"]] = found.rowid, tuple(run[name] for name in RUN_COLUMNS)
        elif len(values) == 2 and values[0] == "events" and isinstance(values[1], int):
            self.given.add(values[1])


def rescue(damaged: Path, fresh: Path) -> Rescued:
    """Copy every run and event that can be read into a new record; the old one stays as it is.

    Raises
    ------
    Refusal
        If the new file exists, the record is of a newer version, or nothing can be read.
    """
    if fresh.exists():
        raise Refusal(f"{fresh} exists already: give the rescued record another name.")
    if not damaged.is_file():
        raise Refusal(f"There is no record {damaged}: check the name.")
    try:
        file, log = sqlite_pages.read(damaged)
    except OSError as error:
        raise Refusal(f"{damaged} cannot be read: {error.strerror or error}.") from None
    made = sqlite_pages.version(file, log) or 0
    if len(STEPS) < made <= HIGHEST_VERSION:
        raise Refusal(
            f"The record {damaged} is of version {made} and this Chalkbeam knows up to "
            f"{len(STEPS)}: update Chalkbeam, then rescue it."
        )
    read = _Read()
    for found in sqlite_pages.rows(file, log):
        read.take(found)
    if not (read.runs or read.copies or read.events):
        raise Refusal(f"Nothing can be read from {damaged}: keep the file, and begin a new record.")
    events = [read.events[seq] for seq in sorted(read.events)]
    runs, orphans = _runs(read, events)
    _write(fresh, runs, events)
    last, sure = _last(read, len(file) + len(log))
    return Rescued(len(runs), len(events), _gaps(read.events, last), orphans, sure)


def _runs(read: _Read, events: Sequence[Row]) -> tuple[list[Row], tuple[str, ...]]:
    """Return every run that has events, oldest first, and the ids of the lost ones."""
    found = {**read.runs, **read.copies}  # the copies bear a check sum
    known = [row for _, row in sorted(found.values(), key=lambda pair: pair[0])]
    orphans: dict[str, Row] = {}
    for event in events:
        run = str(event[2])
        if run not in found and run not in orphans:
            nothing = snapshot.dump((), 0.0, 0.0)
            orphans[run] = (run, "rescued", "", "", None, event[_WALL], nothing)
    before = [
        (*row[:4], row[4] if row[4] in found else None, *row[5:]) for row in known
    ]  # fmt: skip
    return [*orphans.values(), *before], tuple(orphans)


def _last(read: _Read, size: int) -> tuple[int, str]:
    """Return the highest number that an event had, and how sure the count of lost ones is.

    A number that cannot be is spoiled. That the file's own mark of the highest number and
    the highest that an event or the index names agree makes it sure.

    Parameters
    ----------
    size : int
        Bytes of the record: no more events can be missing than it has room for.
    """
    top = max(read.events, default=0)
    most = top + size // SHORTEST_EVENT
    named = max((n for n in read.numbers if n <= most), default=top)
    given = max((n for n in read.given if n <= most), default=0)
    if given > named:
        return given, "up to "
    return named, "" if given == named else "at least "


def _gaps(events: Mapping[int, Row], last: int) -> tuple[Gap, ...]:
    edges = [0, *sorted(events), last + 1]
    walls = {seq: str(row[_WALL]) for seq, row in events.items()}
    return tuple(
        Gap(before + 1, after - 1, walls.get(before, ""), walls.get(after, ""))
        for before, after in itertools.pairwise(edges)
        if after - before > 1
    )


def _write(fresh: Path, runs: Sequence[Row], events: Iterable[Row]) -> None:
    """Write a new record, whole or not at all."""
    copies = [(packed(dict(zip(RUN_COLUMNS, row, strict=True))),) for row in runs]
    with tempfile.TemporaryDirectory(dir=fresh.parent, prefix=".rescue-") as folder:
        draft = Path(folder) / "record.db"
        Store(draft).close()
        with contextlib.closing(sqlite3.connect(draft)) as new, new:
            for table, columns, rows in (
                ("runs", RUN_COLUMNS, runs),
                ("run_copies", ("packed",), copies),
                ("events", (*EVENT_COLUMNS, "checksum"), [(*row, checksum(row)) for row in events]),
            ):
                marks = ", ".join("?" * len(columns))
                new.executemany(
                    f"INSERT OR IGNORE INTO {table} ({', '.join(columns)}) VALUES ({marks})", rows
                )
        draft.replace(fresh)


def _is_event(number: int, values: Row) -> bool:
    """Whether values are an event's: their check sum says so, or, in older records, their form."""
    own = (number, *values[1 : len(EVENT_COLUMNS)])
    if len(values) > len(own) and values[-1] != checksum(own):
        return False
    seq, kind, step, data, clock = values[0], values[3], values[5], values[6], values[8]
    texts = [values[place] for place in (1, 2, 4, 7, 9, 10, 11, 12)]
    if seq is not None or kind not in _KINDS or step not in _STEPS:
        return False
    if not isinstance(clock, int | float) or not all(isinstance(text, str) for text in texts):
        return False
    try:
        return isinstance(data, str) and isinstance(json.loads(data), dict)
    except ValueError:
        return False


def _is_run(values: Row) -> bool:
    """Whether values can be a run's, its order of work whole."""
    texts = [values[place] for place in (0, 1, 2, 3, 5, 6)]
    if not all(isinstance(text, str) for text in texts):
        return False
    try:
        snapshot.load(str(values[6]))
    except (ValueError, KeyError, IndexError):
        return False
    return True
