"""A size chart as shops keep it: cells of a spreadsheet to sizes, and every fault found.

A chart has a row for each size and a column for each measure. Headers may be
the shop's own words, lengths carry their unit in the cell or in the header, and
every fault is found in one reading, with its row and column.
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
from chalkbeam.garments.library import (
    Size,
    find_size,
    find_style,
    fold,
    rules_of,
    style_sizes,
)
from chalkbeam.garments.model import AGES, FITS, Age, Fit, Measure
from chalkbeam.garments.schema import Style

BOX_TOLERANCE = MM_PER_INCH / 2
"""± mm between pieces of one box, where the shop does not say; common practice, no source."""

ODD = (0.6, 1.6)
"""A length outside these shares of the built-in chart's is taken for a girth or a wrong unit."""

ALSO_CALLED: Mapping[str, tuple[str, ...]] = {
    "size": ("sz", "sizes", "garment size"),
    "age": ("age group", "group", "range"),
    "fit": ("cut", "gender"),
    "half_chest": (
        "chest", "chest width", "body width", "width", "chest flat", "pit to pit",
        "armpit to armpit", "chest half", "1 2 chest", "flat chest", "bust",
    ),
    "chest_girth": ("chest circumference", "full chest", "girth", "chest around"),
    "body_length": ("length", "body", "total length", "length from hps", "back length",
                    "hps length"),
    "sleeve_length": ("sleeve", "sleeve from shoulder seam"),
    "neck_width": ("neck", "neck opening", "collar width"),
    "front_neck_drop": ("neck drop", "front drop", "front neck"),
    "back_neck_drop": ("back drop", "back neck"),
    "shoulder_width": ("shoulder", "shoulders", "across shoulder", "shoulder to shoulder"),
    "pit_depth": ("armhole depth", "armhole", "hps to armpit", "shoulder to pit"),
    "hem_width": ("hem", "bottom width", "sweep"),
    "hip_width": ("hip", "hips"),
    "inseam": ("inside leg", "inner leg"),
    "panel_width": ("bag width",),
    "panel_height": ("bag height", "height"),
}  # fmt: skip
"""Our names for columns, and what else shops write; a measure's own name always counts too."""

_AGES: Mapping[str, Age] = {
    "infant": "infant", "baby": "infant", "infants": "infant", "toddler": "toddler",
    "toddlers": "toddler", "youth": "youth", "kids": "youth", "kid": "youth", "child": "youth",
    "children": "youth", "junior": "youth", "adult": "adult", "adults": "adult", "men": "adult",
    "mens": "adult", "women": "adult", "womens": "adult", "unisex": "adult",
}  # fmt: skip
_FITS: Mapping[str, Fit] = {
    "": "regular", "regular": "regular", "men": "regular", "mens": "regular",
    "unisex": "regular", "standard": "regular", "womens": "womens", "women": "womens",
    "woman": "womens", "ladies": "womens", "lady": "womens", "f": "womens", "m": "regular",
}  # fmt: skip
_UNITS = {"in": "in", "inch": "in", "inches": "in", "mm": "mm", "cm": "cm"}


_SUM = re.compile(r"(?:(?:sub|grand)[ -]?)?(?:total|sum|average|mean)s?\b", re.IGNORECASE)
"""How a line begins that sums up the others."""


class ChartProblem(NamedTuple):
    """A fault and its cell, as the spreadsheet numbers it ("" where it is the whole row's)."""

    row: int
    column: str
    sentence: str


