"""A run sheet's cells as text, from CSV in any of its dialects or from XLSX."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from calibration.files import read_whole
from calibration.refusal import Refusal
from chalkbeam.basics.cells import MOST_CELLS, BadCell, Row, too_many_cells
from chalkbeam.basics.workbooks import read_workbook

LARGEST = 50_000_000
"""Bytes beyond which a file is taken for a mistake; 100,000 rows are about 10 MB."""

DELIMITERS = (",", ";", "\t", "|")


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
    hidden : mapping of str to tuple of int
        Numbers of the rows that a worksheet does not show, by its title.
    """

    dialects: tuple[tuple[str, tuple[Row, ...]], ...]
    digest: str
    notes: tuple[str, ...] = ()
    worksheets: bool = False
    hidden: Mapping[str, tuple[int, ...]] = field(default_factory=dict)


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
        pages = read_workbook(raw, path)
        ways = tuple((page.title, page.rows) for page in pages)
        hidden = {page.title: page.hidden for page in pages if page.hidden}
        return Table(ways, digest, worksheets=True, hidden=hidden)
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
            dialects.append((delimiter, _delimited(text, delimiter, path)))
        except csv.Error:
            continue
    return Table(tuple(dialects), digest, notes)


def _delimited(text: str, delimiter: str, path: Path) -> tuple[Row, ...]:
    """Return the rows of a text (RFC 4180, with any delimiter).

    Raises
    ------
    csv.Error
        If it is no such text.
    Refusal
        If it has too many cells.
    """
    lines = io.StringIO(text, newline="").readlines()
    reader = csv.reader(lines, delimiter=delimiter)
    rows: list[Row] = []
    begins = count = 0
    for row in reader:
        count += 1 + len(row)
        if count > MOST_CELLS:
            raise too_many_cells(path)
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
