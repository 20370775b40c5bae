"""An order as the page's table holds it: the sheet's own columns, and cells as text.

It is kept as a CSV file with its header in row 1.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.cells import BadCell, Cell, Merged, column_letter, is_blank
from chalkbeam.basics.spreadsheets import read_table
from chalkbeam.basics.units import Unit
from chalkbeam.orders.headers import Header, read_header
from chalkbeam.orders.headings import PER_IMPRINT
from chalkbeam.orders.rows import total_word
from chalkbeam.orders.sheet import headed
from chalkbeam.web.words import t

FIRST_ROW = 2
"""Row of the spreadsheet that the first row of a table is."""

MOST_ROWS, MOST_COLUMNS, LONGEST = 10_000, 60, 400
"""Rows and columns of a table, and letters of a cell."""

TITLES = (
    "Style", "Size", "Colour", "Quantity", "Location", "Artwork", "Width", "Fit", "Name",
    "Number", "Note",
)  # fmt: skip
"""Columns of an order that is typed in; what every order has is in sight on a tablet."""

MORE = (
    "Location 2", "Artwork 2", "Width 2", "Location 3", "Artwork 3", "Width 3", "Height",
    "Print size", "Transfer", "Temperature", "Time", "Pressure", "Peel", "Cooling", "Prepress",
    "Second press", "Platen", "Pad", "Pad place", "Collar place", "Sheet margin", "Sheet width",
    "Mirrored", "Turn", "Pick", "Page", "Name location", "Number location", "For", "Customer",
    "Order number", "Order",
)  # fmt: skip
"""Columns that may be added to it."""


@dataclass(frozen=True)
class OrderTable:
    """A table of cells.

    Attributes
    ----------
    titles : tuple of str
        The header, as the sheet writes it.
    rows : tuple of tuple of str
        Each as long as the header.
    """

    titles: tuple[str, ...] = TITLES
    rows: tuple[tuple[str, ...], ...] = ()

    @property
    def header(self) -> Header:
        """The header, understood."""
        return read_header(0, self.titles)

    def fields(self) -> tuple[str, ...]:
        """Return what each column means, a word of `headers.ALSO_CALLED`; empty if unknown."""
        known = {column.index: column.field for column in self.header.columns}
        return tuple(known.get(index, "") for index in range(len(self.titles)))

    @property
    def unit(self) -> Unit:
        """The unit that most of its widths and heights are written in."""
        found: Counter[Unit | None] = Counter()
        for index, field in enumerate(self.fields()):
            if field.endswith(("width", "height")):
                own = _unit(self.titles[index])
                found.update(_unit(row[index]) or own for row in self.rows if row[index].strip())
        return Unit.MM if found[Unit.MM] > found[Unit.INCH] else Unit.INCH

    def more_titles(self) -> tuple[str, ...]:
        """Return the columns that it has not and may be given."""
        here = {(column.field, column.turn) for column in self.header.columns}
        found = []
        for title in (*TITLES, *MORE):
            column = read_header(0, (title,)).columns[0]
            beside = read_header(0, (*self.titles, title)).columns[-1]
            if beside.field != column.field:  # “Transfer” is the artwork where nothing else is
                column = beside
            if (column.field, column.turn) not in here:
                found.append(title)
        return tuple(found)

    def with_column(self, title: str) -> OrderTable:
        """Return the table with one of `more_titles` as its last column."""
        if title not in self.more_titles() or len(self.titles) >= MOST_COLUMNS:
            return self
        return OrderTable((*self.titles, title), tuple((*row, "") for row in self.rows))

    def with_titles(self, titles: Mapping[int, str]) -> OrderTable:
        """Return the table with columns that are not understood called otherwise."""
        unknown = {index for index, _ in self.header.unknown}
        return replace(
            self,
            titles=tuple(
                titles.get(index, title) if index in unknown else title
                for index, title in enumerate(self.titles)
            ),
        )

    def with_rows(self, start: int, rows: Sequence[Sequence[str]]) -> OrderTable:
        """Return the table with rows from `start` on replaced or added; blank ones are dropped."""
        width = len(self.titles)
        new = [tuple(_cell(each) for each in (*row, *[""] * width)[:width]) for row in rows]
        every = (*self.rows[:start], *new, *self.rows[start + len(new) :])
        kept = tuple(row for row in every if any(row))
        if len(kept) > MOST_ROWS:
            raise Refusal(t("orders.too_many_rows", most=MOST_ROWS))
        return replace(self, rows=kept)

    def csv(self, above: Sequence[Sequence[str]] = ()) -> bytes:
        """Return the table as CSV (RFC 4180), UTF-8 with the mark that spreadsheets look for.

        Parameters
        ----------
        above : sequence of sequence of str
            Rows that stand above its header.
        """
        text = io.StringIO(newline="")
        csv.writer(text, lineterminator="\r\n").writerows([*above, self.titles, *self.rows])
        return text.getvalue().encode("utf-8-sig")


def _unit(text: str) -> Unit | None:
    """Return the unit that a length or a heading names, centimetres as millimetres."""
    if re.search(r"(mm|cm)\W*$", text, re.IGNORECASE):
        return Unit.MM
    return Unit.INCH if re.search(r"(in|inch|inches|[\"″])\W*$", text, re.IGNORECASE) else None


def _cell(text: str) -> str:
    return " ".join(text.replace("\0", "").split())[:LONGEST]


@dataclass(frozen=True)
class TakenSheet:
    """A sheet as taken over.

    Attributes
    ----------
    table : OrderTable
    remarks : tuple of str
        What of the sheet is not in the table, or is to be looked at there.
    numbers : tuple of int
        Row of the sheet that each row of the table is, as a spreadsheet counts.
    above : tuple of tuple of str
        What stands above its header.
    """

    table: OrderTable
    remarks: tuple[str, ...]
    numbers: tuple[int, ...]
    above: tuple[tuple[str, ...], ...] = ()


def take_over(path: Path, name: str) -> TakenSheet:
    """Return a sheet, CSV or XLSX, as a table.

    Parameters
    ----------
    path : Path
    name : str
        What its user calls it.

    Raises
    ------
    Refusal
        If it cannot be read, has no header row, or more than an order may have.
    """
    try:
        table = read_table(path)
        found = headed(table, path)
    except Refusal as refusal:
        raise Refusal(str(refusal).replace(str(path), name)) from None
    header, rows = found.header, found.rows
    width = min(MOST_COLUMNS, max(map(len, rows)))
    remarks = [*table.notes, *found.notes]
    if any(rows[: header.row]):
        remarks.append("What stands above the header is left out here.")
    titles = _titles(rows[header.row], header, width)
    quantity = {each.index for each in header.columns if each.field == "quantity"}
    taken: list[tuple[str, ...]] = []
    numbers: list[int] = []
    for at, row in enumerate(rows[header.row + 1 :], start=header.row + 2):
        if is_blank(row):
            continue
        if total := total_word(row):
            remarks.append(f"The row that begins with “{total}” is left out.")
            continue
        number = len(taken) + FIRST_ROW
        cells = []
        for index in range(width):
            cell: Cell = row[index] if index < len(row) else ""
            if isinstance(cell, BadCell):
                remarks.append(f"Row {number}, {titles[index]}: the cell {cell.reason}; now empty.")
                cell = ""
            elif isinstance(cell, Merged) and index in quantity:
                remarks.append(f"Row {number}, {titles[index]}: merged over rows; now empty.")
                cell = ""
            cells.append(_cell(cell))
        taken.append(tuple(cells))
        numbers.append(at)
        if len(taken) > MOST_ROWS:
            raise Refusal(t("orders.too_many_rows", most=MOST_ROWS))
    seen = tuple(dict.fromkeys(remarks))
    above = tuple(
        tuple("" if isinstance(cell, BadCell) else _cell(cell) for cell in row)
        for row in rows[: header.row]
    )
    return TakenSheet(OrderTable(titles, tuple(taken)), seen, tuple(numbers), above)


def _titles(row: Sequence[Cell], header: Header, width: int) -> tuple[str, ...]:
    """Return the titles, each readable; a column without one is called by its letter.

    Repeated ones (“Location” twice) are numbered, as the reader of sheets understands them.
    """
    turns = {column.index: column for column in header.columns}
    titles: list[str] = []
    for index in range(width):
        cell = row[index] if index < len(row) else ""
        title = "" if isinstance(cell, BadCell) else _cell(cell)
        column = turns.get(index)
        if column and column.turn > 1 and column.field in PER_IMPRINT and title in titles:
            title = f"{title} {column.turn}"
        if not title:
            title = f"column {column_letter(index)}"  # in brackets it would be left out
        titles.append(title)
    return tuple(titles)


def cells_of(form: Mapping[str, object], start: int, columns: int) -> Iterable[tuple[str, ...]]:
    """Yield the rows that a form brings, from row `start` on: fields `c-ROW-COLUMN`."""
    row = start
    while f"c-{row}-0" in form:
        yield tuple(str(form.get(f"c-{row}-{column}") or "") for column in range(columns))
        row += 1
