"""A press's journal: every act is one line of its own file, on the disk before it counts.

A line is a check sum, a space and JSON, such as ``9b1f4e0c5a7d2c36 {"press":"…","number":12,
"run":"…","body":{…}}``. Lines are only ever added. Numbers run from 1 without a gap, for each
press its own, so that (press, number) names an act anywhere. Acts that belong together are a
*group*: their lines say its first and last number, and count all or not at all.

How to use it::

    journal = Journal(path)                       # made if it is not there
    lines = journal.append(run, [body, body])     # one group, one write, one wait for the disk
    journal.last                                  # number of the last line
    journal.lines_after(7)                        # in order, for whoever copies them elsewhere
    with journal.held():                          # nobody else appends meanwhile
        ...

`chalkbeam.record.journal_lines` reads a file at rest: its lines, what is missing, a torn end.
Several programs and threads may use one file. What is torn at the end was never confirmed, is
left in place and counts for nothing; what is damaged in the middle shows by the numbers that
are missing.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any

from calibration.refusal import Refusal
from chalkbeam.record.events import new_id
from chalkbeam.record.faults import fault
from chalkbeam.record.file_lock import locked
from chalkbeam.record.journal_lines import (
    JournalLine,
    Torn,
    begin_of,
    items,
    last_line,
    last_of,
)

LOCK_WAIT = 5.0
"""Seconds to wait for another program that is appending."""
_SPOILER = b"#\n"
"""Ends what is torn, which stays in place: never may it become a whole line."""


class Journal:
    """A press's journal, open to be added to.

    Parameters
    ----------
    path : Path
        Made if it is not there.
    press : str, optional
        Id of the press for a journal that has no line yet; one is made without.

    Attributes
    ----------
    press : str
    last : int
        Number of the last line; 0 where there is none.
    torn : int
        Bytes that were found torn at the end when it was opened.

    Raises
    ------
    Refusal
        If the file cannot be opened or written.
    """

    def __init__(self, path: Path, press: str = "", lock_wait: float = LOCK_WAIT) -> None:
        self.path, self.press, self.last, self.torn = Path(path), press or new_id(), 0, 0
        self._wait = lock_wait
        self._mine = threading.RLock()
        self._depth = 0
        self._end = self._size = 0  # of what counts, and of the file as last seen
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
        try:
            is_new = not self.path.exists()
            self._file = os.open(self.path, flags, 0o666)
            if is_new:
                sync_folder(self.path.parent)
        except OSError as error:
            raise fault(self.path, str(error)) from error
        try:
            with self.held():
                pass
        except BaseException:
            self.close()
            raise
        self.torn = self._size - self._end

    def close(self) -> None:
        """Close the file."""
        with suppress(OSError):
            os.close(self._file)
        self._file = -1

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def held(self) -> Iterator[None]:
        """Let no other program append; `last` is up to date inside.

        Raises
        ------
        Refusal
            If another program does not let go, or the file was taken away.
        """
        with self._mine, ExitStack() as lock:
            if not self._depth:
                try:
                    lock.enter_context(locked(self._file, self._wait))
                    self._look()
                except OSError as error:
                    raise fault(self.path, str(error)) from error
            self._depth += 1
            try:
                yield
            finally:
                self._depth -= 1

    def append(self, run: str, bodies: Sequence[Mapping[str, Any]]) -> tuple[JournalLine, ...]:
        """Add acts that stand or fall together; when this returns they are on the disk.

        Parameters
        ----------
        run : str
            Id of the run that they are about.
        bodies : sequence of mapping
            One for each act, at least one.

        Raises
        ------
        Refusal
            If they cannot be written; then nothing of them counts.
        ValueError
            As of `JournalLine.text`.
        """
        with self.held():
            lines = self.draft(run, bodies)
            self.add(lines)
            return lines

    def draft(self, run: str, bodies: Sequence[Mapping[str, Any]]) -> tuple[JournalLine, ...]:
        """Return the lines that `append` would add now; to be added before it is let go.

        Raises
        ------
        ValueError
            As of `JournalLine.text`.
        """
        first, last = self.last + 1, self.last + len(bodies)
        lines = tuple(
            JournalLine(self.press, number, run, body, (first, last))
            for number, body in enumerate(bodies, start=first)
        )
        for line in lines:
            _ = line.text  # so that what cannot be written is refused at once
        return lines

    def add(self, lines: Sequence[JournalLine]) -> None:
        """Add lines that have their numbers already, as another copy of the journal keeps them.

        Raises
        ------
        Refusal
            If they do not follow on the last one, or cannot be written.
        """
        content = "".join(f"{line.text}\n" for line in lines).encode()
        with self.held():
            follow = all(
                line.press == self.press and line.number == self.last + place
                for place, line in enumerate(lines, start=1)
            )
            if not follow:
                raise Refusal(
                    f"The journal {self.path} has other acts by now: leave the run, and open it "
                    "again."
                )
            self._write(_SPOILER + content if self._size > self._end else content)
            self.last = lines[-1].number

    def _write(self, content: bytes) -> None:
        rest = memoryview(content)
        try:
            while rest:
                rest = rest[os.write(self._file, rest) :]
            _sync(self._file)
        except OSError as error:
            with suppress(OSError):  # else it is found torn
                os.truncate(self._file, self._size)
            raise fault(self.path, str(error)) from error
        self._size += len(content)
        self._end = self._size

    def lines_after(self, number: int) -> Iterator[JournalLine]:
        """Return the lines with higher numbers in order, as far as they were on disk just now.

        A number that is missing is damaged. May be called from another thread than the one
        that appends.
        """
        end, press = self._end, self.press
        with self.path.open("rb") as file:
            file.seek(begin_of(file, number, press, end))
            for item, place in items(file, -1, press):
                if place > end or isinstance(item, Torn):
                    return
                if isinstance(item, JournalLine) and item.number > number:
                    yield item

    def _look(self) -> None:
        """See whether the file is in place, and what others have added."""
        state = os.fstat(self._file)
        if not _same_file(state, self.path) or state.st_size < self._end:
            raise Refusal(
                f"The journal {self.path} was deleted, moved, replaced or cut while it was in use, "
                "so nothing more is kept: leave the run, put the file back with those beside it, "
                "and open the run again."
            )
        if state.st_size == self._size:
            return
        with self.path.open("rb") as file:
            if self._end:
                file.seek(self._end)
                found = last_of(items(file, self.last, self.press))
            else:
                found = last_line(file, state.st_size)
        if found is not None:
            # Who wrote it may have been stopped before it was on the disk.
            _sync(self._file)
            line, self._end = found
            self.press, self.last = line.press, line.number
        self._size = state.st_size


def _same_file(state: os.stat_result, path: Path) -> bool:
    try:
        return os.path.samestat(state, path.stat())
    except OSError:
        return False


def _sync(file: int) -> None:
    getattr(os, "fdatasync", os.fsync)(file)


def sync_folder(folder: Path) -> None:
    """See to it that a new file's name is on the disk."""
    with suppress(OSError):  # not every system can
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)
