"""The record: runs and their events in one SQLite file, safe against crashes and power cuts.

Write-ahead logging with ``synchronous=FULL``: when `Recorder.write` returns, the event is
on the disk. Events are only added (triggers refuse anything else), have ids made before
the first attempt to write them, and are ordered by sequence number alone.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import platformdirs
import sqlalchemy as sa
from sqlalchemy.dialects.sqlite import insert

from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.orders.order_of_work import Plan, Stop
from chalkbeam.record import snapshot
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.faults import fault
from chalkbeam.record.migrations import migrate, packed
from chalkbeam.record.sqlite_pages import breaks_off

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
    *(sa.Column(name, sa.Text) for name in ("wall", "operator", "rig", "calibration")),
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
            with self._faults(), self._engine.connect() as connection:
                migrate(connection)
                with connection.begin():
                    said = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one()
                if said != "ok":
                    raise sqlite3.DatabaseError(f"malformed: {said}")
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
    ) -> Run:
        """Record a new run and return it.

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
            connection.execute(insert(_runs).values(row))
            connection.execute(insert(_copies).values(packed=packed(row)))
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
            rows = connection.execute(sa.select(_runs).where(wanted)).mappings().all()
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
        query = sa.select(_runs).order_by(sa.text("rowid DESC")).limit(1)
        if digest is not None or sheet is not None:
            query = query.where((_runs.c.digest == digest) | (_runs.c.sheet == str(sheet)))
        with self._faults(), self._engine.begin() as connection:
            row = connection.execute(query).mappings().first()
            return _run(row) if row else None

    # -- events ----------------------------------------------------------------------------

    def events(self, run: Run) -> list[Event]:
        """Return the run's events by sequence number."""
        query = sa.select(_events).where(_events.c.run == run.id).order_by(_events.c.seq)
        with self._faults(), self._engine.begin() as connection:
            return [_event(row) for row in connection.execute(query).mappings()]

    def add(self, run: Run, event: Event, after: int | None = None) -> Event:
        """Write one event; when this returns, it is on the disk.

        Writing an event whose id is already there changes nothing and returns the one there.

        Parameters
        ----------
        after : int, optional
            Sequence number of the last event of the run that the caller knows of.

        Raises
        ------
        Refusal
            If it cannot be written, or another window has written to the run since `after`.
        """
        row = {
            "id": event.id,
            "run": run.id,
            "kind": event.kind.value,
            "imprint": event.imprint,
            "step": event.step.value if event.step else None,
            "data": json.dumps(dict(event.data), allow_nan=False),
            "session": event.session,
            "clock": event.clock,
            "wall": event.wall,
            "operator": event.operator,
            "rig": event.rig,
            "calibration": event.calibration,
        }
        with self._faults(), self._engine.begin() as connection:
            known = connection.execute(sa.select(_events).where(_events.c.id == event.id))
            if (there := known.mappings().first()) is not None:
                return _event(there)
            if after is not None:
                newest = connection.execute(
                    sa.select(sa.func.max(_events.c.seq)).where(_events.c.run == run.id)
                ).scalar()
                if (newest or 0) != after:
                    raise Refusal(
                        "Another window is working on this run: close it there, then open "
                        "the run again here."
                    )
            written = connection.execute(insert(_events).values(row))
            key = written.inserted_primary_key
        return replace(event, seq=int(key[0]) if key else 0)


def _run(row: sa.RowMapping) -> Run:
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
