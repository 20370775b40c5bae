"""Saving what can still be read of a damaged record: its journal, read again.

What the journal lacks and the database still has is taken from there. What neither has keeps
its number, with a line that says that it is lost.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.record import old_record, snapshot
from chalkbeam.record.journal_lines import JournalLine, Torn, parse_line, scan
from chalkbeam.record.migrations import WITHOUT_JOURNAL, check_known
from chalkbeam.record.runs import BEGUN, LOST, begun_body, is_event
from chalkbeam.record.store import Store, journal_of

HIGHEST_VERSION = 999
"""A version mark beyond it is damage, not a newer program's: the record is rescued all the same."""
_JOURNAL = ".journal"


@dataclass(frozen=True)
class Gap:
    """Acts in a row that could not be read.

    Attributes
    ----------
    first, last : int
        Their numbers.
    after, before : str
        Date and time (ISO 8601, UTC) of the acts on either side; empty if there is none.
    """

    first: int
    last: int
    after: str
    before: str

    def __str__(self) -> str:
        which = f"act {self.first}" if self.first == self.last else (
            f"acts {self.first} to {self.last}"
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
        Acts known to have been there that could not be read.
    orphans : tuple of str
        Ids of runs that are lost themselves, with their order of work: their events are
        saved, but they cannot be gone on with.
    sure : str
        What goes before the number of lost acts: empty where it is known, else "at least ".
    """

    runs: int
    events: int
    gaps: tuple[Gap, ...] = ()
    orphans: tuple[str, ...] = ()
    sure: str = ""

    @property
    def lost(self) -> int:
        """How many acts could not be read."""
        return sum(gap.last - gap.first + 1 for gap in self.gaps)


@dataclass(frozen=True)
class _Found:
    """Lines that can be read, the highest number known, and whether there can be none after it."""

    lines: Mapping[int, JournalLine] = field(default_factory=dict)
    highest: int = 0
    sure: bool = True


def rescue(damaged: Path, fresh: Path) -> Rescued:
    """Copy every act that can be read into a new record; the old one stays as it is.

    Parameters
    ----------
    damaged : Path
        The record, or its journal.
    fresh : Path
        The new record; its journal is made beside it.

    Raises
    ------
    Refusal
        If the new file exists, the record is of a newer version, or nothing can be read.
    """
    if damaged.name.endswith(_JOURNAL):
        damaged = damaged.with_name(damaged.name.removesuffix(_JOURNAL))
    for file in (fresh, journal_of(fresh)):
        if file.exists():
            raise Refusal(f"{file} exists already: give the rescued record another name.")
    if not damaged.is_file() and not journal_of(damaged).is_file():
        raise Refusal(f"There is no record {damaged}: check the name.")
    try:
        found = _together(_in_journal(journal_of(damaged)), _in_database(damaged))
    except OSError as error:
        raise Refusal(f"{damaged} cannot be read: {error.strerror or error}.") from None
    if not found.lines:
        raise Refusal(f"Nothing can be read from {damaged}: keep the file, and begin a new record.")
    orphans = _orphans(found)
    _write(fresh, _without_gaps(found), orphans)
    saved = found.lines.values()
    return Rescued(
        sum(line.body.get("kind") == BEGUN for line in saved) + len(orphans),
        sum(is_event(line) for line in saved),
        tuple(_gaps(found)),
        tuple(line.run for line in orphans),
        "" if found.sure else "at least ",
    )


def _in_journal(path: Path) -> _Found:
    if not path.is_file():
        return _Found()
    items = list(scan(path))
    lines = {item.number: item for item in items if isinstance(item, JournalLine)}
    torn = any(isinstance(item, Torn) for item in items)
    return _Found(lines, max(lines, default=0), not torn)


def _in_database(path: Path) -> _Found:
    if not path.is_file():
        return _Found(sure=False)
    with tempfile.TemporaryDirectory(
        prefix="chalkbeam-"
    ) as folder:  # SQLite writes to what it opens
        copy = Path(folder) / "record.db"
        for ending in ("", "-wal"):
            with suppress(FileNotFoundError):
                shutil.copyfile(f"{path}{ending}", f"{copy}{ending}")
        with closing(sqlite3.connect(copy)) as raw:
            try:
                version = int(raw.execute("PRAGMA user_version").fetchone()[0])
            except sqlite3.Error:
                version = 0
            if version <= HIGHEST_VERSION:
                check_known(version)
            if 0 < version <= WITHOUT_JOURNAL:
                return _old(path)
            return _in_tables(raw)


def _in_tables(raw: sqlite3.Connection) -> _Found:
    """Ask for every row by itself, so that a damaged place costs what lies there."""
    lines: dict[int, JournalLine] = {}
    sound = False
    with suppress(sqlite3.Error):
        sound = raw.execute("PRAGMA integrity_check(1)").fetchone() == ("ok",)
    pages = 0
    with suppress(sqlite3.Error):
        pages = int(raw.execute("PRAGMA page_count").fetchone()[0])
    top = 0
    with suppress(sqlite3.Error, TypeError):
        top = int(raw.execute("SELECT max(seq) FROM lines").fetchone()[0])
    for seq in range(1, min(top, pages * _MOST_A_PAGE) + 1):
        with suppress(sqlite3.Error, AttributeError):
            for (text,) in raw.execute("SELECT line FROM lines WHERE seq = ?", (seq,)):
                line = parse_line(text.encode())
                if line is not None:
                    lines[line.number] = line
    return _Found(lines, max(lines, default=0), sound and len(lines) == top)


_MOST_A_PAGE = 40
"""Lines of a page of 4096 bytes; each has ids of 32 bytes."""


def _old(path: Path) -> _Found:
    """Give what is left of a record without a journal numbers: runs first, then events."""
    left = old_record.what_is_left(path)
    runs = sum(not act.seq for act in left.acts)
    lines = {}
    for place, act in enumerate(left.acts, start=1):
        number = runs + act.seq if act.seq else place
        lines[number] = JournalLine("old", number, act.run, act.body, (number, number))
    return _Found(lines, runs + left.highest, left.sure)


def _together(journal: _Found, database: _Found) -> _Found:
    """Return the lines of both; the journal's go first, and a group counts whole or not at all."""
    lines = dict(journal.lines)
    presses = Counter(line.press for line in lines.values() or database.lines.values())
    ((press, _),) = presses.most_common(1) or [("", 0)]
    for number, line in database.lines.items():
        if line.press == press:
            lines.setdefault(number, line)
    whole = {
        number: line
        for number, line in lines.items()
        if all(
            other in lines and lines[other].group == line.group
            for other in range(line.group[0], line.group[1] + 1)
        )
    }
    highest = max(journal.highest, database.highest)
    confirmed = database.sure and database.highest >= journal.highest
    return _Found(whole, highest, confirmed or (journal.sure and bool(journal.lines)))


def _numbers_lost(found: _Found) -> Iterator[int]:
    return (number for number in range(1, found.highest + 1) if number not in found.lines)


def _without_gaps(found: _Found) -> list[JournalLine]:
    press = next(iter(found.lines.values())).press
    return [
        found.lines.get(number) or JournalLine(press, number, "", {"kind": LOST}, (number, number))
        for number in range(1, found.highest + 1)
    ]


def _gaps(found: _Found) -> Iterator[Gap]:
    first = last = 0
    for number in [*_numbers_lost(found), 0]:
        if first and number != last + 1:
            yield Gap(first, last, _wall(found, first - 1), _wall(found, last + 1))
            first = 0
        first, last = first or number, number


def _wall(found: _Found, number: int) -> str:
    line = found.lines.get(number)
    return "" if line is None else str(line.body.get("wall") or line.body.get("begun") or "")


def _orphans(found: _Found) -> list[JournalLine]:
    """Return lines of a beginning, without any work, for runs whose own is lost."""
    begun = {line.run for line in found.lines.values() if line.body.get("kind") == BEGUN}
    made: dict[str, JournalLine] = {}
    for number in sorted(found.lines):
        line = found.lines[number]
        if line.run in begun or line.run in made or not is_event(line):
            continue
        heading = {
            "id": line.run, "title": "rescued", "sheet": "", "digest": "", "earlier": None,
            "begun": str(line.body.get("wall", "")),
        }  # fmt: skip
        own = found.highest + len(made) + 1
        body = begun_body(heading, snapshot.dump((), 0.0, 0.0))
        made[line.run] = replace(line, number=own, body=body, group=(own, own))
    return list(made.values())


def _write(fresh: Path, lines: list[JournalLine], orphans: list[JournalLine]) -> None:
    """Write a new record, whole or not at all."""
    with tempfile.TemporaryDirectory(dir=fresh.parent, prefix=".rescue-") as folder:
        draft = Path(folder) / "record.db"
        with journal_of(draft).open("wb") as file:
            for line in [*lines, *orphans]:
                file.write(f"{line.text}\n".encode())
        Store(draft).close()
        journal_of(draft).replace(journal_of(fresh))
        draft.replace(fresh)
