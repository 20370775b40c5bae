"""The record's database: the journal's lines once more, found quickly; made anew from it at will.

It keeps every line as the journal has it, so that what is read bears the journal's check sum,
and counts the lines of each run apart from them: a row that is lost or spoiled shows.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.dialects.sqlite import insert

from calibration.refusal import Refusal
from chalkbeam.record.events import Event
from chalkbeam.record.faults import fault, is_damage
from chalkbeam.record.journal_lines import JournalLine, parse_line
from chalkbeam.record.migrations import migrate
from chalkbeam.record.runs import (
    BEGUN,
    HEADING,
    Heading,
    Run,
    event_of,
    heading_of,
    is_event,
    run_of,
)
from chalkbeam.record.write_ahead import use_write_ahead

ALL_RUNS = "runs"
"""Under this name the number of runs is counted."""

_tables = sa.MetaData()
_lines = sa.Table(
    "lines",
    _tables,
    sa.Column("seq", sa.Integer, primary_key=True),
    sa.Column("press", sa.Text),
    sa.Column("number", sa.Integer),
    sa.Column("run", sa.Text),
    sa.Column("id", sa.Text),
    sa.Column("line", sa.Text),
)
_runs = sa.Table("runs", _tables, sa.Column("place", sa.Integer, primary_key=True),
                 *(sa.Column(name, sa.Text) for name in ("id", "line")))  # fmt: skip
_counts = sa.Table("counts", _tables, sa.Column("run", sa.Text), sa.Column("count", sa.Integer))

# What every act asks is put together once.
_HIGHEST = sa.select(sa.func.max(_lines.c.seq))
_NEWEST = _HIGHEST.where(_lines.c.run == sa.bindparam("of"), _lines.c.id != sa.bindparam("of"))
_BY_ID = sa.select(_lines.c.seq, _lines.c.id, _lines.c.line).where(
    _lines.c.id.in_(sa.bindparam("ids", expanding=True))
)
_ADD = insert(_lines)
_COUNT = insert(_counts).on_conflict_do_update(
    index_elements=["run"], set_={"count": _counts.c.count + insert(_counts).excluded.count}
)


class SpoiledDatabase(Exception):
    """The database is damaged: it is to be made anew."""


class RecordDatabase:
    """An open database.

    Parameters
    ----------
    path : Path
        Made if it is not there; brought to the newest version.
    lock_wait : float
        Seconds to wait for another program.

    Raises
    ------
    Refusal
        If it cannot be opened, is locked, or newer than this program.
    SpoiledDatabase
        As every method does where it is damaged.
    """

    def __init__(self, path: Path, lock_wait: float) -> None:
        self.path = path
        self._log: tuple[int, int] | None = None
        self._engine = sa.create_engine(
            sa.URL.create("sqlite", database=str(path)),
            # A record may be opened in one thread and used in another, never in two at a time.
            connect_args={"timeout": lock_wait, "check_same_thread": False},
            poolclass=sa.StaticPool,
        )
        sa.event.listen(self._engine, "connect", lambda raw, _: _on_connect(raw, lock_wait))
        sa.event.listen(self._engine, "begin", _on_begin)
        try:
            with self._told(), self._engine.connect() as connection:
                migrate(connection)
            self._file = _identity(path)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close it."""
        self._engine.dispose()

    def tidy(self) -> None:
        """Move the log into the file now; what stands in the way is told by the next act."""
        with (
            suppress(sa.exc.DBAPIError, sqlite3.Error),
            closing(self._engine.raw_connection()) as raw,
        ):
            raw.cursor().execute("PRAGMA wal_checkpoint(PASSIVE)").close()

    def is_there(self) -> bool:
        """Whether the file is still the one that was opened."""
        return self._file is not None and _identity(self.path) == self._file

    def is_in_place(self) -> bool:
        """Whether the file, and its log, are still those that were opened."""
        log = _identity(self.path.with_name(f"{self.path.name}-wal"))
        self._log = self._log or log  # made with the first thing that is written
        return self.is_there() and log == self._log

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except (sa.exc.DBAPIError, sqlite3.Error, OSError) as error:
            said = str(getattr(error, "orig", None) or error)
            if is_damage(said):
                raise SpoiledDatabase(said) from error
            raise fault(self.path, said) from error
        except Refusal:
            raise
        except (ValueError, LookupError, TypeError) as error:  # what rows hold cannot be
            raise SpoiledDatabase("malformed: a row is spoiled") from error

    @contextmanager
    def at_work(self) -> Iterator[Work]:
        """Give what can be asked and added, as one transaction with the write lock."""
        with self._told(), self._engine.begin() as connection:
            yield Work(connection)

    @contextmanager
    def looked_at(self) -> Iterator[Work]:
        """Give what can be asked, as it stands now; whoever adds meanwhile does not wait."""
        with self._told(), self._engine.execution_options(reads=True).begin() as connection:
            yield Work(connection)


