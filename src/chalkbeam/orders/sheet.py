"""Run sheets: from a shop's table to pieces, with every problem told at once.

Forgiving about form (header words, delimiters, decimal commas, blank and total rows,
units in the header or the cell), strict about content: nothing is guessed, and press
settings are taken over word for word.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.cells import Row, is_blank
from chalkbeam.basics.spreadsheets import Table, read_table
from chalkbeam.basics.units import Unit
from chalkbeam.orders.above import with_above
from chalkbeam.orders.headers import Cells, Header, find_header
from chalkbeam.orders.pieces import Piece
from chalkbeam.orders.problems import Problem, SheetRefusal
from chalkbeam.orders.rows import RowReader
from chalkbeam.orders.teams import as_team


@dataclass(frozen=True)
class RunSheet:
    """An order as read.

    Attributes
    ----------
    digest : str
        SHA-256 of the file's bytes: tells whether it is edited during the run.
    pieces : tuple of Piece
        In the sheet's order.
    notes : tuple of str
        What the user should know: columns not used, rows left out, ….
    cells : mapping of (row, place) to Cells
        Columns of each imprint in the sheet, by its row and its place among the imprints of a
        piece, from 1.
    cautions : tuple of str
        What `examine` of `read_sheet` found to look at before pressing.
    left_out : tuple of Problem
        Why rows are not among the pieces, where that was asked for.
    """

    path: Path
    digest: str
    pieces: tuple[Piece, ...]
    notes: tuple[str, ...] = ()
    cells: Mapping[tuple[int, int], Cells] = field(default_factory=dict, repr=False)
    cautions: tuple[str, ...] = ()
    left_out: tuple[Problem, ...] = ()


Examine = Callable[[RunSheet], tuple[Sequence[Problem], Sequence[str]]]
"""Looks further into an order as read; returns problems, and cautions to be passed on."""


@dataclass(frozen=True)
class Headed:
    """The way to read a file that has a header.

    Attributes
    ----------
    header : Header
    rows : tuple of Row
    hidden : frozenset of int
        Numbers of the rows that its worksheet does not show.
    notes : tuple of str
        What of the file is not read.
    """

    header: Header
    rows: tuple[Row, ...]
    hidden: frozenset[int] = frozenset()
    notes: tuple[str, ...] = ()


def headed(table: Table, path: Path) -> Headed:
    """Return the way to read a file that has a header.

    Raises
    ------
    Refusal
        If none has.
    """
    ways = [(find_header(rows), title, rows) for title, rows in table.dialects]
    found = [(header, title, rows) for header, title, rows in ways if header is not None]
    if not found:
        raise Refusal(
            f"{path} has no header row: write one above the order, such as "
            "Style, Size, Fabric colour, Quantity, Location, Artwork, Width."
        )
    if not table.worksheets:
        header, _, rows = max(found, key=lambda each: each[0].understood)
        return Headed(with_above(header, rows), rows)
    (header, title, rows), *others = found
    header = with_above(header, rows)
    for other, name, under in others:
        whole = with_above(other, under)
        if not whole.missing and any(not is_blank(row) for row in under[other.row + 1 :]):
            raise Refusal(
                f"{path} holds an order on “{title}” and another on “{name}”: bring both on to one "
                "worksheet, or hide the one that is not to be read."
            )
    notes = (f"Worksheet “{title}” is read, “{other}” is not." for _, other, _ in others)
    return Headed(header, rows, frozenset(table.hidden.get(title, ())), tuple(notes))


def read_sheet(
    path: Path,
    *,
    unit: Unit | None = None,
    artwork_folder: Path | None = None,
    examine: Examine | None = None,
    absent: bool = False,
    readable: bool = False,
) -> RunSheet:
    """Read a run sheet.

    Parameters
    ----------
    path : Path
        CSV or XLSX.
    unit : Unit, optional
        Of bare lengths whose header names none; without it they are problems.
    artwork_folder : Path, optional
        Where artwork files are, if not beside the sheet.
    examine : callable, optional
        What it finds wrong with the rows that could be read is told with the rest.
    absent : bool
        Take artwork files that are not there: they may be put back before their turn.
    readable : bool
        Leave rows out that have a problem, if there are any without.

    Raises
    ------
    SheetRefusal
        With every problem, each with its row and column.
    Refusal
        If the file cannot be read at all.
    """
    path = Path(path)
    table = read_table(path)
    found = headed(table, path)
    header, rows, hidden = found.header, found.rows, found.hidden
    notes = [*table.notes, *found.notes]
    reader = RowReader(header, unit, artwork_folder or path.parent, absent)
    reader.check_header(rows)
    if not reader.problems:
        for index in range(header.row + 1, len(rows)):
            reader.take(index + 1, rows[index])
        if not reader.pieces and not reader.problems:
            reader.problem(0, None, "the sheet has a header but no order under it: add rows")
    team = as_team(reader.pieces)
    for place, words in team.problems:
        cells = reader.cells.get((place.row, place.imprint))
        reader.problem(place.row, cells.artwork if cells else None, words)
    too_long = {place.row for place, _ in team.problems}
    pieces = tuple(piece for piece in team.pieces if piece.row not in too_long)
    notes += dict.fromkeys([*reader.notes, *team.notes])
    if unseen := sorted(hidden & {piece.row for piece in pieces}):
        many = f"Row {unseen[0]} is" if len(unseen) == 1 else f"Rows {_ranges(unseen)} are"
        notes.append(f"{many} hidden in the spreadsheet and part of the order all the same.")
    order = RunSheet(path, table.digest, pieces, tuple(notes), reader.cells)
    if readable and pieces:
        order = replace(order, left_out=tuple(sorted(set(reader.problems))))
    further, cautions = examine(order) if examine is not None else ((), ())
    if further or (reader.problems and not order.left_out):
        raise SheetRefusal(path, [*reader.problems, *further])
    return replace(order, cautions=tuple(cautions))


def _ranges(numbers: Sequence[int]) -> str:
    """Return sorted numbers in words: 3, 5 to 9."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)
