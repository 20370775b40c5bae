"""The cells of one row of a run sheet: their text, lengths, times, and what is wrong with them."""

from __future__ import annotations

import math
import re

from calibration.refusal import Refusal
from chalkbeam.artwork.setting import LEAST_SHARE
from chalkbeam.basics.cells import BadCell, Cell, Merged, Row
from chalkbeam.basics.units import Unit, parse_length
from chalkbeam.orders.headers import Column, Header
from chalkbeam.orders.pieces import PressSettings
from chalkbeam.orders.problems import Problem
from chalkbeam.orders.transfers import TransferProduct, find_transfer
from chalkbeam.placement.platens import parse_pad_place

_BARE = re.compile(r"\d+(?:[.,]\d+)?(?:\s*[-–]\s*\d+(?:[.,]\d+)?)?")
"""A number or a range without a unit."""
LONGEST_PRESS = 3600.0
"""s; an hour is far beyond any transfer; common practice, no source."""
_DURATION = re.compile(r"(\d+(?:[.,]\d+)?)\s*(s|sec|secs|second|seconds|min|minute|minutes)\.?")


_SIDE = re.compile(
    r"(?P<length>[^a-z]*?(?:\s*(?:mm|cm|in|inch|inches|[\"”″])\.?)?)"
    r"(?:\s*\b(?P<side>wide|width|w|across|high|height|h|tall)\.?)?",
    re.IGNORECASE,
)
_SAID = {
    "width": re.compile(r"\s*\b(wide|width|w|across)\.?$", re.IGNORECASE),
    "height": re.compile(r"\s*\b(high|height|h|tall)\.?$", re.IGNORECASE),
}
"""What of a cell says again what its header says."""
_YES = frozenset({"yes", "y", "x", "true", "1", "mirrored", "reversed", "✓"})
_NO = frozenset({"", "no", "n", "false", "0", "-"})


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
        if column is not None and column.given is not None:
            message = f"“{title}” above the header: {message}"
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
        return "" if column is None else self.text(column)

    def text(self, column: Column) -> str:
        """Return the text of the cell in a column, as `cell` does."""
        if column.given is not None:
            return column.given
        cell = self._raw(column)
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
        if (said := _SAID.get(field)) is not None:
            text = said.sub("", text)
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

    def ink_size(self, text: str, turn: int) -> tuple[float | None, float | None]:
        """Return width and height of ink, mm, from a print size: one length is its width.

        “3.5 in”, “3.5 in wide”, “4 in tall”, “10 x 12 in”, “10 in W x 12 in H”.
        """
        column = self.column("print size", turn)
        sides = [side.strip() for side in re.split(r"\s*[x×]\s*", text, flags=re.IGNORECASE)]
        if column is None or len(sides) > 2:
            if column is not None:
                self.wrong(column, f"“{text}” is no size of a print: write 3.5 in, or 10 x 12 in")
            return None, None
        read: dict[str, float | None] = {}
        last = _SIDE.fullmatch(sides[-1])
        for at, side in enumerate(sides):
            match = _SIDE.fullmatch(side)
            if match is None:
                self.wrong(column, f"“{text}” is no size of a print: write 3.5 in, or 10 x 12 in")
                return None, None
            length = match["length"]
            if at == 0 and last is not None and not re.search(r"[a-z\"”″]", length.lower()):
                unit = re.search(r"[a-zA-Z\"”″]+\.?$", last["length"])
                length += f" {unit[0]}" if unit else ""
            named = "height" if (match["side"] or " ").lower()[0] in "ht" else "width"
            usual = named if match["side"] else ("width", "height")[at]
            read[usual] = self.length("print size", length, turn)
        return read.get("width"), read.get("height")

    def truth(self, field: str, turn: int) -> bool:
        """Return what a cell of yes or no says; empty is no."""
        text = self.shared(field, turn).casefold()
        if text not in _YES and text not in _NO:
            self.wrong(
                self.column(field, turn) or self.column(field),
                f"“{text}” is neither yes nor no: write one of them",
            )
        return text in _YES

    def whole(self, field: str, turn: int) -> int | None:
        """Return a whole number from 1; None, with a problem, if a cell holds something else."""
        text = self.cell(field, turn)
        if not text:
            return None
        if not re.fullmatch(r"[1-9]\d{0,3}", text):
            self.wrong(self.column(field, turn), f"“{text}” is not a number from 1: write one")
            return None
        return int(text)

    def share(self, field: str) -> float | None:
        """Return a share from a cell in per cent; None, with a problem, if it is none."""
        text = self.cell(field)
        if not text:
            return None
        match = re.fullmatch(r"(\d{1,3}(?:[.,]\d+)?)\s*(?:%|per ?cent)?", text)
        share = float(match[1].replace(",", ".")) if match else 0.0
        if 0 < share <= 1 and "%" not in text:  # a spreadsheet's own way to write per cent
            share *= 100
        if not 100 * LEAST_SHARE <= share <= 100:
            self.wrong(
                self.column(field),
                f"“{text}” is no width to condense to: write {100 * LEAST_SHARE:.0f} to 100 %",
            )
            return None
        return share / 100

    def turned(self, turn: int) -> float | None:
        """Return how far artwork is turned in the garment frame, whose y is down, radians."""
        text = self.cell("turn", turn)
        match = re.fullmatch(r"([+-]?\d{1,3}(?:[.,]\d+)?)\s*(?:°|deg|degrees?)?", text)
        if not text:
            return None
        degrees = float(match[1].replace(",", ".")) if match else 999.0
        if abs(degrees) > 360:
            self.wrong(self.column("turn", turn), f"“{text}” is no turn: write degrees, such as 15")
            return None
        return -math.radians(degrees)

    def distance(self, name: str, turn: int) -> float | None:
        """Return a distance that may be negative, mm."""
        column, text = self.column(name, turn), self.cell(name, turn)
        if not text or column is None:
            return None
        try:
            bare = column.unit and re.fullmatch(r"[+-]?[\d\s.,/-]+", text)
            return parse_length(f"{text} {column.unit}" if bare else text, self._unit)
        except Refusal as refusal:
            self.wrong(column, str(refusal))
            return None

    def pad_place(self, turn: int) -> str:
        """Return where a pad lies, as written; with a problem if that is no place."""
        text = self.cell("pad place", turn)
        try:
            parse_pad_place(text)
        except Refusal as refusal:
            self.wrong(self.column("pad place", turn), str(refusal))
        return text

    def transfer(self, turn: int) -> tuple[str, TransferProduct]:
        """Return the transfer product of an imprint by its name; a blank one if none is named."""
        text = self.shared("transfer", turn)
        try:
            return find_transfer(text) if text else ("", TransferProduct())
        except Refusal as refusal:
            self.wrong(self.column("transfer", turn) or self.column("transfer"), str(refusal))
            return "", TransferProduct()

    def setting(self, field: str, turn: int) -> str:
        """Return what a cell says of a press setting, else the shop's shelf of the transfer."""
        return self.shared(field, turn) or self.transfer(turn)[1].said(field)

    def seconds(self, field: str, turn: int) -> tuple[str, float | None]:
        """Return a duration as written, and in seconds if it is one plain duration."""
        text = self.setting(field, turn)
        column = self.column(field, turn) or self.column(field)
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
            text = self.setting(field, turn)
            unit = (self.column(field, turn) or self.column(field) or _NO_COLUMN).unit
            return f"{text} {unit}" if unit and _BARE.fullmatch(text) else text

        temperature = cell("temperature")
        if _BARE.fullmatch(temperature):
            self.wrong(
                self.column("temperature", turn) or self.column("temperature"),
                f"“{temperature}” has no unit: write {temperature} °C or {temperature} °F "
                "as the supplier gives it",
            )
        time, dwell = self.seconds("time", turn)
        pre, pre_dwell = self.seconds("prepress", turn)
        second, second_dwell = self._second_press(turn)
        cooling, wait = self.seconds("cooling", turn)
        return PressSettings(
            temperature, time, cell("pressure"), cell("peel"), pre, dwell, pre_dwell,
            second, second_dwell, self.transfer(turn)[0], cooling, wait,
        )  # fmt: skip

    def _second_press(self, turn: int) -> tuple[str, float | None]:
        """Return the press after the peel as written, and its seconds if it begins with them."""
        text = self.setting("second press", turn)
        begins = re.match(r"[^,;(]+", text)
        if begins is not None and (match := _DURATION.match(begins[0].strip().lower())):
            return text, float(match[1].replace(",", ".")) * (60 if match[2][0] == "m" else 1)
        return self.seconds("second press", turn) if _BARE.fullmatch(text) else (text, None)

    def is_bad(self, column: Column) -> bool:
        """Whether the cell in a column holds no text."""
        return isinstance(self._raw(column), BadCell)

    def is_merged(self, column: Column) -> bool:
        """Whether the cell in a column is merged with others above or below."""
        return isinstance(self._raw(column), Merged)

    def _raw(self, column: Column) -> Cell:
        there = column.given is None and column.index < len(self.row)
        return self.row[column.index] if there else ""


_NO_COLUMN = Column(-1, "", 1, "", "")
