"""The record: runs and their events in one SQLite file, safe against crashes and power cuts.

Write-ahead logging with ``synchronous=FULL``: when `Recorder.write` returns, the event is
on the disk. Events are only added (triggers refuse anything else), have ids made before
the first attempt to write them, and are ordered by sequence number alone.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import platformdirs
import sqlalchemy as sa
from sqlalchemy.dialects.sqlite import insert

from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.orders.order_of_work import Plan, Stop
from chalkbeam.record import snapshot
from chalkbeam.record.events import Event, Kind, NewEvent, Step, new_id
from chalkbeam.record.faults import fault
from chalkbeam.record.migrations import (
    EVENT_COLUMNS,
    RUN_COLUMNS,
    checksum,
    migrate,
    packed,
    unpacked,
)
from chalkbeam.record.sqlite_pages import breaks_off, log_beside

LOCK_WAIT = 5.0
"""Seconds to wait for another program that holds the file."""

_HEADING = ("id", "title", "sheet", "digest", "earlier", "begun")
_tables = sa.MetaData()
_runs = sa.Table("runs", _tables, *(sa.Column(name, sa.Text) for name in (*_HEADING, "work")))
_events = sa.Table(
    "events",
    _tables,
    sa.Column("seq", sa.Integer, primary_key=True),
    sa.Column("id", sa.Text),
    sa.Column("run", sa.Text),
    sa.Column("kind", sa.Text),
    sa.Column("imprint", sa.Text),
    sa.Column("step", sa.Text),
    sa.Column("data", sa.Text),
    sa.Column("session", sa.Text),
    sa.Column("clock", sa.Float),
    *(sa.Column(name, sa.Text) for name in ("wall", "operator", "rig", "calibration", "checksum")),
)
_copies = sa.Table("run_copies", _tables, sa.Column("packed", sa.LargeBinary))


@dataclass(frozen=True)
class Heading:
    """What a list of runs shows of one.

    Attributes
    ----------
    id : str
    title : str
        For people.
    sheet : str
        Path of the run sheet.
    digest : str
        SHA-256 of the sheet's bytes when the run began.
    earlier : str or None
        Id of the run that this one repeats.
    begun : str
        Date and time (ISO 8601, UTC).
    """

    id: str
    title: str
    sheet: str
    digest: str
    earlier: str | None
    begun: str


@dataclass(frozen=True)
class Run(Heading):
    """One order being pressed, with the order of work as it was planned.

    Attributes
    ----------
    stops : tuple of Stop
    as_listed, by_hand : float
        The plan's estimates for comparison, s.
    """

    stops: tuple[Stop, ...]
    as_listed: float = 0.0
    by_hand: float = 0.0


def record_file() -> Path:
    """Return the file of the shop's record (it need not exist yet)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "record.db"


