"""What is wrong with a run sheet, told all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.runs.table import column_letter


@dataclass(frozen=True, order=True)
class Problem:
    """One thing that is wrong.

    Attributes
    ----------
    row : int
        As a spreadsheet counts, from 1; 0 for the whole sheet.
    column : int
        Counted from 0; -1 for the whole row.
    title : str
        The column's header as the sheet writes it.
    message : str
        What is wrong and what to do.
    """

    row: int
    column: int
    title: str
    message: str

    def __str__(self) -> str:
        where = f"row {self.row}" if self.row else ""
        if self.column >= 0:
            named = f" ({self.title})" if self.title else ""
            where += f"{', ' if where else ''}column {column_letter(self.column)}{named}"
        return f"{where}: {self.message}" if where else self.message


class SheetRefusal(Refusal):
    """A run sheet with problems: one line each under a heading."""

    def __init__(self, path: Path, problems: Sequence[Problem]) -> None:
        self.problems = tuple(sorted(set(problems)))
        count = len(self.problems)
        lines = [f"  {problem}" for problem in self.problems]
        things = "one thing" if count == 1 else f"{count} things"
        super().__init__("\n".join([f"{path} has {things} to correct:", *lines]))
