"""The cells of one row of a run sheet: their text, lengths, times, and what is wrong with them."""

from __future__ import annotations

import re

from calibration.refusal import Refusal
from chalkbeam.basics.cells import BadCell, Merged, Row
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.orders.headers import Column, Header
from chalkbeam.orders.pieces import PressSettings
from chalkbeam.orders.problems import Problem

_BARE = re.compile(r"\d+(?:[.,]\d+)?(?:\s*[-–]\s*\d+(?:[.,]\d+)?)?")
"""A number or a range without a unit."""
LONGEST_PRESS = 3600.0
"""s; an hour is far beyond any transfer; common practice, no source."""
_DURATION = re.compile(r"(\d+(?:[.,]\d+)?)\s*(s|sec|secs|second|seconds|min|minute|minutes)\.?")


class RowCells:
    """Reads the cells of one row at a time and collects what is wrong.

    Attributes
    ----------
    columns : dict of (field, turn) to Column
    problems : list of Problem
    row : Row
        The current row, …
    number : int
        … and its number in the spreadsheet.
    """

    def __init__(self, header: Header, unit: Unit | None) -> None:
        self._unit = unit
        self.columns = {(column.field, column.turn): column for column in header.columns}
        self.problems: list[Problem] = []
        self.row: Row = ()
        self.number = 0

    def take(self, number: int, row: Row) -> None:
        """Go on to the row with this spreadsheet number."""
        self.row, self.number = row, number

    def problem(self, row: int, column: Column | None, message: str) -> None:
        """Add a problem; row 0 is the whole sheet."""
        place, title = (column.index, column.title) if column else (-1, "")
        self.problems.append(Problem(row, place, title, message.rstrip(".") + "."))

    def wrong(self, column: Column | None, message: str) -> None:
        """Add a problem of the current row."""
        self.problem(self.number, column, message)

    def column(self, field: str, turn: int = 1) -> Column | None:
        """Return the column of a field for an imprint, counted from 1; None if there is none."""
        return self.columns.get((field, turn))

    def cell(self, field: str, turn: int = 1) -> str:
        """Return a cell's text; empty, with a problem, where it holds none."""
        column = self.column(field, turn)
        if column is None or column.index >= len(self.row):
            return ""
        cell = self.row[column.index]
        if isinstance(cell, BadCell):
            self.wrong(column, cell.reason)
            return ""
        return cell.strip()

    def shared(self, field: str, turn: int) -> str:
        """Return a cell of this imprint's own column, else of the one for the whole row."""
        return self.cell(field, turn if self.column(field, turn) else 1)

    def length(self, field: str, text: str, turn: int = 1) -> float | None:
        """Return a length of a field's cell in mm; None, with a problem, if it is none."""
        column = self.column(field, turn)
        if not text or column is None:
            return None
        try:
            if column.unit and re.fullmatch(r"[\d\s.,/⁄½¼¾⅛⅜⅝⅞-]+", text):
                text = f"{text} {column.unit}"
            length = parse_length(text, self._unit)
            if not 1 <= length <= 2000:
                raise Refusal(f"“{text}” cannot be: the length must be from 1 mm to 2 m")
        except Refusal as refusal:
            self.wrong(column, str(refusal))
            return None
        return length

    def seconds(self, field: str, turn: int) -> tuple[str, float | None]:
        """Return a duration as written, and in seconds if it is one plain duration."""
        column, text = self.column(field, turn), self.cell(field, turn)
        if column and _BARE.fullmatch(text):
            if not column.unit:
                self.wrong(column, f"“{text}” has no unit: write {text} s as the supplier gives it")
                return text, None
            text = f"{text} {column.unit}"
        match = _DURATION.fullmatch(text.lower())
        if match is None:
            return text, None
        seconds = float(match[1].replace(",", ".")) * (60 if match[2].startswith("m") else 1)
        if seconds > LONGEST_PRESS:
            self.wrong(column, f"“{text[:40]}” is no time that a press stays closed: check it")
            return text, None
        return text, seconds

    def press(self, turn: int) -> PressSettings:
        """Return the press settings of an imprint, word for word."""

        def cell(field: str) -> str:
            text = self.shared(field, turn)
            unit = (self.column(field, turn) or self.column(field) or _NO_COLUMN).unit
            return f"{text} {unit}" if unit and _BARE.fullmatch(text) else text

        temperature = cell("temperature")
        if _BARE.fullmatch(temperature):
            self.wrong(
                self.column("temperature", turn) or self.column("temperature"),
                f"“{temperature}” has no unit: write {temperature} °C or {temperature} °F "
                "as the supplier gives it",
            )
        time, dwell = self.seconds("time", turn if self.column("time", turn) else 1)
        pre, pre_dwell = self.seconds("prepress", turn if self.column("prepress", turn) else 1)
        return PressSettings(
            temperature, time, cell("pressure"), cell("peel"), pre, dwell, pre_dwell
        )

    def is_bad(self, column: Column) -> bool:
        """Whether the cell in a column holds no text."""
        return column.index < len(self.row) and isinstance(self.row[column.index], BadCell)

    def is_merged(self, column: Column) -> bool:
        """Whether the cell in a column is merged with others above or below."""
        return column.index < len(self.row) and isinstance(self.row[column.index], Merged)


_NO_COLUMN = Column(-1, "", 1, "", "")