def utc_now() -> str:
    """Return the date and time (ISO 8601, UTC)."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Store:
    """An open record.

    Parameters
    ----------
    path : Path
        The file; made if it does not exist (its folder too).

    Raises
    ------
    Refusal
        If the file cannot be opened, is damaged, locked or newer than this program.
    """

    def __init__(self, path: Path, lock_wait: float = LOCK_WAIT) -> None:
        self.path = Path(path)
        self._log: tuple[int, int] | None = None
        with self._faults():
            self.path.parent.mkdir(parents=True, exist_ok=True)
        self._engine = sa.create_engine(
            sa.URL.create("sqlite", database=str(self.path)),
            # A record may be opened in one thread and used in another, never in two at a time.
            connect_args={"timeout": lock_wait, "check_same_thread": False},
            poolclass=sa.StaticPool,
        )
        sa.event.listen(self._engine, "connect", _on_connect)
        sa.event.listen(self._engine, "begin", _on_begin)
        try:
            with self._faults():
                # Twice: another window may restart the log while it is read.
                if breaks_off(self.path) and breaks_off(self.path):
                    raise sqlite3.DatabaseError("malformed: its log is spoiled before its end")
                if self.path.is_file() and self.path.stat().st_size:
                    _check_sound(self.path, lock_wait)
            with self._faults(), self._engine.connect() as connection:
                migrate(connection)
            self._file = _identity(self.path)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close the file."""
        self._engine.dispose()

    def tidy(self) -> None:
        """Move the log into the file (a checkpoint) now, when nobody waits for it.

        SQLite does so by itself after every thousand pages, which holds one event up in
        some two hundred. What stands in the way is told by the next event that is written.
        """
        with (
            suppress(sa.exc.DBAPIError, sqlite3.Error),
            closing(self._engine.raw_connection()) as raw,
        ):
            raw.cursor().execute("PRAGMA wal_checkpoint(PASSIVE)").close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def _faults(self) -> Iterator[None]:
        """Turn an error of the disk or of SQLite into one sentence."""
        try:
            yield
        except (sa.exc.DBAPIError, sqlite3.Error, OSError) as error:
            said = str(getattr(error, "orig", None) or error)
            raise fault(self.path, said) from error
        except Refusal:
            raise
        except UnicodeEncodeError as error:
            raise Refusal(
                f"“{error.object.encode(errors='replace').decode()[:80]}” holds signs that are no "
                "letters, so that it cannot be kept: write it anew."
            ) from None
        except (ValueError, LookupError) as error:  # SQLite does not look into what rows hold
            raise fault(self.path, "malformed: a row is spoiled") from error

    # -- runs ------------------------------------------------------------------------------

    def begin(
        self,
        plan: Plan,
        *,
        title: str,
        sheet: Path,
        digest: str,
        earlier: str | None = None,
        newest: str | None = "",
        carried: Sequence[NewEvent] = (),
    ) -> Run:
        """Record a new run and return it.

        Parameters
        ----------
        carried : sequence of NewEvent
            What is done already: on the disk with the run, or neither is.
        newest : str or None, optional
            Id of the latest run of this sheet that the caller knows of, None for none: another
            begun since is refused. Without it none is looked for.

        Raises
        ------
        Refusal
            If the record cannot be written.
        """
        run = Run(
            new_id(), title, str(sheet), digest, earlier, utc_now(),
            plan.stops, plan.as_listed, plan.by_hand,
        )  # fmt: skip
        row = {
            "id": run.id,
            "title": title,
            "sheet": run.sheet,
            "digest": digest,
            "earlier": earlier,
            "begun": run.begun,
            "work": snapshot.dump(plan.stops, plan.as_listed, plan.by_hand),
        }
        with self._faults(), self._engine.begin() as connection:
            if newest != "":
                query = _latest(digest, sheet).with_only_columns(_runs.c.id)
                if connection.execute(query).scalar() != newest:
                    raise Refusal(
                        "Another window has begun a run of this sheet just now: close it there, "
                        "or go on with that run here by the same command."
                    )
            connection.execute(insert(_runs).values(row))
            connection.execute(insert(_copies).values(packed=packed(row)))
            highest = connection.execute(sa.select(sa.func.max(_events.c.seq))).scalar() or 0
            session = new_id()
            for seq, act in enumerate(carried, start=highest + 1):
                event = Event(
                    new_id(), act.kind, act.imprint, act.step, act.data, seq, session,
                    wall=run.begun,
                )  # fmt: skip
                connection.execute(insert(_events).values(_row(run, event)))
        return run

    def runs(self) -> list[Heading]:
        """Return every run, oldest first."""
        query = sa.select(*(_runs.c[name] for name in _HEADING)).order_by(sa.text("rowid"))
        with self._faults(), self._engine.begin() as connection:
            return [Heading(**row) for row in connection.execute(query).mappings()]

    def run(self, run_id: str) -> Run:
        """Return the run whose id begins with `run_id`.

        Raises
        ------
        Refusal
            If there is none, or more than one.
        """
        wanted = _runs.c.id.startswith(run_id, autoescape=True)
        with self._faults(), self._engine.begin() as connection:
            rows = connection.execute(_twice().where(wanted)).mappings().all()
        if len(rows) != 1 or not run_id:
            raise Refusal(
                f"The record {self.path} has {len(rows) if run_id else 'no'} runs whose id begins "
                f"with “{run_id}”: ",
                Remedy(RemedyKind.RUNS, "list the runs"),
                ".",
            )
        with self._faults():
            return _run(rows[0])

    def latest(self, digest: str | None = None, sheet: Path | None = None) -> Run | None:
        """Return the run begun last; of the sheet with this digest or path, if any is given."""
        with self._faults(), self._engine.begin() as connection:
            row = connection.execute(_latest(digest, sheet)).mappings().first()
            return _run(row) if row else None

    # -- events ----------------------------------------------------------------------------

    def events(self, run: Run) -> list[Event]:
        """Return the run's events by sequence number."""
        query = sa.select(_events).where(_events.c.run == run.id).order_by(_events.c.seq)
        with self._faults(), self._engine.begin() as connection:
            return [_event(row) for row in connection.execute(query).mappings()]

    def add(self, run: Run, events: Sequence[Event], after: int | None = None) -> list[Event]:
        """Write events, all of them or none; when this returns, they are on the disk.

        Writing an event whose id is already there changes nothing and returns the one there.

        Parameters
        ----------
        after : int, optional
            Sequence number of the last event of the run that the caller knows of.

        Raises
        ------
        Refusal
            If they cannot be written, or another window has written to the run since `after`.
        """
        for event in events:
            _check_data(event)
        written: list[Event] = []
        with self._faults(), self._engine.begin() as connection:
            for event in events:
                known = connection.execute(sa.select(_events).where(_events.c.id == event.id))
                if (there := known.mappings().first()) is not None:
                    written.append(_event(there))
                    continue
                if after is not None and not written:
                    newest = connection.execute(
                        sa.select(sa.func.max(_events.c.seq)).where(_events.c.run == run.id)
                    ).scalar()
                    if (newest or 0) != after:
                        raise Refusal(
                            "Another window is working on this run: close it there, then open "
                            "the run again here."
                        )
                highest = connection.execute(sa.select(sa.func.max(_events.c.seq))).scalar()
                numbered = replace(event, seq=(highest or 0) + 1)
                connection.execute(insert(_events).values(_row(run, numbered)))
                written.append(numbered)
        self._check_in_place()
        return written

    def _check_in_place(self) -> None:
        """Refuse to go on where the file, or its log, is no longer the one that was opened.

        What is written to a file that was deleted or replaced is gone once it is closed.
        """
        file, log = _identity(self.path), _identity(log_beside(self.path))
        self._log = self._log or log  # made when the first event is written
        if file is None or log is None or (file, log) != (self._file, self._log):
            raise Refusal(
                f"The record {self.path} was deleted, moved or replaced while it was in use, so "
                "nothing more is kept: leave the run, put the file back with those beside it, and "
                "open the run again."
            )


