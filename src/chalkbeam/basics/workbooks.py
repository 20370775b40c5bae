"""The cells of an XLSX file (ECMA-376, part 1, clause 18), within limits of size.

What a worksheet says of its own extent (`dimension`) is not believed: programs that write it
wrong would have rows and columns dropped without a word.
"""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.cells import MOST_CELLS, BadCell, Cell, Merged, Row, is_blank, too_many_cells

LARGEST_UNPACKED = 200_000_000
"""Bytes of all parts of a workbook; 100,000 rows of ten cells are a third of it."""

LAST_ROW = 1_048_576
"""Of a worksheet of any spreadsheet (ECMA-376 sets none; from memory)."""
_TAG = re.compile(rb"<(?:[\w.-]+:)?(row|mergeCell)\b([^<>]*)>")
_SAYS = re.compile(rb"\b(r|ref|hidden)\s*=\s*[\"']([^\"']*)[\"']")
_RANGE = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7}):\$?[A-Z]{1,3}\$?(\d{1,7})")


@dataclass(frozen=True)
class Worksheet:
    """One visible worksheet.

    Attributes
    ----------
    title : str
    rows : tuple of Row
        ``rows[0]`` is row 1 of the spreadsheet; what is empty at the ends is left out.
    hidden : tuple of int
        Rows that the spreadsheet does not show, by their numbers.
    """

    title: str
    rows: tuple[Row, ...]
    hidden: tuple[int, ...]


@dataclass
class _Shape:
    """What a worksheet's XML says of its rows."""

    hidden: list[int] = field(default_factory=list)
    merged: list[tuple[int, int, int]] = field(default_factory=list)
    """First row, last row and column, counted from 0."""


def read_workbook(raw: bytes, path: Path) -> tuple[Worksheet, ...]:
    """Return every visible worksheet.

    Raises
    ------
    Refusal
        If the file is damaged, too large once unpacked, or shows no worksheet.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            if sum(part.file_size for part in archive.infolist()) > LARGEST_UNPACKED:
                raise Refusal(
                    f"{path} is larger than {LARGEST_UNPACKED // 1_000_000} MB once unpacked, too "
                    "large for what it should hold: save the order alone to a file."
                )
            pages = tuple(_worksheets(raw, archive, path))
    except Refusal:
        raise
    except Exception as error:  # a damaged file raises what zip, XML or cells are read by
        raise Refusal(
            f"{path} cannot be opened as XLSX: save it again from the spreadsheet, or as CSV."
        ) from error
    if not pages:
        raise Refusal(f"{path} has no visible worksheet: put the order on the first one.")
    return pages


def _worksheets(raw: bytes, archive: zipfile.ZipFile, path: Path) -> Iterator[Worksheet]:
    import openpyxl

    values = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
    formulas = openpyxl.load_workbook(io.BytesIO(raw), read_only=True)
    count = 0
    for page in values.worksheets:
        if page.sheet_state != "visible":
            continue
        same = formulas[page.title]
        page.reset_dimensions()
        same.reset_dimensions()
        shape = _shape(archive.read(page._worksheet_path))  # openpyxl tells it in no other way
        rows: list[Row] = []
        pairs = zip(page.iter_rows(values_only=True), same.iter_rows(values_only=True), strict=True)
        for shown, written in pairs:
            count += 1 + len(shown)
            if count > MOST_CELLS:
                raise too_many_cells(path)
            rows.append(_ended(_text(a, b) for a, b in zip(shown, written, strict=True)))
        while rows and not rows[-1]:
            rows.pop()
        for top, end, column in shape.merged:
            count += max(0, min(end, len(rows)) - top)
            if count > MOST_CELLS:
                raise too_many_cells(path)
            _spread(rows, top, end, column)
        yield Worksheet(page.title, tuple(rows), tuple(shape.hidden))


def _shape(xml: bytes) -> _Shape:
    """Return what a worksheet says of its rows.

    Raises
    ------
    ValueError
        If its rows do not follow one another: some would be passed over.
    """
    shape = _Shape()
    row = 0
    for tag, attributes in _TAG.findall(xml):
        says = {name.decode(): value.decode() for name, value in _SAYS.findall(attributes)}
        if tag == b"row":
            number = int(says.get("r", row + 1))
            if not row < number <= LAST_ROW:
                raise ValueError(f"row {number} comes after row {row}")
            row = number
            if says.get("hidden") in {"1", "true"}:
                shape.hidden.append(row)
        elif (found := _RANGE.fullmatch(says.get("ref", ""))) is not None:
            shape.merged.append((int(found[2]) - 1, int(found[3]), _column(found[1])))
    return shape


def _column(letters: str) -> int:
    """Return a column's index, counted from 0, by its letters."""
    index = 0
    for letter in letters:
        index = 26 * index + ord(letter) - 64
    return index - 1


def _ended(cells: Iterator[Cell]) -> Row:
    """Return a row without what is empty at its end."""
    row = list(cells)
    while row and not row[-1]:
        row.pop()
    return tuple(row)


def _spread(rows: list[Row], top: int, end: int, column: int) -> None:
    """Put a merged cell's text into the rows below that hold something; counted from 0."""
    if end - top < 2 or top >= len(rows) or column >= len(rows[top]):
        return
    text = rows[top][column]
    if not isinstance(text, str) or not text:
        return
    for index in range(top, min(end, len(rows))):
        row = rows[index]
        if not is_blank(row):
            row = (*row, *[""] * (column + 1 - len(row)))
            rows[index] = (*row[:column], Merged(text), *row[column + 1 :])


def _text(shown: object, written: object) -> Cell:
    if shown is None:
        if isinstance(written, str) and written.startswith("="):
            return BadCell(
                "holds a formula that has never been worked out: open and save the file in the "
                "spreadsheet"
            )
        return ""
    if isinstance(shown, bool):
        return "yes" if shown else "no"
    if isinstance(shown, float):
        return str(int(shown)) if shown.is_integer() and abs(shown) < 1e15 else repr(shown)
    if isinstance(shown, datetime.date | datetime.time | datetime.timedelta):
        return BadCell("was turned into a date by the spreadsheet: format it as text")
    text = str(shown).strip()
    if text.startswith("#") and text.rstrip("!?").isupper() and text[-1] in "!?AE":
        return BadCell(f"holds the error {text}: correct the formula")
    return text
