"""The lines of a press's journal: their form, and how they are read, whatever befell the file."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, BinaryIO

from pydantic_core import from_json

LONGEST = 200_000_000
"""Bytes of a line beyond which it is damage; a run of 10,000 pieces takes a thousandth."""
WINDOW = 1 << 16
"""Bytes read at once in looking for a line."""
_SUM = 16


@dataclass(frozen=True)
class JournalLine:
    """One act at a press.

    Attributes
    ----------
    press : str
        Id of the press, made once.
    number : int
        Of the press's acts, from 1.
    run : str
        Id of the run that it is about.
    body : mapping
        What happened; plain JSON values.
    group : tuple of int
        First and last number of the acts that it stands or falls with.
    """

    press: str
    number: int
    run: str
    body: Mapping[str, Any]
    group: tuple[int, int]

    @cached_property
    def text(self) -> str:
        """The line as it is written, without its end.

        Raises
        ------
        ValueError
            If the body holds a number without end, or signs that are no letters (a
            `UnicodeEncodeError`).
        """
        said: dict[str, object] = {"press": self.press, "number": self.number, "run": self.run}
        if self.group != (self.number, self.number):
            said["group"] = self.group
        said["body"] = self.body
        content = json.dumps(said, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        return f"{_sum(content.encode())} {content}"


def parse_line(text: bytes) -> JournalLine | None:
    """Return the line that a text (without its end) is; None where it is spoiled."""
    content = text[_SUM + 1 :]
    if text[_SUM : _SUM + 1] != b" " or text[:_SUM] != _sum(content).encode():
        return None
    try:
        said = from_json(content)  # twice as quick as json.loads
        number = int(said["number"])
        first, last = (int(each) for each in said.get("group", (number, number)))
        body = dict(said["body"])
        return JournalLine(str(said["press"]), number, str(said["run"]), body, (first, last))
    except (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError):
        return None


def _sum(content: bytes) -> str:
    return hashlib.blake2b(content, digest_size=_SUM // 2).hexdigest()


@dataclass(frozen=True)
class Missing:
    """Numbers that no sound line bears though later ones are there."""

    first: int
    last: int


@dataclass(frozen=True)
class Torn:
    """Bytes at the end of a file that are no whole group."""

    count: int


@dataclass(frozen=True)
class JournalContent:
    """What a journal holds.

    Attributes
    ----------
    press : str
        Empty where there is no line.
    lines : tuple of JournalLine
    gaps : tuple of Missing
    torn : int
        Bytes at the end that count for nothing.
    """

    press: str
    lines: tuple[JournalLine, ...]
    gaps: tuple[Missing, ...]
    torn: int


def read_journal(path: Path) -> JournalContent:
    """Read a whole journal; nothing in it makes this fail.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    found = list(scan(path))
    lines = tuple(item for item in found if isinstance(item, JournalLine))
    return JournalContent(
        lines[0].press if lines else "",
        lines,
        tuple(item for item in found if isinstance(item, Missing)),
        sum(item.count for item in found if isinstance(item, Torn)),
    )


def scan(path: Path) -> Iterator[JournalLine | Missing | Torn]:
    """Return what a journal holds, one after the other; memory stays flat.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    with path.open("rb") as file:
        for item, _ in items(file):
            yield item


def items(
    file: BinaryIO, last: int = 0, press: str = ""
) -> Iterator[tuple[JournalLine | Missing | Torn, int]]:
    """Return what follows in a file, each with the place where its group ends.

    Parameters
    ----------
    last : int
        Number of the line before; negative where it is not known.
    press : str
        Whose lines count; empty for those of the first one.
    """
    place = counted = file.tell()
    group: list[JournalLine] = []
    while text := file.readline(LONGEST):
        place += len(text)
        line = parse_line(text[:-1]) if text.endswith(b"\n") else None
        if line is None or (press and line.press != press):
            group.clear()
            continue
        begins = line.number == line.group[0] > last
        follows = bool(group) and (line.number, line.group) == (
            group[-1].number + 1,
            group[-1].group,
        )
        if not follows:
            group.clear()
            if not begins:  # a group's rest, or what was told already
                continue
        group.append(line)
        if line.number == line.group[1]:
            if 0 <= last < line.group[0] - 1:
                yield Missing(last + 1, line.group[0] - 1), counted
            yield from ((each, place) for each in group)
            press, last, counted = line.press, line.number, place
            group.clear()
    if place > counted:
        yield Torn(place - counted), counted


def last_of(
    found: Iterator[tuple[JournalLine | Missing | Torn, int]],
) -> tuple[JournalLine, int] | None:
    """Return the last line of what `items` finds, and where it ends."""
    last = None
    for item, place in found:
        if isinstance(item, JournalLine):
            last = item, place
    return last


def last_line(file: BinaryIO, size: int) -> tuple[JournalLine, int] | None:
    """Return the last line that counts and where it ends, reading from the end."""
    window = WINDOW
    while True:
        start = max(0, size - window)
        file.seek(start)
        if start:
            file.readline(LONGEST)  # cut in two
        found = last_of(items(file, -1 if start else 0))
        if found is not None or not start:
            return found
        window *= 4


def begin_of(file: BinaryIO, number: int, press: str, end: int) -> int:
    """Return a place where a group begins, with no act beyond `number` before it."""
    low, high = 0, end
    while high - low > WINDOW:
        middle = (low + high) // 2
        file.seek(middle)
        file.readline(LONGEST)
        place, line = file.tell(), None
        while place < high:
            text = file.readline(LONGEST)
            line = parse_line(text[:-1])
            if line is not None and line.press == press and line.number == line.group[0]:
                break
            place, line = place + len(text), None
        if line is not None and line.number <= number:
            low = place
        else:
            high = middle
    return low