def _check_sound(path: Path, lock_wait: float) -> None:
    """Look through a whole record, its indexes too, without writing to it or its log.

    Once opened for writing a damaged file would be written to (its log carried over): it is to
    stay as it is. 60,000 events take some 0.2 s.

    Raises
    ------
    sqlite3.DatabaseError
        If it is damaged.
    """
    place = f"file:{quote(str(path.absolute()))}?mode=ro"
    with closing(sqlite3.connect(place, uri=True, timeout=lock_wait)) as raw:
        (said,) = raw.execute("PRAGMA integrity_check(1)").fetchone()
        if said != "ok":
            raise sqlite3.DatabaseError(f"malformed: {said}")


def _identity(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from any other; None if it is not there."""
    try:
        state = path.stat()
    except OSError:
        return None
    return state.st_dev, state.st_ino


def _check_data(event: Event) -> None:
    try:
        json.dumps(dict(event.data), allow_nan=False)
    except ValueError:
        raise Refusal(
            "What was done holds a number without end, so that it cannot be kept: check lengths "
            "and times in the sheet."
        ) from None


def _row(run: Run, event: Event) -> dict[str, object]:
    row = {
        "seq": event.seq,
        "id": event.id,
        "run": run.id,
        "kind": event.kind.value,
        "imprint": event.imprint,
        "step": event.step.value if event.step else None,
        "data": json.dumps(dict(event.data), allow_nan=False),
        "session": event.session,
        "clock": float(event.clock),
        "wall": event.wall,
        "operator": event.operator,
        "rig": event.rig,
        "calibration": event.calibration,
    }
    return row | {"checksum": checksum(row.values())}


def _twice() -> sa.Select[Any]:
    """Return the question for runs, each with its copy."""
    same = sa.text("runs.rowid = run_copies.rowid")
    return sa.select(_runs, _copies.c.packed).join_from(_runs, _copies, same, isouter=True)


def _latest(digest: str | None, sheet: Path | None) -> sa.Select[Any]:
    query = _twice().order_by(sa.text("runs.rowid DESC")).limit(1)
    if digest is None and sheet is None:
        return query
    return query.where((_runs.c.digest == digest) | (_runs.c.sheet == str(sheet)))


def _run(row: sa.RowMapping) -> Run:
    written = {name: row[name] for name in RUN_COLUMNS}
    if row["packed"] is None or unpacked(row["packed"]) != written:
        raise ValueError("a run differs from its copy")
    stops, as_listed, by_hand = snapshot.load(row["work"])
    return Run(
        **{name: row[name] for name in _HEADING}, stops=stops, as_listed=as_listed, by_hand=by_hand
    )


def _event(row: sa.RowMapping) -> Event:
    plain = {
        name: row[name]
        for name in ("id", "imprint", "seq", "session", "clock", "wall", "operator", "rig",
                     "calibration")
    }  # fmt: skip
    if row["checksum"] != checksum([row[name] for name in EVENT_COLUMNS]):
        raise ValueError(f"event {row['seq']} is spoiled")
    step = Step(row["step"]) if row["step"] else None
    return Event(kind=Kind(row["kind"]), step=step, data=json.loads(row["data"]), **plain)


def _on_connect(connection: sqlite3.Connection, _: object) -> None:
    # The driver would open transactions by itself and leave DDL out of them:
    # switched off, and BEGIN is sent by _on_begin.
    connection.isolation_level = None
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")


def _on_begin(connection: sa.Connection) -> None:
    # Take the write lock at once: asked for half-way through, it can fail without any wait.
    connection.exec_driver_sql("BEGIN IMMEDIATE")
