"""Which column of a run sheet means what, whatever the shop calls it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from chalkbeam.basics.cells import BadCell, Cell
from chalkbeam.garments import is_size
from chalkbeam.orders.headings import HEADINGS, KNOWN, PER_IMPRINT

REQUIRED = ("style", "size", "location")
_UNITS = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeters": "mm", "millimeter": "mm",
    "cm": "cm", "in": "in", "inch": "in", "inches": "in", "s": "s", "sec": "s", "secs": "s",
    "second": "s", "seconds": "s", "min": "min", "minutes": "min", "c": "°C", "celsius": "°C",
    "f": "°F", "fahrenheit": "°F", "bar": "bar", "psi": "psi", "kpa": "kPa",
}  # fmt: skip
_ALONE = {"s": "time", "°C": "temperature", "°F": "temperature"}
"""What a heading means that is nothing but a unit: “Sec”."""
_ORDINALS = {
    word: turn
    for turn, words in enumerate(
        ("first 1st 1", "second 2nd 2", "third 3rd 3", "fourth 4th 4", "fifth 5th 5",
         "sixth 6th 6", "seventh 7th 7", "eighth 8th 8", "ninth 9th 9"),
        start=1,
    )
    for word in words.split()
}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column that is understood.

    Attributes
    ----------
    index : int
        Counted from 0.
    field : str
        Key of `headings.HEADINGS`.
    turn : int
        Which imprint it belongs to, from 1; 1 for columns that are not per imprint.
    unit : str
        Unit that the header gives for bare numbers; empty if none.
    title : str
        As the sheet writes it.
    given : str or None
        What it says for every row, where it stands above the header; its index is -1 then.
    """

    index: int
    field: str
    turn: int
    unit: str
    title: str
    given: str | None = None


def plain(text: str) -> str:
    """Return a header as it is compared: lower case, no accents, words parted by one space."""
    spelled = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(c if c.isalnum() else " " for c in spelled if not unicodedata.combining(c))
    return " ".join(letters.split())


def read_column(index: int, title: str) -> Column | None:
    """Return what a header means; None if it is not understood.

    A unit may follow in brackets or as the last word: ``Width (in)``, ``width mm``; two of them
    give none. The imprint may be counted anywhere: ``Location 2``, ``Art2``, ``Second design``.
    """
    words = plain(re.sub(r"([\"″”])", " in ", title)).split()
    if words and (match := re.fullmatch(r"([a-z]+)([1-9])", words[-1])) and match[1] in KNOWN:
        words[-1:] = [match[1], match[2]]
    turn = 0
    unit = ""
    doubtful = False
    for _ in range(3):
        if " ".join(words) in KNOWN:
            break
        if len(words) > 1 and not turn and (at := _ordinal(words)) is not None:
            turn = _ORDINALS[words.pop(at)]
        elif len(words) > 1 and words[-1] in _UNITS:
            other, unit = unit, _UNITS[words.pop()]
            doubtful = doubtful or bool(other and other != unit)
            if words[-1] in ("deg", "degrees", "degree"):
                words.pop()
    known = KNOWN.get(" ".join(words))
    alone = words[0] if len(words) == 1 and (len(words[0]) > 1 or "°" in title) else ""
    if known is None and not unit and _UNITS.get(alone) in _ALONE:  # not “S”, which is a size
        unit = _UNITS[alone]
        known = _ALONE[unit]
    if known == "size" and turn:  # a piece has one size: those that are counted are the prints'
        known = "print size"
    if known is None or (unit and unit not in HEADINGS[known].units):
        return None
    if turn > 1 and known not in PER_IMPRINT:
        return None
    return Column(index, known, turn or 1, "" if doubtful else unit, title)


def _ordinal(words: Sequence[str]) -> int | None:
    """Return where a header counts its imprints: “Location 2”, “Second location”, “Art 2 width”."""
    return next((at for at, word in reversed([*enumerate(words)]) if word in _ORDINALS), None)


@dataclass(frozen=True)
class Cells:
    """The columns of one imprint; None where the sheet has none."""

    artwork: Column | None
    location: Column | None
    platen: Column | None
    pad: Column | None


@dataclass(frozen=True)
class Header:
    """The header row, understood.

    Attributes
    ----------
    row : int
        Counted from 0.
    columns : tuple of Column
    unknown : tuple of (int, str)
        Columns that are not used: index and title.
    twice : tuple of (Column, Column)
        Columns that mean the same, where only one may.
    sizes : tuple of Column
        Columns of a size matrix: their titles are sizes, their cells how many of each.
    left_out : mapping of int to str
        Columns that are left out on purpose, their titles being in brackets.
    """

    row: int
    columns: tuple[Column, ...]
    unknown: tuple[tuple[int, str], ...]
    twice: tuple[tuple[Column, Column], ...]
    sizes: tuple[Column, ...] = ()
    left_out: Mapping[int, str] = field(default_factory=dict)

    @property
    def missing(self) -> tuple[str, ...]:
        """Required columns that are not there."""
        fields = {column.field for column in self.columns}
        if fields & {"name", "number"}:
            fields.add("location")
        if self.sizes:
            fields.add("size")
        return tuple(each for each in REQUIRED if each not in fields)

    @property
    def understood(self) -> int:
        """How many columns are understood."""
        return len(self.columns) + len(self.sizes)

    def has(self, name: str, turn: int = 1) -> bool:
        """Whether there is a column of a field for an imprint."""
        return any((each.field, each.turn) == (name, turn) for each in self.columns)


def read_header(index: int, row: Sequence[Cell]) -> Header:
    """Return a row taken as the header."""
    columns: list[Column] = []
    unknown: list[tuple[int, str]] = []
    twice: list[tuple[Column, Column]] = []
    left_out: dict[int, str] = {}
    for place, cell in enumerate(row):
        if isinstance(cell, BadCell) or not cell:
            continue
        if re.fullmatch(r"\(.+\)|\[.+\]", cell):
            left_out[place] = cell
            continue
        column = read_column(place, cell)
        if column is None:
            unknown.append((place, cell))
            continue
        same = [c for c in columns if (c.field, c.turn) == (column.field, column.turn)]
        if same and column.field in PER_IMPRINT and column.turn == 1:
            turn = 1 + max(c.turn for c in columns if c.field == column.field)
            column = Column(place, column.field, turn, column.unit, cell)
        elif same:
            twice.append((same[0], column))
            continue
        columns.append(column)
    columns = [_as_artwork(column, columns) for column in columns]
    across = [(place, title) for place, title in unknown if is_size(title)]
    if len(across) < 2 or any(column.field == "size" for column in columns):
        across = []
    return Header(
        index,
        tuple(columns),
        tuple(each for each in unknown if each not in across),
        tuple(twice),
        tuple(Column(place, "quantity", 1, "", title) for place, title in across),
        left_out,
    )


def _as_artwork(column: Column, columns: Sequence[Column]) -> Column:
    """Return a column headed “Transfer” as what it is: the artwork, where no other one says it."""
    turns = {each.turn for each in columns if each.field == "artwork"}
    if column.field != "transfer" or column.turn in turns or plain(column.title) in _PRODUCTS:
        return column
    return replace(column, field="artwork")


_PRODUCTS = frozenset(HEADINGS["transfer"].also)
"""Headings that can mean a product only."""


def find_header(rows: Sequence[Sequence[Cell]], within: int = 20) -> Header | None:
    """Return the row, of the first `within`, with the most columns understood; at least two."""
    headers = (read_header(index, row) for index, row in enumerate(rows[:within]))
    best = max(headers, key=lambda header: header.understood, default=None)
    return best if best and best.understood >= 2 else None