@dataclass(frozen=True)
class ChartColumn:
    """A column that is understood: which measure, and the unit of its bare numbers."""

    index: int
    name: str
    unit: str


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
    """

    sizes: tuple[Size, ...]
    rows: tuple[int, ...]
    problems: tuple[ChartProblem, ...]
    unused: tuple[str, ...]
    left_out: tuple[str, ...] = ()


def _words(text: str) -> str:
    return " ".join(re.sub(r"[\W_]+", " ", text.lower()).split())


def _column(index: int, title: str, names: Sequence[str], unit: str | None) -> ChartColumn | None:
    words = _words(re.sub(r"[\"”″]", " in ", title)).split()
    found = unit or ""
    if len(words) > 1 and words[-1] in _UNITS:
        found = _UNITS[words.pop()]
    text = " ".join(words)
    for name in names:
        if text in (_words(name), *ALSO_CALLED.get(name, ())):
            return ChartColumn(index, name, found)
    return None


def _header(
    rows: Sequence[Row], names: Sequence[str], unit: str | None
) -> tuple[int, list[ChartColumn], list[str]] | None:
    """Return the row, of the first twenty, with the most known columns, "size" among them."""
    best: tuple[int, list[ChartColumn], list[str]] | None = None
    for index, row in enumerate(rows[:20]):
        cells = [(place, cell) for place, cell in enumerate(row) if isinstance(cell, str) and cell]
        read = [(cell, _column(place, cell, names, unit)) for place, cell in cells]
        known = [column for _, column in read if column]
        if any(column.name == "size" for column in known) and len(known) > len(
            best[1] if best else [0]
        ):
            best = index, known, [cell for cell, column in read if column is None]
    return best


def _bare(cell: str) -> bool:
    """Whether a cell gives a number without a unit."""
    return not re.search(r"[a-z\"”″']", cell.lower())


def _length(cell: str, column: ChartColumn) -> float:
    """Return a cell's length in mm.

    Raises
    ------
    Refusal
        If it is none.
    """
    return parse_length(f"{cell} {column.unit}".strip() if _bare(cell) else cell)


def _age_of(
    words: str, size: str, fit: Fit, label: str, sizes: Mapping[tuple[Fit, str], Size]
) -> Age:
    if fold(words) in _AGES:
        return _AGES[fold(words)]
    if words:
        raise Refusal(f"“{words}” is no age group: write one of {', '.join(AGES)}.")
    try:
        return find_size(size, fit, label, sizes).age
    except Refusal:
        raise Refusal(
            f"Chalkbeam does not know the size “{size}”: add a column Age with one of "
            f"{', '.join(AGES)}."
        ) from None


def read_chart(path: Path, style: str, unit: str | None = None, fit: Fit = "regular") -> ReadChart:
    """Read a chart from CSV or XLSX.

    Parameters
    ----------
    path : Path
    style : str
        The built-in style that the garments are cut like.
    unit : {"in", "mm", "cm"}, optional
        Unit of bare numbers under headers without one.
    fit : Fit
        The fit of rows that do not say.

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
    names = ["size", "age", "fit", *measures]
    if "half_chest" in measures:
        names.append("chest_girth")
    table = read_table(path)
    headers = [(_header(rows, names, unit), rows) for _, rows in table.dialects]
    found = max(
        ((header, rows) for header, rows in headers if header),
        key=lambda item: len(item[0][1]),
        default=None,
    )
    if found is None:
        raise Refusal(
            f"{path.name} has no header with a column Size and a measure: name the columns Size, "
            f"{', '.join(name.replace('_', ' ').capitalize() for name in list(measures)[:2])}, …."
        )
    (start, columns, unused), rows = found
    read = _read_rows(rows, start, columns, like, known, fit)
    twice = _named_twice(start + 1, columns)
    return replace(read, problems=(*twice, *read.problems), unused=tuple(unused))


def _named_twice(row: int, columns: Sequence[ChartColumn]) -> tuple[ChartProblem, ...]:
    first: dict[str, ChartColumn] = {}
    problems = []
    for column in columns:
        name = "half_chest" if column.name == "chest_girth" else column.name
        if name in first:
            letter = column_letter(first[name].index)
            words = f"It means the same as column {letter}, {name.replace('_', ' ')}: leave one."
            problems.append(ChartProblem(row, column_letter(column.index), words))
        first.setdefault(name, column)
    return tuple(problems)


