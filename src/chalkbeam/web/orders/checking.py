"""What is wrong with an order's table, cell by cell, and what may be meant instead."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.refusal import Refusal
from chalkbeam.basics.suggestions import near
from chalkbeam.garments import FITS, sizes, styles
from chalkbeam.garments.fabrics import fabrics
from chalkbeam.garments.library import find_style, style_words
from chalkbeam.locations import locations
from chalkbeam.orders.problems import Problem, SheetRefusal
from chalkbeam.orders.sheet import RunSheet, read_sheet
from chalkbeam.orders.transfers import transfers
from chalkbeam.placement.platens import platens
from chalkbeam.web.orders.folders import OrderFolder
from chalkbeam.web.orders.table import OrderTable, TakenSheet
from chalkbeam.web.words import t

_BARE = re.compile(r"\d+(?:[.,]\d+)?")
_UNITS: Mapping[str, tuple[str, ...]] = {
    "width": ("mm", "in"),
    "height": ("mm", "in"),
    "temperature": ("°C", "°F"),
    "time": ("s", "min"),
    "cooling": ("s", "min"),
    "prepress": ("s", "min"),
}
"""What a bare number may be a number of."""


@dataclass(frozen=True)
class PickLists:
    """What may be picked in an order's table.

    Attributes
    ----------
    by_field : mapping of str to tuple of str
        Words of each kind of column.
    sizes : mapping of str to tuple of str
        By style, as its list calls it.
    """

    by_field: Mapping[str, tuple[str, ...]]
    sizes: Mapping[str, tuple[str, ...]]

    def of(self, field: str, style: str) -> tuple[str, ...]:
        """Return the words for a cell of a row whose style is so written."""
        if field != "size":
            return self.by_field.get(field, ())
        return self.sizes.get(style_of(style), self.by_field["size"])


def style_of(text: str) -> str:
    """Return a style's name as pick lists have it; empty if there is none of that name."""
    try:
        return style_words(find_style(text)[0]) if text else ""
    except Refusal:
        return ""


def pick_lists(folder: OrderFolder) -> PickLists:
    """Return what may be picked: the shop's garments, locations and cloths, the order's artwork."""
    by_style = {
        style_words(name): tuple(
            dict.fromkeys(size for fit in FITS for size in sizes(name, fit=fit))
        )
        for name in styles()
    }
    places = tuple(sorted(each.title for each in locations().values()))
    every_size = tuple(dict.fromkeys(size for each in by_style.values() for size in each))
    by_field = {
        "style": tuple(by_style),
        "fit": ("regular", "women's"),
        "size": every_size,
        "colour": tuple(fabrics()),
        "location": places,
        "name location": places,
        "number location": places,
        "artwork": folder.artwork,
        "platen": tuple(platens()),
        "transfer": _products(),
    }
    return PickLists(by_field, by_style)


def _products() -> tuple[str, ...]:
    try:
        return tuple(transfers())
    except Refusal:  # told where a row names one
        return ()


@dataclass(frozen=True)
class Fault:
    """A fault of a table.

    Attributes
    ----------
    row, column : int
        Counted from 0; -1 for the whole table, or the whole row.
    title : str
        The column's.
    message : str
        What is wrong and what to do.
    offers : tuple of str
        What may be meant instead, to be taken with one tap.
    alike : int
        How many rows say the same in that column.
    """

    row: int
    column: int
    title: str
    message: str
    offers: tuple[str, ...] = ()
    alike: int = 1


@dataclass(frozen=True)
class Checked:
    """A table, checked.

    Attributes
    ----------
    faults : tuple of Fault
        By row.
    order : RunSheet or None
        What it asks for, where it has no fault.
    """

    faults: tuple[Fault, ...]
    order: RunSheet | None = None

    def of_row(self, row: int) -> tuple[Fault, ...]:
        """Return the faults of a row."""
        return tuple(each for each in self.faults if each.row == row)

    @property
    def rows(self) -> tuple[int, ...]:
        """The rows that have any."""
        return tuple(dict.fromkeys(each.row for each in self.faults if each.row >= 0))


def check(folder: OrderFolder, taken: TakenSheet, lists: PickLists) -> Checked:
    """Check an order's sheet, as `chalkbeam sheet check` does before it places anything."""
    if not taken.table.rows:
        return Checked(())
    try:
        return Checked((), read_sheet(folder.sheet))
    except SheetRefusal as refusal:
        return Checked(faults_of(refusal.problems, folder, taken, lists))


def faults_of(
    problems: Sequence[Problem], folder: OrderFolder, taken: TakenSheet, lists: PickLists
) -> tuple[Fault, ...]:
    """Return problems of an order's sheet as faults of its table."""
    here = str(folder.path), t("orders.its_folder")
    place = {number: index for index, number in enumerate(taken.numbers)}
    return tuple(
        Fault(
            place.get(each.row, -1),
            each.column,
            each.title or _title(taken.table, each.column),
            (each.message[:1].upper() + each.message[1:]).replace(*here),
            _offers(taken.table, place.get(each.row, -1), each.column, lists),
            _alike(taken.table, place.get(each.row, -1), each.column),
        )
        for each in problems
    )


def _title(table: OrderTable, column: int) -> str:
    return table.titles[column] if 0 <= column < len(table.titles) else ""


def _alike(table: OrderTable, row: int, column: int) -> int:
    if row < 0 or not 0 <= column < len(table.titles):
        return 1
    return sum(each[column] == table.rows[row][column] for each in table.rows)


def _offers(table: OrderTable, row: int, column: int, lists: PickLists) -> tuple[str, ...]:
    if row < 0 or not 0 <= column < len(table.titles):
        return ()
    fields = table.fields()
    field, text = fields[column], table.rows[row][column]
    if _BARE.fullmatch(text):
        return tuple(f"{text} {unit}" for unit in _UNITS.get(field, ()))
    style = table.rows[row][fields.index("style")] if "style" in fields else ""
    known = lists.of(field, style)
    if not text:
        return known if len(known) <= 3 else ()
    return tuple(each for each in near(text, known) if each != text)
