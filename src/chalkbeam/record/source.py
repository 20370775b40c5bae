"""Where earlier runs are read: a record in a file, or the queue of several presses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
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

    def runs_of(self, sheets: Iterable[Path]) -> Mapping[Path, Sequence[Heading]]:
        """Return the runs of the sheets at these places, oldest first; of none that has none."""

    def events(self, run: Run) -> Sequence[Event]:
        """Return how a run stands, in order: all that happened, or what came of it."""

    def everything(self, run: Run) -> Sequence[Event]:
        """Return all that happened in a run, in order."""


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

    def runs_of(self, sheets: Iterable[Path]) -> Mapping[Path, Sequence[Heading]]:
        """Return no run."""
        return {}

    def events(self, run: Run) -> Sequence[Event]:
        """Return nothing."""
        return ()

    def everything(self, run: Run) -> Sequence[Event]:
        """Return nothing."""
        return ()


class FirstOf:
    """Sources one after the other: what one does not know, the next may.

    Parameters
    ----------
    sources : RunSource
        At least one.
    """

    def __init__(self, *sources: RunSource) -> None:
        self._sources = sources

    def runs(self) -> Sequence[Heading]:
        """Return every run; those of the last source first, each source's oldest first."""
        return [each for source in reversed(self._sources) for each in source.runs()]

    def run(self, run_id: str) -> Run:
        """Return the run whose id begins so, of the first source that has such."""
        return self._of(run_id).run(run_id)

    def latest(self, digest: str | None = None, sheet: Path | None = None) -> Run | None:
        """Return the run begun last of the first source that has one."""
        found = (source.latest(digest, sheet) for source in self._sources)
        return next((run for run in found if run is not None), None)

    def runs_of(self, sheets: Iterable[Path]) -> Mapping[Path, Sequence[Heading]]:
        """Return the runs of the sheets at these places, the first source's last."""
        wanted, found = list(sheets), dict[Path, list[Heading]]()
        for source in reversed(self._sources):
            for sheet, runs in source.runs_of(wanted).items():
                found.setdefault(sheet, []).extend(runs)
        return found

    def events(self, run: Run) -> Sequence[Event]:
        """Return how a run stands."""
        return self._of(run.id).events(run)

    def everything(self, run: Run) -> Sequence[Event]:
        """Return all that happened in a run."""
        return self._of(run.id).everything(run)

    def _of(self, run_id: str) -> RunSource:
        for source in self._sources:
            if any(each.id.startswith(run_id) for each in source.runs()):
                return source
        return self._sources[0]


@contextmanager
def runs_in(record: Path) -> Iterator[RunSource]:
    """Give the runs of a record in a file; none is made for looking."""
    if not is_record(record):
        yield NoRuns()
        return
    with Store(record) as store:
        yield store
