"""What the cells of a table hold, whatever file they come from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.refusal import Refusal

MOST_CELLS = 3_000_000
"""Beyond this a table is taken for a mistake; an order of 100,000 rows has half as many."""


@dataclass(frozen=True)
class BadCell:
    """A cell that holds no text: why."""

    reason: str


class Merged(str):
    """The text of a cell that is merged with others above or below: it stands for all of them."""


Cell = str | BadCell
Row = tuple[Cell, ...]


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


def too_many_cells(path: Path) -> Refusal:
    """Return what is said of a table beyond `MOST_CELLS`."""
    return Refusal(
        f"{path} has more than {MOST_CELLS // 1_000_000} million cells: save the order alone, "
        "without empty rows and columns that are formatted."
    )
