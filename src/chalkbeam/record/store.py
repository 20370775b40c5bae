"""The record: every act is a line of the press's journal, and a database finds what it says.

The order is: the line is on the disk, then the database has it, then the caller is told, who
only then changes the picture. The database is filled from the journal and made anew from it
where it lacks something or is damaged; a line that only the database has is written into the
journal again. Acts are only added, have ids made before the first attempt to write them, and
are ordered by their numbers alone.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import platformdirs

from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.orders.order_of_work import Plan
from chalkbeam.record import snapshot
from chalkbeam.record.conversion import prepare, set_aside
from chalkbeam.record.database import RecordDatabase, SpoiledDatabase, Work
from chalkbeam.record.events import Event, NewEvent, new_id
from chalkbeam.record.faults import fault
from chalkbeam.record.journal import LOCK_WAIT, Journal
from chalkbeam.record.meeting import check_whole, meet, mended
from chalkbeam.record.runs import (
    HEADING,
    Heading,
    Run,
    begun_body,
    by_place,
    event_body,
    event_of,
    is_event,
    latest_of,
)

_log = logging.getLogger(__name__)
_T = TypeVar("_T")


def record_file() -> Path:
    """Return the file of the shop's record (it need not exist yet)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "record.db"


def journal_of(record: Path) -> Path:
    """Return the file of the journal beside a record."""
    return record.with_name(f"{record.name}.journal")


def is_record(path: Path) -> bool:
    """Whether there is a record, or the journal that it is made from."""
    return path.is_file() or journal_of(path).is_file()


