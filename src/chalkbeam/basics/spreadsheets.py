"""A run sheet's cells as text, from CSV in any of its dialects or from XLSX."""

from __future__ import annotations

import csv
import datetime
import hashlib
import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.files import read_whole
from calibration.refusal import Refusal

LARGEST = 50_000_000
"""Bytes beyond which a file is taken for a mistake; 100,000 rows are about 10 MB."""

DELIMITERS = (",", ";", "\t", "|")


@dataclass(frozen=True)
class BadCell:
    """A cell that holds no text: why."""

    reason: str


class Merged(str):
    """The text of a cell that is merged with others above or below: it stands for all of them."""


Cell = str | BadCell
Row = tuple[Cell, ...]


@dataclass(frozen=True)
class Table:
    """A file's cells.

    Attributes
    ----------
    dialects : tuple of (name, rows)
        The ways to read the file, of which a header decides: one per visible worksheet of
        XLSX, one per delimiter for text. ``rows[0]`` is row 1 of the spreadsheet.
    digest : str
        SHA-256 of the file's bytes.
    notes : tuple of str
        What the user should know of how it was read.
    worksheets : bool
        Whether the ways are worksheets: then the first that has a header counts.
    """

    dialects: tuple[tuple[str, tuple[Row, ...]], ...]
    digest: str
    notes: tuple[str, ...] = ()
    worksheets: bool = False


_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
"""The stream of a compound file that a locked XLSX is kept in ([MS-OFFCRYPTO] 2.3.4.4, names as in
[MS-CFB] 2.6.1; from memory)."""


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes.

    Raises
    ------
    Refusal
        If it cannot be read.
    """
    return hashlib.sha256(_bytes(path)).hexdigest()


def _bytes(path: Path) -> bytes:
    try:
        return read_whole(path, LARGEST)
    except FileNotFoundError:
        raise Refusal(f"There is no file {path}: check the name.") from None
    except OSError as error:
        raise Refusal(f"{path} cannot be read: {error.strerror or error}.") from None


def read_table(path: Path) -> Table:
    """Return the cells of a CSV (comma, semicolon, tab or bar) or XLSX file.

    Raises
    ------
    Refusal
        If the file cannot be read, or is neither.
    """
    raw = _bytes(path)
    digest = hashlib.sha256(raw).hexdigest()
    if raw[:4] == b"PK\x03\x04":
        return Table(_workbook(raw, path), digest, worksheets=True)
    if raw[:4] == b"\xd0\xcf\x11\xe0":
        if _ENCRYPTED in raw:
            raise Refusal(
                f"{path} is protected by a password: take the password off where it was made, or "
                "save it as CSV."
            )
        raise Refusal(f"{path} is an old XLS file: save it as XLSX or CSV.")
    if raw[:5] == b"%PDF-" or (b"\x00" in raw[:4096] and not _utf16(raw)):
        raise Refusal(f"{path} is not a table: save it as CSV or XLSX.")
    text, notes = _decode(raw, path)
    dialects = []
    for delimiter in DELIMITERS:
        try:
            dialects.append((delimiter, _delimited(text, delimiter)))
        except csv.Error:
            continue
    return Table(tuple(dialects), digest, notes)


def _delimited(text: str, delimiter: str) -> tuple[Row, ...]:
    """Return the rows of a text (RFC 4180, with any delimiter).

    Raises
    ------
    csv.Error
        If it is no such text.
    """
    lines = io.StringIO(text, newline="").readlines()
    reader = csv.reader(lines, delimiter=delimiter)
    rows: list[Row] = []
    begins = 0
    for row in reader:
        rows.append(tuple(cell.strip() for cell in row))
        if reader.line_num == len(lines) and row and _left_open(lines[begins:], delimiter):
            rows[-1] = (*rows[-1][:-1], BadCell(_OPEN))
        begins = reader.line_num
    return tuple(rows)


_OPEN = "opens a quotation mark that is never closed: close it or take it out"


def _left_open(record: Sequence[str], delimiter: str) -> bool:
    """Whether a record ends within quotation marks."""
    try:
        list(csv.reader(record, delimiter=delimiter, strict=True))
    except csv.Error as error:
        return "unexpected end of data" in str(error)
    return False


def _utf16(raw: bytes) -> bool:
    return raw[:2] in (b"\xff\xfe", b"\xfe\xff")


def _decode(raw: bytes, path: Path) -> tuple[str, tuple[str, ...]]:
    if _utf16(raw):
        try:
            return raw.decode("utf-16"), ()
        except UnicodeDecodeError:
            raise Refusal(f"{path} is cut off or damaged: save it again as CSV.") from None
    try:
        return raw.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        note = "Not saved as UTF-8, so read as Windows-1252: check the accents in names."
        return raw.decode("cp1252", errors="replace"), (note,)


def _workbook(raw: bytes, path: Path) -> tuple[tuple[str, tuple[Row, ...]], ...]:
    """Return the title and the cells of every visible worksheet."""
    import openpyxl

    try:
        values = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=True)
        formulas = openpyxl.load_workbook(io.BytesIO(raw), read_only=True)
        merged = openpyxl.load_workbook(io.BytesIO(raw)) if _merges(raw) else None
        pages = []
        for page in values.worksheets:
            if page.sheet_state != "visible":
                continue
            rows = [
                tuple(_text(a, b) for a, b in zip(shown, written, strict=True))
                for shown, written in zip(
                    page.iter_rows(values_only=True),
                    formulas[page.title].iter_rows(values_only=True),
                    strict=True,
                )
            ]
            if merged is not None:
                for cells in merged[page.title].merged_cells.ranges:
                    _spread(rows, cells.min_row - 1, cells.max_row, cells.min_col - 1)
            pages.append((page.title, tuple(rows)))
    except Exception as error:  # a damaged file raises what zip, XML or cells are read by
        raise Refusal(
            f"{path} cannot be opened as XLSX: save it again from the spreadsheet, or as CSV."
        ) from error
    if not pages:
        raise Refusal(f"{path} has no visible worksheet: put the order on the first one.")
    return tuple(pages)


def _merges(raw: bytes) -> bool:
    """Whether any worksheet has merged cells, which take a slower reading to know."""
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        sheets = [name for name in archive.namelist() if name.startswith("xl/worksheets/")]
        return any(b"<mergeCell " in archive.read(name) for name in sheets)


def _spread(rows: list[Row], top: int, end: int, column: int) -> None:
    """Put a merged cell's text into the rows below that hold something; counted from 0."""
    if end - top < 2 or top >= len(rows) or column >= len(rows[top]):
        return
    text = rows[top][column]
    if not isinstance(text, str) or not text:
        return
    for index in range(top, min(end, len(rows))):
        row = rows[index]
        if column < len(row) and not is_blank(row):
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
        return str(int(shown)) if shown.is_integer() else repr(shown)
    if isinstance(shown, datetime.date | datetime.time | datetime.timedelta):
        return BadCell("was turned into a date by the spreadsheet: format it as text")
    text = str(shown).strip()
    if text.startswith("#") and text.rstrip("!?").isupper() and text[-1] in "!?AE":
        return BadCell(f"holds the error {text}: correct the formula")
    return text


def column_letter(index: int) -> str:
    """Return a spreadsheet's letters for a column counted from 0: A, B, … Z, AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def is_blank(row: Sequence[Cell]) -> bool:
    """Whether a row holds nothing."""
    return not any(row)