def _read_rows(
    rows: Sequence[Row],
    start: int,
    columns: Sequence[ChartColumn],
    like: Style,
    known: Mapping[tuple[Fit, str], Size],
    fit: Fit,
) -> ReadChart:
    sizes: list[Size] = []
    where: list[int] = []
    problems: list[ChartProblem] = []
    left_out: list[str] = []
    seen: dict[tuple[Fit, str], int] = {}
    for number, row in enumerate(rows[start + 1 :], start=start + 2):
        if is_blank(row):
            continue
        first = next((cell for cell in row if isinstance(cell, str) and cell), "")
        if _SUM.match(first):
            left_out.append(f"row {number} “{first[:40]}”")
            continue
        before = len(problems)
        size = _read_row(number, row, columns, like, known, fit, problems)
        if size is None or len(problems) > before:
            continue
        key = (size.fit, size.name.upper())
        if key in seen:
            problems.append(
                ChartProblem(number, "", f"Size {size.name} stands in row {seen[key]} already.")
            )
            continue
        seen[key] = number
        sizes.append(size)
        where.append(number)
    if not sizes and not problems:
        problems.append(ChartProblem(start + 1, "", "There is no size below the header."))
    return ReadChart(tuple(sizes), tuple(where), tuple(problems), (), tuple(left_out))


def _read_row(
    number: int,
    row: Row,
    columns: Sequence[ChartColumn],
    like: Style,
    known: Mapping[tuple[Fit, str], Size],
    fit: Fit,
    problems: list[ChartProblem],
) -> Size | None:
    cells: dict[str, tuple[ChartColumn, str]] = {}
    for column in columns:
        cell: Cell = row[column.index] if column.index < len(row) else ""
        if isinstance(cell, BadCell):
            problems.append(ChartProblem(number, column_letter(column.index), f"It {cell.reason}."))
        elif cell:
            cells[column.name] = (column, cell)
    if "size" not in cells:
        problems.append(ChartProblem(number, "", "The row names no size."))
        return None
    name = cells.pop("size")[1].strip()
    age_word, fit_word = (cells.pop(key)[1] if key in cells else "" for key in ("age", "fit"))
    if fold(fit_word) not in _FITS:
        problems.append(
            ChartProblem(number, "", f"“{fit_word}” is no fit: write one of {', '.join(FITS)}.")
        )
        return None
    its_fit = _FITS[fold(fit_word)] if fit_word else fit
    try:
        age = _age_of(age_word, name, its_fit, like.label, known)
    except Refusal as refusal:
        problems.append(ChartProblem(number, "", str(refusal)))
        return None
    try:
        ours = find_size(name, its_fit, like.label, known)
        name = ours.name
        usual = {key: measure.value for key, measure in ours.given.items()}
    except Refusal:
        usual = {}
    given: dict[str, Measure] = {}
    if not cells:
        problems.append(ChartProblem(number, "", f"Size {name} has no measures."))
    for key, (column, cell) in cells.items():
        letter = column_letter(column.index)
        try:
            value = _length(cell, column)
        except Refusal as refusal:
            problems.append(ChartProblem(number, letter, str(refusal)))
            continue
        written = f"{cell} {column.unit}".strip() if _bare(cell) else cell
        measure = "half_chest" if key == "chest_girth" else key
        value = value / 2 if key == "chest_girth" else value
        share = value / usual.get(measure, value) if value > 0 else 0.0
        if not ODD[0] < share < ODD[1]:
            problems.append(
                ChartProblem(
                    number, letter,
                    f"A {measure.replace('_', ' ')} of {written} is {share:.1f} times the usual "
                    f"for {name}: check the unit, and that it is not measured all the way round.",
                )
            )  # fmt: skip
            continue
        given[measure] = Measure(value, BOX_TOLERANCE, source="the shop's chart")
    return Size(name, age, its_fit, BOX_TOLERANCE, given)
