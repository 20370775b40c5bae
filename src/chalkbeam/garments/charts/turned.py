"""A chart whose sizes run across: turned, so that each size has a row, with the way back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from chalkbeam.basics.cells import Cell, Row, column_letter
from chalkbeam.garments.library import age_of_size

FEWEST = 2
"""So many sizes beside each other make a row of sizes."""


@dataclass(frozen=True)
class Turned:
    """A chart turned.

    Attributes
    ----------
    rows : tuple of Row
        A header of measures, then a row for each size; none is left out, so that
        `at` can find a cell again.
    row, columns : int, tuple of int
        Where the sizes stand in the file: the row, and the column of each, from 0.
    lines : tuple of int
        The file's row of each measure, from 0.
    """

    rows: tuple[Row, ...]
    row: int
    columns: tuple[int, ...]
    lines: tuple[int, ...]

    def at(self, row: int, column: str) -> tuple[int, str]:
        """Return the file's row and column of a cell of `rows`, both as a spreadsheet has them."""
        letter = column_letter(self.columns[row - 2]) if row >= 2 else ""
        if not column:
            return self.row + 1, letter
        index = next(n for n in range(len(self.lines) + 1) if column_letter(n) == column)
        line = self.row if index == 0 else self.lines[index - 1]
        return line + 1, letter


def turned(rows: Sequence[Row], is_measure: Callable[[str], bool]) -> Turned | None:
    """Return a chart turned; None if no row of it has sizes beside each other.

    Parameters
    ----------
    rows : sequence of Row
    is_measure : callable
        Whether a cell names a measure.
    """
    for index, row in enumerate(rows[:20]):
        columns = tuple(
            place
            for place, cell in enumerate(row)
            if isinstance(cell, str) and cell and age_of_size(cell) is not None
        )
        if len(columns) < FEWEST:
            continue
        named = [
            sum(is_measure(_text(line, place)) for line in rows[index + 1 :])
            for place in range(columns[0])
        ]
        if not named or not max(named):
            continue
        title = named.index(max(named))
        lines = tuple(n for n in range(index + 1, len(rows)) if _text(rows[n], title))
        header: Row = ("Size", *(_text(rows[n], title) for n in lines))
        sizes = ((_cell(row, place), *(_cell(rows[n], place) for n in lines)) for place in columns)
        return Turned((header, *sizes), index, columns, lines)
    return None


def _cell(row: Row, place: int) -> Cell:
    return row[place] if place < len(row) else ""


def _text(row: Row, place: int) -> str:
    cell = _cell(row, place)
    return cell.strip() if isinstance(cell, str) else ""
