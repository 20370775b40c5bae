"""The rows of a run sheet, one by one, to pieces."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.cells import Row, column_letter, is_blank
from chalkbeam.basics.units import Unit
from chalkbeam.orders.above import unread_above, unused_above
from chalkbeam.orders.artworks import ArtworkFiles
from chalkbeam.orders.cells import RowCells
from chalkbeam.orders.headers import Cells, Column, Header
from chalkbeam.orders.imprints import ImprintReader, numbered
from chalkbeam.orders.pieces import Imprint, Piece
from chalkbeam.orders.problems import Problem
from chalkbeam.orders.shop import Shop
from chalkbeam.orders.unused import unused_columns

FEW_SIZES = 5
"""No more sizes than this are listed where one is missing."""
MOST_PIECES = 100_000
"""Beyond this a quantity is taken for a typing error."""

_QUANTITY = re.compile(r"(\d{1,9})(?:[.,]0{1,2})?(?:\s*(?:x|pcs?|pieces?)\.?)?", re.ASCII)
"""A whole number, also as spreadsheets write one (2.0); three noughts would be thousands."""


class RowReader:
    """Turns rows into pieces and collects what is wrong.

    Attributes
    ----------
    pieces : list of Piece
    notes : list of str
    header : Header
    shop : Shop
    files : ArtworkFiles
    """

    def __init__(
        self,
        header: Header,
        unit: Unit | None,
        folder: Path,
        absent: bool = False,
    ) -> None:
        self.header = header
        self.shop = Shop()
        self.files = ArtworkFiles(folder, absent)
        self._row = RowCells(header, unit)
        turns = sorted({column.turn for column in header.columns})
        self._imprints = ImprintReader(self._row, self.shop, self.files, turns)
        self.notes: list[str] = []
        self.pieces: list[Piece] = []

    @property
    def cells(self) -> dict[tuple[int, int], Cells]:
        """Columns of each imprint."""
        return self._imprints.cells

    @property
    def problems(self) -> list[Problem]:
        """What is wrong so far."""
        return self._row.problems

    def problem(self, row: int, column: Column | None, message: str) -> None:
        """Add a problem; row 0 is the whole sheet."""
        self._row.problem(row, column, message)

    def check_header(self, rows: Sequence[Row]) -> None:
        """Add what is wrong with the header, and what is to be known of it.

        `rows` are those of the whole sheet: what a column holds that is not understood, and what
        stands above the header, must not be a part of the order.
        """
        row = self.header.row + 1
        below = [each for each in rows[row:] if not is_blank(each) and not total_word(each)]
        for index, title, stop in unused_columns(self.header, below, self.files, self.shop):
            if stop:
                self._row.problem(row, Column(index, "", 1, "", title), stop)
            elif title:
                self.notes.append(f"Column {column_letter(index)} “{title}” is not used.")
            else:
                self.notes.append(f"Column {column_letter(index)}, without a heading, is not used.")
        for above, stop in unread_above(self.header, rows, self.files, self.shop):
            self._row.problem(above + 1, None, stop)
        for field in self.header.missing:
            self._row.problem(
                row, None, f"there is no column for the {field}: add one headed “{field}”"
            )
        for first, again in self.header.twice:
            self._row.problem(
                row, again, f"means the same as column {column_letter(first.index)}: keep one"
            )
        if given := [c for c in self.header.columns if c.given is not None]:
            said = ", ".join(f"{column.title} “{column.given}”" for column in given)
            self.notes.append(f"Read above the header, for every row: {said}.")
        if unused := unused_above(self.header, rows):
            self.notes.append(f"Above the header and not used: {', '.join(unused)}.")
        for title in self.header.left_out.values():
            self.notes.append(f"Column “{title}” is left out, as its heading is in brackets.")
        if self._row.column("quantity") is None and not self.header.sizes:
            self.notes.append("There is no quantity column: each row is taken as one piece.")

    def _quantities(self) -> list[tuple[str, int]]:
        """Return how many of which size; the size is empty where its own column says it."""
        if not self.header.sizes:
            return [("", self._quantity(self._row.column("quantity")))]
        column = self._row.column("quantity") or self._row.column("total")
        found = [(each.title, self._quantity(each, blank=0)) for each in self.header.sizes]
        count = sum(quantity for _, quantity in found)
        text = self._row.cell(column.field) if column is not None else ""
        if text and column is not None and text != str(count):
            self._row.wrong(column, f"says “{text}”, but the sizes come to {count}: correct one")
        if count == 0:
            self.notes.append(f"Row {self._row.number} orders 0 pieces and is left out.")
        return [each for each in found if each[1]]

    def _quantity(self, column: Column | None, blank: int | None = None) -> int:
        """Return how many pieces a cell asks for; `blank` is what an empty one means."""
        if column is None:
            return 1
        text = self._row.text(column)
        if blank is not None and text in ("", "-", "–"):
            return blank
        if self._row.is_merged(column):
            self._row.wrong(column, "is merged over several rows: write how many in each of them")
            return 0
        match = _QUANTITY.fullmatch(text.lower())
        if match is None:
            if re.match(r"\d{1,3}([.,’'  ]\d{3})+(?!\d)", text):
                self._row.wrong(
                    column, f"“{text}” can be read in two ways: write the number by figures alone"
                )
            elif not self._row.is_bad(column):
                said = (
                    f"“{text}” is not a number of pieces" if text else "how many pieces is missing"
                )
                self._row.wrong(column, f"{said}: write a whole number")
            return 0
        count = int(match[1])
        if len(self.pieces) + count > MOST_PIECES:
            self._row.wrong(column, f"makes more than {MOST_PIECES} pieces: split the order")
            return 0
        if count == 0 and blank is None:
            self.notes.append(f"Row {self._row.number} orders 0 pieces and is left out.")
        return count

    def take(self, number: int, row: Row) -> None:
        """Read the row with this spreadsheet number."""
        if is_blank(row):
            return
        if total := total_word(row):
            self.notes.append(f"Row {number} begins with “{total}” and is left out.")
            return
        self._row.take(number, row)
        before = len(self.problems)
        style, fit = self._garment()
        quantities = self._quantities()
        sizes = [
            (self._size(style, each or self._row.cell("size"), fit, each), count)
            for each, count in quantities
        ]
        sound = len(self.problems) == before
        imprints = self._imprints.read()
        order = self._order()
        for size, _ in sizes if sound else ():
            self._check_locations(style, size, fit, imprints)
        if len(self.problems) > before:
            return
        cell = self._row.cell
        every = [size for size, count in sizes for _ in range(count)]
        if len(every) > 1 and (name := cell("name")):
            self.notes.append(f"Row {number} puts the name “{name}” on {len(every)} pieces.")
        for copy, size in enumerate(every, start=1):
            piece = f"{number}-{copy}"
            self.pieces.append(
                Piece(
                    piece, number, copy, len(every), style, size, cell("colour"),
                    numbered(piece, imprints), cell("name"), cell("number"), cell("note"), order,
                    fit, cell("for"), cell("customer"), cell("order number"),
                )
            )  # fmt: skip

    def _garment(self) -> tuple[str, str]:
        """Return style and fit, the shop's own names where it has them."""
        style, fit = self._row.cell("style"), self._row.cell("fit")
        column = self._row.column("style")
        if column and not style and not self._row.is_bad(column):
            self._row.wrong(column, "the style is missing: fill it in")
        known = self._known("style", self.shop.style, style) if style else None
        return known or "", self._known("fit", self.shop.fit, fit) or ""

    def _size(self, style: str, text: str, fit: str, across: str) -> str:
        """Return a size as its chart has it; `across` is the title of a size matrix's column.

        A garment that comes in one size needs none.
        """
        column = self._row.column("size")
        if not text:
            sizes = self.shop.sizes(style, fit) if style and fit else ()
            if len(sizes) == 1:
                return sizes[0]
            if column and not self._row.is_bad(column):
                few = ", ".join(sizes) if len(sizes) <= FEW_SIZES else ""
                what = f"one of {few}" if few else "it"
                self._row.wrong(column, f"the size is missing: fill {what} in")
            return text
        if not style or not fit:
            return text
        column = next((each for each in self.header.sizes if each.title == across), None)
        known = self._known("size", lambda name: self.shop.size(style, name, fit), text, column)
        return known or text

    def _known(
        self, field: str, find: Callable[[str], str], text: str, column: Column | None = None
    ) -> str | None:
        """Return the shop's own name for a cell; None, with a problem, if it has none."""
        try:
            return find(text)
        except Refusal as refusal:
            self._row.wrong(column or self._row.column(field), str(refusal))
            return None

    def _check_locations(
        self, style: str, size: str, fit: str, imprints: Sequence[Imprint]
    ) -> None:
        for location in dict.fromkeys(imprint.location for imprint in imprints):
            try:
                self.shop.check(style, size, fit, location)
            except Refusal as refusal:
                self._row.wrong(self._row.column("location"), f"{location} cannot be: {refusal}")

    def _order(self) -> float | None:
        text, column = self._row.cell("order"), self._row.column("order")
        if not text or column is None:
            return None
        if not re.fullmatch(r"\d{1,9}(?:[.,]\d{1,9})?", text):
            other = (
                ""
                if self._row.column("order number")
                else "; an order's own number stands under “order number”"
            )
            self._row.wrong(
                column,
                f"“{text}” is not a place in the order of work: write a number or nothing{other}",
            )
            return None
        return float(text.replace(",", "."))


def total_word(row: Row) -> str:
    """Return the word of a row that only sums others up, such as “Total”; else nothing."""
    first = next((cell for cell in row if cell), "")
    total = isinstance(first, str) and re.match(r"(sub|grand )?total\b", first.lower())
    return str(first) if total else ""