def utc_now() -> str:
    """Return the date and time (ISO 8601, UTC)."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Store:
    """An open record.

    Parameters
    ----------
    path : Path
        The database's file; made if it does not exist (its folder too), as is the journal
        beside it.
    press : str, optional
        Id of the press for a journal that has no line yet; one is made without.

    Attributes
    ----------
    journal : Journal

    Raises
    ------
    Refusal
        If a file cannot be opened, is damaged beyond what the other makes good, locked, or newer
        than this program.
    """

    def __init__(self, path: Path, lock_wait: float = LOCK_WAIT, press: str = "") -> None:
        self.path = Path(path)
        self._wait = lock_wait
        self._filled = 0
        self._database: RecordDatabase | None = None
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            if self.path.is_dir():
                raise IsADirectoryError("it is a folder")
        except OSError as error:
            raise fault(self.path, str(error)) from error
        if not prepare(self.path, journal_of(self.path), lock_wait):
            try:  # first: a file that is no record gets no journal
                self._database = RecordDatabase(self.path, lock_wait)
            except SpoiledDatabase as spoiled:
                raise fault(self.path, str(spoiled)) from spoiled
        try:
            self.journal = Journal(journal_of(self.path), press, lock_wait)
        except BaseException:
            self._close_database()
            raise
        try:
            self._ask(lambda work: None)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close the files."""
        self._close_database()
        self.journal.close()

    def _close_database(self) -> None:
        if self._database is not None:
            self._database.close()

    def tidy(self) -> None:
        """Do now what the database has put off, when nobody waits for it.

        SQLite carries its log over by itself after every thousand pages, which holds one act
        up in some two hundred.
        """
        if self._database is not None:
            self._database.tidy()

    def look_through(self) -> None:
        """Read the whole journal, and write it anew where its middle is damaged.

        For when nobody waits: a year of a busy shop takes some half a second.

        Raises
        ------
        Refusal
            If acts are lost that the database has not got either.
        """
        with self.journal.held():
            self._ask(lambda work: None)
            anew = self._database is not None and mended(self._database, self.journal)
        if anew:
            self.journal.close()
            self.journal = Journal(self.journal.path, lock_wait=self._wait)

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # -- runs ------------------------------------------------------------------------------

    def begin(
        self,
        plan: Plan,
        *,
        title: str,
        sheet: Path | None,
        digest: str,
        earlier: str | None = None,
        newest: str | None = "",
        carried: Sequence[NewEvent] = (),
        own_id: str = "",
    ) -> Run:
        """Record a new run and return it.

        Parameters
        ----------
        carried : sequence of NewEvent
            What is done already: on the disk with the run, or neither is.
        newest : str or None, optional
            Id of the latest run of this sheet that the caller knows of, None for none: another
            begun since is refused. Without it none is looked for.
        own_id : str, optional
            Its id, where it was begun elsewhere.

        Raises
        ------
        Refusal
            If the record cannot be written.
        """
        run = Run(
            own_id or new_id(), title, str(sheet or ""), digest, earlier, utc_now(),
            plan.stops, plan.as_listed, plan.by_hand,
        )  # fmt: skip
        session = new_id()
        events = [
            Event(
                new_id(), act.kind, act.imprint, act.step, act.data, 0, session, wall=run.begun
            )
            for act in carried
        ]  # fmt: skip
        work_text = snapshot.dump(plan.stops, plan.as_listed, plan.by_hand)
        heading = {name: getattr(run, name) for name in HEADING}

        def add(work: Work) -> None:
            if newest != "":
                known = latest_of(work.headings(), digest, sheet)
                if (known.id if known else None) != newest:
                    raise Refusal(
                        "Another window has begun a run of this sheet just now: close it there, "
                        "or go on with that run here by the same command."
                    )
            self._add(work, run, [begun_body(heading, work_text), *map(event_body, events)])

        self._ask(add, adds=True)
        return run

    def runs(self) -> list[Heading]:
        """Return every run, oldest first."""
        return self._ask(lambda work: work.headings())

    def run(self, run_id: str) -> Run:
        """Return the run whose id begins with `run_id`.

        Raises
        ------
        Refusal
            If there is none, or more than one.
        """

        def find(work: Work) -> Run | int:
            found = [each.id for each in work.headings() if each.id.startswith(run_id)]
            return work.run(found[0]) if run_id and len(found) == 1 else len(found)

        found = self._ask(find)
        if isinstance(found, Run):
            return found
        raise Refusal(
            f"The record {self.path} has {found if run_id else 'no'} runs whose id begins "
            f"with “{run_id}”: ",
            Remedy(RemedyKind.RUNS, "list the runs"),
            ".",
        )

    def latest(self, digest: str | None = None, sheet: Path | None = None) -> Run | None:
        """Return the run begun last; of the sheet with this digest or path, if any is given."""

        def find(work: Work) -> Run | None:
            found = latest_of(work.headings(), digest, sheet)
            return None if found is None else work.run(found.id)

        return self._ask(find)

    def runs_of(self, sheets: Iterable[Path]) -> dict[Path, list[Heading]]:
        """Return the runs of the sheets at these places, oldest first; of none that has none."""
        return by_place(self.runs(), sheets, str)

    # -- events ----------------------------------------------------------------------------

    def events(self, run: Run) -> list[Event]:
        """Return the run's events by sequence number."""
        return self._ask(lambda work: work.events(run.id))

    def everything(self, run: Run) -> list[Event]:
        """Return the run's events, too: nothing else happened in it."""
        return self.events(run)

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

        def add(work: Work) -> list[Event]:
            known = work.known([event.id for event in events])
            new = [event for event in events if event.id not in known]
            if after is not None and not known and work.newest(run.id) != after:
                raise Refusal(
                    "Another window is working on this run: close it there, then open "
                    "the run again here."
                )
            written = self._add(work, run, [event_body(event) for event in new])
            known |= {event.id: event for event in written}
            return [known[event.id] for event in events]

        return self._ask(add, adds=True)

    # -- journal and database --------------------------------------------------------------

    def _ask(self, question: Callable[[Work], _T], *, adds: bool = False) -> _T:
        """Answer a question of the database once it has all that the journal has.

        Where it is damaged it is made anew, once. Only what adds holds others up.
        """
        try:
            return self._answer(question, adds)
        except SpoiledDatabase as spoiled:
            self._set_aside(str(spoiled))
        try:
            return self._answer(question, adds)
        except SpoiledDatabase as spoiled:
            raise Refusal(
                f"The record {self.path} was made anew from its journal and is damaged again "
                f"({spoiled}): check the disk, and copy the folder to another one."
            ) from spoiled

    def _answer(self, question: Callable[[Work], _T], adds: bool) -> _T:
        with self.journal.held():
            if self._database is None:
                self._database = RecordDatabase(self.path, self._wait)
            if self._filled != self.journal.last or not self._filled:
                meet(self._database, self.journal)
                self._filled = self.journal.last
            if adds:
                return self._change(self._database, question)
        with self._database.looked_at() as work:
            return question(work)

    def _change(self, database: RecordDatabase, question: Callable[[Work], _T]) -> _T:
        try:
            with database.at_work() as work:
                answer = question(work)
        except (SpoiledDatabase, Refusal):
            if self.journal.last == self._filled:
                raise
            return answer  # it is on the disk; the database takes it in with the next act
        self._filled = self.journal.last
        return answer

    def _set_aside(self, said: str) -> None:
        """Take a damaged database away, for it to be made anew from a journal that is whole."""
        with self.journal.held():
            made_anew = self._database is not None and not self._database.is_there()
            if not made_anew:  # by another program, meanwhile
                check_whole(self.journal, self.path, said)
            self._close_database()
            self._database, self._filled = None, 0
            if made_anew:
                return
            kept = set_aside(self.path, "damaged")
            _log.warning(
                "The record %s was damaged (%s) and is made anew from its journal; nothing is "
                "lost. The damaged file is kept as %s.", self.path, said, kept.name,
            )  # fmt: skip

    def _add(self, work: Work, run: Run, bodies: Sequence[dict[str, Any]]) -> list[Event]:
        """Put acts into the journal; the database has them when its transaction ends."""
        if not bodies:
            return []
        with _letters_only():
            lines = self.journal.draft(run.id, bodies)
        places = work.add(lines)
        if self._database is not None and not self._database.is_in_place():
            raise Refusal(
                f"The record {self.path} was deleted, moved or replaced while it was in use, so "
                "nothing more is kept: leave the run and open it again; what was confirmed is in "
                "the journal beside it."
            )
        self.journal.add(lines)
        numbered = zip(lines, places, strict=True)
        return [event_of(line, seq) for line, seq in numbered if is_event(line)]


@contextmanager
def _letters_only() -> Iterator[None]:
    """Refuse what no line can hold."""
    try:
        yield
    except UnicodeEncodeError as error:
        raise Refusal(
            f"“{error.object.encode(errors='replace').decode()[:80]}” holds signs that are no "
            "letters, so that it cannot be kept: write it anew."
        ) from None
    except ValueError:
        raise Refusal(
            "What was done holds a number without end, so that it cannot be kept: check lengths "
            "and times in the sheet."
        ) from None