class Work:
    """What a transaction may ask and add."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection

    # -- the journal's copy ----------------------------------------------------------------

    def press(self) -> str | None:
        """Return the id of the press whose acts came last; None where there are none."""
        query = sa.select(_lines.c.press).order_by(_lines.c.seq.desc()).limit(1)
        return self._connection.execute(query).scalar()

    def last(self, press: str) -> int:
        """Return the number of a press's last act; 0 where it has none."""
        query = sa.select(sa.func.max(_lines.c.number)).where(_lines.c.press == press)
        return self._connection.execute(query).scalar() or 0

    def lines_after(self, press: str, number: int, most: int) -> list[JournalLine]:
        """Return up to `most` lines of a press with higher numbers, in order."""
        query = (
            sa.select(_lines.c.line)
            .where(_lines.c.press == press, _lines.c.number > number)
            .order_by(_lines.c.number)
            .limit(most)
        )
        return [_sound(text) for (text,) in self._connection.execute(query)]

    def add(self, lines: Sequence[JournalLine]) -> list[int]:
        """Add lines; return the place in the record that each has."""
        highest = self._connection.execute(_HIGHEST).scalar() or 0
        begun = [line for line in lines if line.body.get("kind") == BEGUN]
        self._connection.execute(
            _ADD,
            [
                {
                    "seq": seq,
                    "press": line.press,
                    "number": line.number,
                    "run": line.run,
                    "id": line.body.get("id"),
                    "line": line.text,
                }
                for seq, line in enumerate(lines, start=highest + 1)
            ],
        )
        counts = Counter(line.run for line in lines)
        if begun:
            counts[ALL_RUNS] = len(begun)
            before = self._count(ALL_RUNS)
            self._connection.execute(
                insert(_runs),
                [
                    {"place": place, "id": line.run, "line": _without_work(line).text}
                    for place, line in enumerate(begun, start=before + 1)
                ],
            )
        self._connection.execute(
            _COUNT, [{"run": run, "count": count} for run, count in counts.items()]
        )
        return list(range(highest + 1, highest + 1 + len(lines)))

    # -- runs and events -------------------------------------------------------------------

    def headings(self) -> list[Heading]:
        """Return every run, in the order that they were begun in."""
        return [heading_of(line.body) for line in self._run_lines()]

    def run(self, run: str) -> Run:
        """Return a run by its id; there must be one."""
        (own,) = [line for line in self._run_lines() if line.run == run]
        here = (_lines.c.press == own.press) & (_lines.c.number == own.number)
        whole = _sound(self._connection.execute(sa.select(_lines.c.line).where(here)).scalar())
        if _without_work(whole) != own:
            raise ValueError(f"run {run} differs from its heading")
        return run_of(whole.body)

    def _run_lines(self) -> list[JournalLine]:
        query = sa.select(_runs.c.line).order_by(_runs.c.place)
        found = [_sound(text) for (text,) in self._connection.execute(query)]
        if len(found) != self._count(ALL_RUNS):
            raise ValueError("a run is lost")
        return found

    def events(self, run: str) -> list[Event]:
        """Return the run's events in order."""
        query = (
            sa.select(_lines.c.seq, _lines.c.line).where(_lines.c.run == run).order_by(_lines.c.seq)
        )
        found = [(seq, _sound(text)) for seq, text in self._connection.execute(query)]
        last: dict[str, int] = {}
        for _, line in found:
            if line.run != run or line.number <= last.get(line.press, 0):
                raise ValueError(f"act {line.number} is out of its place")
            last[line.press] = line.number
        if len(found) != self._count(run):
            raise ValueError(f"an act of the run {run} is lost")
        return [event_of(line, seq) for seq, line in found if is_event(line)]

    def known(self, ids: Sequence[str]) -> dict[str, Event]:
        """Return the events that are there already of these ids."""
        found = self._connection.execute(_BY_ID, {"ids": ids})
        return {own: event_of(_sound(text), seq) for seq, own, text in found}

    def newest(self, run: str) -> int:
        """Return the place in the record of the run's last event; 0 where it has none."""
        return self._connection.execute(_NEWEST, {"of": run}).scalar() or 0

    def _count(self, name: str) -> int:
        query = sa.select(_counts.c.count).where(_counts.c.run == name)
        return self._connection.execute(query).scalar() or 0


def _sound(text: str | None) -> JournalLine:
    line = parse_line((text or "").encode())
    if line is None:
        raise ValueError("a line is spoiled")
    return line


def _without_work(line: JournalLine) -> JournalLine:
    """Return the line of a run that begins without its order of work."""
    return replace(line, body={name: line.body[name] for name in HEADING})


def _identity(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from any other; None if it is not there."""
    try:
        state = path.stat()
    except OSError:
        return None
    return state.st_dev, state.st_ino


def _on_connect(connection: sqlite3.Connection, lock_wait: float) -> None:
    # The driver would open transactions by itself and leave DDL out of them:
    # switched off, and BEGIN is sent by _on_begin.
    connection.isolation_level = None
    use_write_ahead(connection, lock_wait)
    # The journal is on the disk before; what a power cut takes from here is filled in again.
    connection.execute("PRAGMA synchronous=NORMAL")


def _on_begin(connection: sa.Connection) -> None:
    # Take the write lock at once: asked for half-way through, it can fail without any wait.
    reads = connection.get_execution_options().get("reads")
    connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")
