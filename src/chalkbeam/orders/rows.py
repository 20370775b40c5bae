"""The rows of a run sheet, one by one, to pieces."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from calibration.files import below
from calibration.refusal import Refusal
from chalkbeam.basics.cells import Row, column_letter, is_blank
from chalkbeam.basics.units import Unit
from chalkbeam.orders.cells import RowCells
from chalkbeam.orders.headers import Cells, Column, Header, plain
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
from chalkbeam.orders.problems import Problem
from chalkbeam.orders.shop import Shop

MOST_PIECES = 100_000
"""Beyond this a quantity is taken for a typing error."""

NAME_LOCATION = "player name"
NUMBER_LOCATION = "player number"
"""Where a name and a number go unless the sheet has a column that says otherwise."""

_QUANTITY = re.compile(r"(\d{1,9})(?:[.,]0{1,2})?(?:\s*(?:x|pcs?|pieces?)\.?)?", re.ASCII)
"""A whole number, also as spreadsheets write one (2.0); three noughts would be thousands."""
_PARTING = re.compile(r"\s*[;\n]\s*|\s+[+&]\s+")


class RowReader:
    """Turns rows into pieces and collects what is wrong.

    Attributes
    ----------
    pieces : list of Piece
    notes : list of str
    cells : dict of (row, place) to Cells
        Columns of each imprint, by its row and its place among the piece's imprints, from 1.
    absent : bool
        Whether artwork files may be absent.
    """

    def __init__(
        self,
        header: Header,
        unit: Unit | None,
        folder: Path,
        absent: bool = False,
    ) -> None:
        self.absent = absent
        self.header, self.folder = header, folder
        self.shop = Shop()
        self._row = RowCells(header, unit)
        self.turns = sorted({column.turn for column in header.columns})
        self.notes: list[str] = []
        self.pieces: list[Piece] = []
        self.cells: dict[tuple[int, int], Cells] = {}
        self._placed = 0
        self._files: dict[str, Path | None] = {}

    @property
    def problems(self) -> list[Problem]:
        """What is wrong so far."""
        return self._row.problems

    def problem(self, row: int, column: Column | None, message: str) -> None:
        """Add a problem; row 0 is the whole sheet."""
        self._row.problem(row, column, message)

    def check_header(self) -> None:
        """Add what is wrong with the header, and what is to be known of it."""
        row = self.header.row + 1
        for field in self.header.missing:
            self._row.problem(
                row, None, f"there is no column for the {field}: add one headed “{field}”"
            )
        for first, again in self.header.twice:
            self._row.problem(
                row, again, f"means the same as column {column_letter(first.index)}: keep one"
            )
        for index, title in self.header.unknown:
            self.notes.append(f"Column {column_letter(index)} “{title}” is not used.")
        if self._row.column("quantity") is None:
            self.notes.append("There is no quantity column: each row is taken as one piece.")

    def _quantity(self) -> int:
        column = self._row.column("quantity")
        if column is None:
            return 1
        text = self._row.cell("quantity")
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
        if count == 0:
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
        self._placed = 0
        before = len(self.problems)
        style, size, fit = self._garment()
        sound = len(self.problems) == before
        quantity = self._quantity()
        imprints = self._imprints()
        order = self._order()
        if sound:
            self._check_locations(style, size, fit, imprints)
        if len(self.problems) > before:
            return
        name, number_text = self._row.cell("name"), self._row.cell("number")
        if quantity > 1 and name:
            self.notes.append(f"Row {number} puts the name “{name}” on {quantity} pieces.")
        for copy in range(1, quantity + 1):
            piece = f"{number}-{copy}"
            self.pieces.append(
                Piece(
                    piece, number, copy, quantity, style, size, self._row.cell("colour"),
                    _numbered(piece, imprints), name, number_text, self._row.cell("note"), order,
                    fit,
                )
            )  # fmt: skip

    def _garment(self) -> tuple[str, str, str]:
        style, size, fit = self._row.cell("style"), self._row.cell("size"), self._row.cell("fit")
        for field, text in (("style", style), ("size", size)):
            column = self._row.column(field)
            if not text and column and not self._row.is_bad(column):
                self._row.wrong(column, f"the {field} is missing: fill it in")
        known_style = self._known("style", self.shop.style, style) if style else None
        known_fit = self._known("fit", self.shop.fit, fit)
        if known_style is None or known_fit is None or not size:
            return style, size, fit
        known_size = self._known(
            "size", lambda name: self.shop.size(known_style, name, known_fit), size
        )
        return known_style, known_size or size, known_fit

    def _known(self, field: str, find: Callable[[str], str], text: str) -> str | None:
        """Return the shop's own name for a cell; None, with a problem, if it has none."""
        try:
            return find(text)
        except Refusal as refusal:
            self._row.wrong(self._row.column(field), str(refusal))
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
            self._row.wrong(
                column, f"“{text}” is not a place in the order: write a number or nothing"
            )
            return None
        return float(text.replace(",", "."))

    def _imprints(self) -> list[Imprint]:
        before = len(self.problems)
        imprints: list[Imprint] = []
        for turn in self.turns:
            imprints += self._listed_imprints(turn)
        imprints += self._lettering({imprint.art.kind for imprint in imprints})
        if not imprints and len(self.problems) == before:
            self._row.wrong(
                self._row.column("location"),
                "nothing is to be pressed: give a location and an artwork",
            )
        return imprints

    def _listed_imprints(self, turn: int) -> list[Imprint]:
        """Return the imprints of one set of columns; a cell may list several, parted by ; or +."""
        parts = {
            field: [part for part in _PARTING.split(self._row.cell(field, turn)) if part]
            for field in ("location", "artwork", "width", "height")
        }
        locations = parts["location"]
        if not locations:
            for field in ("artwork", "width", "height"):
                if parts[field]:
                    self._row.wrong(
                        self._row.column("location", turn) or self._row.column(field, turn),
                        f"there is {_an(field)} but no location: say where it goes",
                    )
                    break
            return []
        for field in ("artwork", "width", "height"):
            if len(parts[field]) == 1:
                parts[field] *= len(locations)
            elif parts[field] and len(parts[field]) != len(locations):
                self._row.wrong(
                    self._row.column(field, turn),
                    f"lists {len(parts[field])} for {len(locations)} locations: give one for all "
                    "or one each",
                )
                return []
        press = self._row.press(turn)
        imprints = []
        for place, location in enumerate(locations):
            art = self._art(parts["artwork"][place] if parts["artwork"] else "", turn)
            where = self._location(location, self._row.column("location", turn))
            sizes = [
                self._row.length(field, parts[field][place] if parts[field] else "", turn)
                for field in ("width", "height")
            ]
            if art and where:
                imprints.append(
                    Imprint("", where, art, sizes[0], sizes[1], press,
                            self._row.cell("platen", turn), self._row.cell("pad", turn))
                )  # fmt: skip
                self._note_columns("artwork", "location", turn)
        return imprints

    def _lettering(self, placed: set[ArtKind]) -> list[Imprint]:
        """Return the name and the number where no location of the row already asks for them."""
        imprints = []
        press = None
        for kind, usual in (
            (ArtKind.NAME, NAME_LOCATION),
            (ArtKind.NUMBER, NUMBER_LOCATION),
        ):
            field = kind.value
            text = self._row.cell(field)
            if not text or kind in placed:
                continue
            self._check_lettering(field, text)
            press = press or self._row.press(1)
            where = self._location(
                self._row.cell(f"{field} location") or usual,
                self._row.column(f"{field} location") or self._row.column(field),
            )
            width = self._row.length(f"{field} width", self._row.cell(f"{field} width"))
            height = self._row.length(f"{field} height", self._row.cell(f"{field} height"))
            if where:
                imprints.append(
                    Imprint(
                        "", where, Art(kind, text), width, height, press,
                        self._row.cell("platen"), self._row.cell("pad"),
                    )
                )  # fmt: skip
                self._note_columns(field, f"{field} location", 1)
        return imprints

    def _note_columns(self, artwork: str, location: str, turn: int) -> None:
        """Note the columns of the imprint just read."""
        art = self._row.column(artwork, turn)
        self._placed += 1
        self.cells[self._row.number, self._placed] = Cells(
            art, self._row.column(location, turn) or art,
            self._row.column("platen", turn), self._row.column("pad", turn),
        )  # fmt: skip

    def _check_lettering(self, field: str, text: str) -> None:
        try:
            self.shop.lettering(text)
        except Refusal as refusal:
            self._row.wrong(self._row.column(field), str(refusal))

    def _location(self, text: str, column: Column | None) -> str:
        try:
            return self.shop.location(text)
        except Refusal as refusal:
            self._row.wrong(column, str(refusal))
            return ""

    def _art(self, text: str, turn: int) -> Art | None:
        column = self._row.column("artwork", turn) or self._row.column("location", turn)
        for kind in (ArtKind.NAME, ArtKind.NUMBER):
            if plain(text) in (kind.value, f"player {kind.value}"):
                lettering = self._row.cell(kind.value)
                if lettering:
                    self._check_lettering(kind.value, lettering)
                    return Art(kind, lettering)
                self._row.wrong(
                    column, f"asks for the {kind.value}, but this row has none: fill it in"
                )
                return None
        if not text:
            if column and not self._row.is_bad(column):
                self._row.wrong(column, "the artwork is missing: name its file")
            return None
        if below(self.folder, text.replace("\\", "/")) is None:
            self._row.wrong(
                column,
                f"“{text}” leads out of the folder {self.folder}: put the file into it, or say "
                "which folder holds the artwork",
            )
            return None
        path = self._find(text)
        if path is None:
            self._row.wrong(column, f"there is no file “{text}” in {self.folder}: check the name")
            return None
        return Art(ArtKind.FILE, text, path)

    def _find(self, text: str) -> Path | None:
        if text not in self._files:
            path = below(self.folder, text.replace("\\", "/"))
            there = path is not None and (path.is_file() or self.absent)
            self._files[text] = Path(os.path.realpath(path)) if path and there else None
        return self._files[text]


def total_word(row: Row) -> str:
    """Return the word of a row that only sums others up, such as “Total”; else nothing."""
    first = next((cell for cell in row if cell), "")
    total = isinstance(first, str) and re.match(r"(sub|grand )?total\b", first.lower())
    return str(first) if total else ""


def _an(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


def _numbered(piece: str, imprints: Sequence[Imprint]) -> tuple[Imprint, ...]:
    """Return the imprints with the piece's ids; a number under its name follows it."""
    name: str | None = None
    numbered = []
    for index, imprint in enumerate(imprints, start=1):
        own = f"{piece}/{index}"
        if imprint.art.kind is ArtKind.NAME and _is_player(imprint.location):
            name = own
        under = imprint.art.kind is ArtKind.NUMBER and _is_player(imprint.location)
        numbered.append(replace(imprint, id=own, follows=name if under else None))
    return tuple(numbered)


def _is_player(location: str) -> bool:
    return "player" in plain(location)
