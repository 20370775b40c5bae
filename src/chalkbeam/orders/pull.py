"""What is taken from the shelves for an order, and what is short of it once that was counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.cells import is_blank
from chalkbeam.basics.spreadsheets import read_table
from chalkbeam.orders.cells import RowCells
from chalkbeam.orders.pieces import Piece
from chalkbeam.orders.problems import SheetRefusal
from chalkbeam.orders.rows import total_word
from chalkbeam.orders.sheet import headed
from chalkbeam.orders.shop import Shop


@dataclass(frozen=True)
class Pulled:
    """One pile of garments.

    Attributes
    ----------
    pile : str
        As `Piece.pile`.
    wanted : int
    came : int or None
        How many were counted; None where nobody has.
    """

    pile: str
    wanted: int
    came: int | None = None

    @property
    def short(self) -> int:
        """How many are missing."""
        return 0 if self.came is None else max(0, self.wanted - self.came)


def pull_list(pieces: Iterable[Piece], came: Mapping[str, int] | None = None) -> tuple[Pulled, ...]:
    """Return every pile that an order takes from, in the sheet's order.

    Parameters
    ----------
    pieces : iterable of Piece
    came : mapping of str to int, optional
        What was counted, by pile, as `counted_in` reads it.
    """
    piles = Counter(piece.pile for piece in pieces)
    return tuple(
        Pulled(pile, wanted, None if came is None else came.get(pile, 0))
        for pile, wanted in piles.items()
    )


def counted_in(path: Path) -> dict[str, int]:
    """Return what came in, by pile, from a table with style, colour, size and quantity.

    Raises
    ------
    SheetRefusal
        With every cell that cannot be read.
    Refusal
        If the file cannot be read, or has not these columns.
    """
    found = headed(read_table(path), path)
    fields = {column.field for column in found.header.columns}
    for wanted in ("style", "size", "quantity"):
        if wanted not in fields:
            raise Refusal(f"{path} does not say the {wanted} of what came in: add that column.")
    shop, row = Shop(), RowCells(found.header, None)
    counts: Counter[str] = Counter()
    for number, cells in enumerate(found.rows, start=1):
        if number <= found.header.row + 1 or is_blank(cells) or total_word(cells):
            continue
        row.take(number, cells)
        try:
            style, fit = shop.style(row.cell("style")), shop.fit(row.cell("fit"))
            size = shop.size(style, row.cell("size"), fit)
        except Refusal as refusal:
            row.wrong(None, str(refusal))
            continue
        text = row.cell("quantity")
        if not text.isdecimal() or len(text) > 6:
            row.wrong(row.column("quantity"), f"“{text}” is no number of pieces: write one")
            continue
        piece = Piece("", number, 1, 1, style, size, row.cell("colour"), (), fit=fit)
        counts[piece.pile] += int(text)
    if row.problems:
        raise SheetRefusal(path, row.problems)
    return dict(counts)
