"""Where earlier runs are read: a record in a file, or the queue of several presses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from calibration.refusal import Refusal
from chalkbeam.record.events import Event
from chalkbeam.record.runs import Heading, Run
from chalkbeam.record.store import Store, is_record


class RunSource(Protocol):
    """What tells of runs that were begun; as of `Store`."""

    def runs(self) -> Sequence[Heading]:
        """Return every run, oldest first."""

    def run(self, run_id: str) -> Run:
        """Return the run whose id begins so."""

    def latest(self, digest: str | None = None, sheet: Path | None = None) -> Run | None:
        """Return the run begun last; of the sheet with this digest or path, if any is given."""

    def events(self, run: Run) -> Sequence[Event]:
        """Return what happened in a run, in order."""


class NoRuns:
    """A source where nothing was begun yet."""

    def runs(self) -> Sequence[Heading]:
        """Return no run."""
        return ()

    def run(self, run_id: str) -> Run:
        """Refuse: there is none."""
        raise Refusal(f"There is no run {run_id} yet: the record begins with the first one.")

    def latest(self, digest: str | None = None, sheet: Path | None = None) -> Run | None:
        """Return None."""
        return None

    def events(self, run: Run) -> Sequence[Event]:
        """Return nothing."""
        return ()


@contextmanager
def runs_in(record: Path) -> Iterator[RunSource]:
    """Give the runs of a record in a file; none is made for looking."""
    if not is_record(record):
        yield NoRuns()
        return
    with Store(record) as store:
        yield store
