"""Which column of a run sheet means what, whatever the shop calls it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from chalkbeam.basics.cells import BadCell, Cell

ALSO_CALLED: dict[str, tuple[str, ...]] = {
    "style": ("garment", "garment style", "item", "product", "article", "garment type"),
    "size": ("sz", "garment size"),
    "fit": ("cut", "gender"),
    "colour": (
        "color", "fabric colour", "fabric color", "fabric", "garment colour", "garment color",
        "cloth", "cloth colour", "cloth color", "shirt colour", "shirt color", "col",
    ),
    "quantity": (
        "qty", "quant", "count", "pieces", "pcs", "number of pieces", "no of pieces", "amount",
        "how many",
    ),
    "location": ("placement", "position", "print location", "art location", "where"),
    "artwork": ("art", "design", "file", "art file", "artwork file", "transfer", "image", "motif"),
    "width": ("art width", "print width", "artwork width", "w"),
    "height": ("art height", "print height", "artwork height", "h"),
    "name": ("player name", "wearer", "personalisation", "personalization", "lettering"),
    "number": ("player number", "squad number", "no", "nr", "figure", "figures"),
    "name location": ("name placement", "name position"),
    "number location": ("number placement", "number position"),
    "name width": (),
    "name height": (),
    "number width": (),
    "number height": (),
    "note": ("notes", "comment", "comments", "remark", "remarks", "instructions"),
    "temperature": ("temp", "press temperature", "heat"),
    "time": ("press time", "dwell", "dwell time", "duration"),
    "pressure": ("press pressure",),
    "peel": ("peeling",),
    "prepress": ("pre press", "preheat", "pre heat", "prepress time", "pre press time"),
    "platen": ("platen size", "lower platen"),
    "pad": ("press pad", "foam", "foam pad", "pillow"),
    "order": ("run order", "sequence", "press order", "rank"),
}  # fmt: skip
"""Our words, and what else shops write in a header; compared without case, accents, marks."""

PER_IMPRINT = frozenset(
    {"location", "artwork", "width", "height", "temperature", "time", "pressure", "peel",
     "prepress", "platen", "pad"}
)  # fmt: skip
"""Columns that may come again for a second imprint: “Location 2”, or “Location” twice."""

REQUIRED = ("style", "size", "location")
_UNITS = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeters": "mm", "millimeter": "mm",
    "cm": "cm", "in": "in", "inch": "in", "inches": "in", "s": "s", "sec": "s", "secs": "s",
    "second": "s", "seconds": "s", "min": "min", "minutes": "min", "c": "°C", "celsius": "°C",
    "f": "°F", "fahrenheit": "°F", "bar": "bar", "psi": "psi", "kpa": "kPa",
}  # fmt: skip
_FITTING = {
    "width": ("mm", "cm", "in"),
    "height": ("mm", "cm", "in"),
    "name width": ("mm", "cm", "in"),
    "name height": ("mm", "cm", "in"),
    "number width": ("mm", "cm", "in"),
    "number height": ("mm", "cm", "in"),
    "time": ("s", "min"),
    "prepress": ("s", "min"),
    "temperature": ("°C", "°F"),
    "pressure": ("bar", "psi", "kPa"),
}
_KNOWN = {spelling: field for field, others in ALSO_CALLED.items() for spelling in (field, *others)}


@dataclass(frozen=True)
class Column:
    """One column that is understood.

    Attributes
    ----------
    index : int
        Counted from 0.
    field : str
        Key of `ALSO_CALLED`.
    turn : int
        Which imprint it belongs to, from 1; 1 for columns that are not per imprint.
    unit : str
        Unit that the header gives for bare numbers; empty if none.
    title : str
        As the sheet writes it.
    """

    index: int
    field: str
    turn: int
    unit: str
    title: str


def plain(text: str) -> str:
    """Return a header as it is compared: lower case, no accents, words parted by one space."""
    spelled = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(c if c.isalnum() else " " for c in spelled if not unicodedata.combining(c))
    return " ".join(letters.split())


def read_column(index: int, title: str) -> Column | None:
    """Return what a header means; None if it is not understood.

    A unit may follow in brackets or as the last word: ``Width (in)``, ``width mm``; two of them
    give none. So may the imprint's number: ``Location 2``, ``Art2``.
    """
    words = plain(re.sub(r"([\"″”])", " in ", title)).split()
    if words and (match := re.fullmatch(r"([a-z]+)([1-9])", words[-1])) and match[1] in _KNOWN:
        words[-1:] = [match[1], match[2]]
    turn = 1
    unit = ""
    doubtful = False
    for _ in range(2):
        if len(words) > 1 and re.fullmatch(r"[1-9]", words[-1]):
            turn = int(words.pop())
        elif len(words) > 1 and " ".join(words) not in _KNOWN and words[-1] in _UNITS:
            other, unit = unit, _UNITS[words.pop()]
            doubtful = doubtful or bool(other and other != unit)
            if words[-1] in ("deg", "degrees", "degree"):
                words.pop()
    field = _KNOWN.get(" ".join(words))
    if field is None or (unit and unit not in _FITTING.get(field, ())):
        return None
    if turn > 1 and field not in PER_IMPRINT:
        return None
    return Column(index, field, turn, "" if doubtful else unit, title)


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
    """

    row: int
    columns: tuple[Column, ...]
    unknown: tuple[tuple[int, str], ...]
    twice: tuple[tuple[Column, Column], ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """Required columns that are not there."""
        fields = {column.field for column in self.columns}
        if fields & {"name", "number"}:
            fields.add("location")
        return tuple(field for field in REQUIRED if field not in fields)


def read_header(index: int, row: Sequence[Cell]) -> Header:
    """Return a row taken as the header."""
    columns: list[Column] = []
    unknown: list[tuple[int, str]] = []
    twice: list[tuple[Column, Column]] = []
    for place, cell in enumerate(row):
        if isinstance(cell, BadCell) or not cell:
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
    return Header(index, tuple(columns), tuple(unknown), tuple(twice))


def find_header(rows: Sequence[Sequence[Cell]], within: int = 20) -> Header | None:
    """Return the row, of the first `within`, with the most columns understood; at least two."""
    headers = (read_header(index, row) for index, row in enumerate(rows[:within]))
    best = max(headers, key=lambda header: len(header.columns), default=None)
    return best if best and len(best.columns) >= 2 else None
