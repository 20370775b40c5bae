"""What is wrong with a run sheet, told all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.cells import column_letter


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
        return self.at([self.row])

    def at(self, rows: Sequence[int]) -> str:
        """Return the problem as one line for several rows that share it."""
        where = row_words(rows) if self.row else ""
        if self.column >= 0:
            named = f" ({self.title})" if self.title else ""
            where += f"{', ' if where else ''}column {column_letter(self.column)}{named}"
        return f"{where}: {self.message}" if where else self.message


def row_words(rows: Sequence[int], most: int | None = None) -> str:
    """Return rows in words, such as “rows 3, 7–9”; beyond `most` ranges the rest is counted."""
    runs: list[list[int]] = []
    for row in sorted(set(rows)):
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    ranges = [
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs[:most]
    ]
    more = sum(len(run) for run in runs[len(ranges) :])
    word = "rows" if len(set(rows)) > 1 else "row"
    return f"{word} {', '.join(ranges)}{f' and {more} more' if more else ''}"


def told(problems: Sequence[Problem]) -> tuple[str, ...]:
    """Return a line for each problem; rows that share it are told together."""
    alike: dict[tuple[int, str], list[Problem]] = {}
    for problem in sorted(set(problems)):
        alike.setdefault((problem.column, problem.message), []).append(problem)
    return tuple(each[0].at([one.row for one in each]) for each in alike.values())


class SheetRefusal(Refusal):
    """A run sheet with problems: one line each under a heading, rows that are alike together."""

    def __init__(self, path: Path, problems: Sequence[Problem], hint: str = "") -> None:
        self.problems = tuple(sorted(set(problems)))
        lines = [f"  {line}" for line in told(problems)]
        things = "one thing" if len(lines) == 1 else f"{len(lines)} things"
        lines += [hint] if hint else []
        super().__init__("\n".join([f"{path} has {things} to correct:", *lines]))
