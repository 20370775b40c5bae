"""A size chart as shops keep it: cells of a spreadsheet to sizes, and every fault found.

A chart has a row for each size and a column for each measure, or the other way round.
Headers may be the shop's own words, lengths carry their unit in the cell or in the header,
and every fault is found in one reading, with its row and column.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

from calibration.refusal import Refusal
from chalkbeam.basics.cells import BadCell, Cell, Row, column_letter, is_blank
from chalkbeam.basics.spreadsheets import read_table
from chalkbeam.basics.units import MM_PER_INCH, parse_length
from chalkbeam.garments.charts.columns import (
    AGE_WORDS,
    FIT_WORDS,
    ChartColumn,
    column_of,
    header_of,
    unit_above,
)
from chalkbeam.garments.charts.judging import OTHERWISE, Judge
from chalkbeam.garments.charts.turned import Turned, turned
from chalkbeam.garments.library import (
    Size,
    age_of_size,
    find_size,
    find_style,
    fold,
    rules_of,
    same_size,
    style_sizes,
)
from chalkbeam.garments.model import AGES, FITS, Age, Fit, Measure
from chalkbeam.garments.schema import Style

BOX_TOLERANCE = MM_PER_INCH / 2
"""± mm between pieces of one box, where the shop does not say; common practice, no source."""

NO_UNIT = "The lengths have no unit: say which, in, cm or mm, or write it into the header."
"""What is asked, once, where bare numbers have no unit."""

_SUM = re.compile(r"(?:(?:sub|grand)[ -]?)?(?:total|sum|average|mean)s?\b", re.IGNORECASE)
"""How a line begins that sums up the others."""


class ChartProblem(NamedTuple):
    """A fault and its cell, as the spreadsheet numbers it ("" where it is the whole row's)."""

    row: int
    column: str
    sentence: str


@dataclass(frozen=True)
class ReadChart:
    """A chart as read; it can be stored if there are no problems.

    Attributes
    ----------
    sizes : tuple of Size
    rows : tuple of int
        The spreadsheet row of each size.
    problems : tuple of ChartProblem
    unused : tuple of str
        Headers that no measure goes by.
    left_out : tuple of str
        Rows that sum others up and are no size, in words.
    notes : tuple of str
        How lengths were understood that suppliers take otherwise.
    """

    sizes: tuple[Size, ...]
    rows: tuple[int, ...]
    problems: tuple[ChartProblem, ...]
    unused: tuple[str, ...]
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def _bare(cell: str) -> bool:
    """Whether a cell gives a number without a unit."""
    return not re.search(r"[a-z\"”″']", cell.lower())


_RANGE = re.compile(r"\d+(\.\d+)?\s*(-|–|to)\s*\d+(\.\d+)?\s*(in|cm|mm|[\"”″])?")


def _length(cell: str, column: ChartColumn) -> float:
    """Return a cell's length in mm.

    Raises
    ------
    Refusal
        If it is none.
    """
    if _RANGE.fullmatch(cell.strip()):
        raise Refusal(
            f"“{cell.strip()}” is a range, such as of the bodies that a size fits: a chart has the "
            "garment's own length, laid flat; leave this column out."
        )
    return parse_length(f"{cell} {column.unit}".strip() if _bare(cell) else cell)


def _age_of(
    words: str, size: str, fit: Fit, label: str, sizes: Mapping[tuple[Fit, str], Size]
) -> Age:
    if fold(words) in AGE_WORDS:
        return AGE_WORDS[fold(words)]
    if words:
        raise Refusal(f"“{words}” is no age group: write one of {', '.join(AGES)}.")
    told = age_of_size(size)
    try:
        return find_size(size, fit, label, sizes).age
    except Refusal:
        if told is not None:
            return told
        raise Refusal(
            f"Chalkbeam does not know the size “{size}”: add a column Age with one of "
            f"{', '.join(AGES)}."
        ) from None


def read_chart(
    path: Path,
    style: str,
    unit: str | None = None,
    fit: Fit = "regular",
    sure: bool = False,
) -> ReadChart:
    """Read a chart from CSV or XLSX: a row for each size, or a column for each.

    Parameters
    ----------
    path : Path
    style : str
        The built-in style that the garments are cut like.
    unit : {"in", "mm", "cm"}, optional
        Unit of bare numbers under headers without one.
    fit : Fit
        The fit of rows that do not say.
    sure : bool
        Whether lengths are believed however far they are from the usual.

    Raises
    ------
    Refusal
        If there is no such style, or the file is no table with a header that names sizes.
    """
    key, like, _ = find_style(style)
    known = style_sizes(key, like)
    measures = dict.fromkeys(
        [*(name for size in known.values() for name in size.given),
         *(rule.measure for rule, _ in rules_of(like))]
    )  # fmt: skip
    otherwise = [each for each, (ours, _) in OTHERWISE.items() if ours in measures]
    names = ["size", "age", "fit", *measures, *otherwise]
    found = _best(read_table(path).dialects, names, unit)
    if found is None:
        raise Refusal(
            f"{path.name} has no header with a column Size and a measure: name the columns Size, "
            f"{', '.join(name.replace('_', ' ').capitalize() for name in list(measures)[:2])}, …."
        )
    (start, columns, unused), rows, turn = found
    read = _Rows(columns, like, known, fit, sure).read(rows, start)
    twice = _named_twice(start + 1, columns)
    problems = (*twice, *read.problems)
    if turn is not None:
        told = (turn.at(each.row, each.column) for each in problems)
        problems = tuple(
            ChartProblem(row, column, each.sentence)
            for (row, column), each in zip(told, problems, strict=True)
        )
    return replace(read, problems=problems, unused=tuple(each for each in unused if each))


Found = tuple[tuple[int, list[ChartColumn], list[str]], Sequence[Row], Turned | None]


def _best(
    dialects: Sequence[tuple[str, Sequence[Row]]], names: Sequence[str], unit: str | None
) -> Found | None:
    """Return the way to read a file, as it stands or turned, that understands most measures."""
    ways: list[Found] = []
    for _, rows in dialects:
        if (header := header_of(rows, names, unit)) is not None:
            stated = unit or unit_above(rows[: header[0]])
            ways.append((header_of(rows, names, stated) or header, rows, None))
        turn = turned(rows, lambda text: column_of(0, text, names[3:], unit) is not None)
        if turn is not None:
            stated = unit or unit_above([*rows[: turn.row], rows[turn.row][: turn.columns[0]]])
            if (header := header_of(turn.rows, names, stated)) is not None:
                ways.append((header, turn.rows, turn))
    return max(ways, key=lambda way: len(way[0][1]), default=None)


def _named_twice(row: int, columns: Sequence[ChartColumn]) -> tuple[ChartProblem, ...]:
    first: dict[str, ChartColumn] = {}
    problems = []
    for column in columns:
        name = OTHERWISE.get(column.name, (column.name,))[0]
        if name in first:
            letter = column_letter(first[name].index)
            words = f"It means the same as column {letter}, {name.replace('_', ' ')}: leave one."
            problems.append(ChartProblem(row, column_letter(column.index), words))
        first.setdefault(name, column)
    return tuple(problems)


class _Rows:
    """Reads the rows of a chart one by one, and collects what is wrong."""

    def __init__(
        self,
        columns: Sequence[ChartColumn],
        like: Style,
        known: Mapping[tuple[Fit, str], Size],
        fit: Fit,
        sure: bool,
    ) -> None:
        self._columns, self._like, self._known, self._fit = columns, like, known, fit
        self._judge = Judge(like, known, sure)
        self._problems: list[ChartProblem] = []
        self._notes: list[str] = []
        self._no_unit = False

    def read(self, rows: Sequence[Row], start: int) -> ReadChart:
        """Return the chart below the header in row `start`, counted from 0."""
        sizes: list[Size] = []
        where: list[int] = []
        left_out: list[str] = []
        seen: dict[tuple[Fit, str], int] = {}
        problems = self._problems
        for number, row in enumerate(rows[start + 1 :], start=start + 2):
            if is_blank(row):
                continue
            first = next((cell for cell in row if isinstance(cell, str) and cell), "")
            if _SUM.match(first):
                left_out.append(f"row {number} “{first[:40]}”")
                continue
            before = len(problems)
            size = self._row(number, row)
            if size is None or len(problems) > before:
                continue
            key = (size.fit, size.name.upper())
            if key in seen:
                words = f"Size {size.name} stands in row {seen[key]} already."
                problems.append(ChartProblem(number, "", words))
                continue
            seen[key] = number
            sizes.append(size)
            where.append(number)
        if self._no_unit:  # asked once, however many there are
            problems.insert(0, ChartProblem(start + 1, "", NO_UNIT))
        if not sizes and not problems:
            problems.append(ChartProblem(start + 1, "", "There is no size below the header."))
        told = tuple(sorted(problems, key=lambda each: each[:2]))
        return ReadChart(tuple(sizes), tuple(where), told, (), tuple(left_out), tuple(self._notes))

    def _wrong(self, number: int, column: str, sentence: str) -> None:
        self._problems.append(ChartProblem(number, column, sentence))

    def _row(self, number: int, row: Row) -> Size | None:
        cells: dict[str, tuple[ChartColumn, str]] = {}
        for column in self._columns:
            cell: Cell = row[column.index] if column.index < len(row) else ""
            if isinstance(cell, BadCell):
                self._wrong(number, column_letter(column.index), f"It {cell.reason}.")
            elif cell:
                cells[column.name] = (column, cell)
        if "size" not in cells:
            self._wrong(number, "", "The row names no size.")
            return None
        size = self._named(number, cells)
        if size is None:
            return None
        if not cells:
            self._wrong(number, "", f"Size {size.name} has no measures.")
        lengths: dict[str, float] = {}
        for key, (column, cell) in cells.items():
            letter = column_letter(column.index)
            if _bare(cell) and not column.unit and re.search(r"\d", cell):
                self._no_unit = True
                continue
            try:
                lengths[key] = _length(cell, column)
            except Refusal as refusal:
                self._wrong(number, letter, str(refusal))
        judged = self._judge.row(size, lengths)
        for measure, sentence in judged.faults:
            self._wrong(number, column_letter(cells[measure][0].index), sentence)
        self._notes += judged.notes
        given = {
            name: Measure(length, BOX_TOLERANCE, source="the shop's chart")
            for name, length in judged.given.items()
        }
        return replace(size, given=given)

    def _named(self, number: int, cells: dict[str, tuple[ChartColumn, str]]) -> Size | None:
        """Return a row's size without its measures, and take its cells from the others."""
        name = cells.pop("size")[1].strip()
        age_word, fit_word = (cells.pop(key)[1] if key in cells else "" for key in ("age", "fit"))
        if fold(fit_word) not in FIT_WORDS:
            self._wrong(number, "", f"“{fit_word}” is no fit: write one of {', '.join(FITS)}.")
            return None
        fit = FIT_WORDS[fold(fit_word)] if fit_word else self._fit
        try:
            age = _age_of(age_word, name, fit, self._like.label, self._known)
        except Refusal as refusal:
            self._wrong(number, "", str(refusal))
            return None
        own = [size for (its_fit, _), size in self._known.items() if its_fit == fit]
        name = next((size.name for size in own if same_size(size.name, name)), name)
        return Size(name, age, fit, BOX_TOLERANCE, {})
