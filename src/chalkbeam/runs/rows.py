"""The rows of a run sheet, one by one, to pieces."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.runs.catalogue import Catalogue
from chalkbeam.runs.headers import Cells, Column, Header, plain
from chalkbeam.runs.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.runs.problems import Problem
from chalkbeam.runs.table import BadCell, Row, column_letter, is_blank
from chalkbeam.units import Unit, parse_length

MOST_PIECES = 100_000
"""Beyond this a quantity is taken for a slip of the finger."""

NAME_LOCATION = "player name"
NUMBER_LOCATION = "player number"
"""Where a name and a number go unless the sheet has a column that says otherwise."""

_PARTING = re.compile(r"\s*[;\n]\s*|\s+[+&]\s+")
_BARE = re.compile(r"\d+(?:[.,]\d+)?(?:\s*[-–]\s*\d+(?:[.,]\d+)?)?")
"""A number or a range without a unit."""
_DURATION = re.compile(r"(\d+(?:[.,]\d+)?)\s*(s|sec|secs|second|seconds|min|minute|minutes)\.?")


class RowReader:
    """Turns rows into pieces and collects what is wrong.

    Attributes
    ----------
    pieces : list of Piece
    problems : list of Problem
    notes : list of str
    cells : dict of (row, place) to Cells
        Where each imprint stands, by its row and its place among the piece's imprints, from 1.
    absent : bool
        Whether artwork files may be absent.
    """

    def __init__(
        self,
        header: Header,
        unit: Unit | None,
        catalogue: Catalogue,
        folder: Path,
        absent: bool = False,
    ) -> None:
        self.absent = absent
        self.header, self.unit, self.catalogue, self.folder = header, unit, catalogue, folder
        self.columns = {(column.field, column.turn): column for column in header.columns}
        self.turns = sorted({column.turn for column in header.columns})
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.pieces: list[Piece] = []
        self.cells: dict[tuple[int, int], Cells] = {}
        self._row_cells = 0
        self._files: dict[str, Path | None] = {}
        self._row: Row = ()
        self._number = 0

    def problem(self, row: int, column: Column | None, message: str) -> None:
        """Add a problem; row 0 is the whole sheet."""
        place, title = (column.index, column.title) if column else (-1, "")
        self.problems.append(Problem(row, place, title, message.rstrip(".") + "."))

    def _wrong(self, column: Column | None, message: str) -> None:
        self.problem(self._number, column, message)

    def check_header(self) -> None:
        """Add what is wrong with the header, and what is to be known of it."""
        row = self.header.row + 1
        for field in self.header.missing:
            self.problem(row, None, f"there is no column for the {field}: add one headed “{field}”")
        for first, again in self.header.twice:
            self.problem(
                row, again, f"means the same as column {column_letter(first.index)}: keep one"
            )
        for index, title in self.header.unknown:
            self.notes.append(f"Column {column_letter(index)} “{title}” is not used.")
        if ("quantity", 1) not in self.columns:
            self.notes.append("There is no quantity column: each row is taken as one piece.")

    def _column(self, field: str, turn: int = 1) -> Column | None:
        return self.columns.get((field, turn))

    def _cell(self, field: str, turn: int = 1) -> str:
        column = self._column(field, turn)
        if column is None or column.index >= len(self._row):
            return ""
        cell = self._row[column.index]
        if isinstance(cell, BadCell):
            self._wrong(column, cell.reason)
            return ""
        return cell.strip()

    def _shared(self, field: str, turn: int) -> str:
        """Return a cell of this imprint's own column, else of the one for the whole row."""
        return self._cell(field, turn if self._column(field, turn) else 1)

    def _length(self, field: str, text: str, turn: int = 1) -> float | None:
        column = self._column(field, turn)
        if not text or column is None:
            return None
        try:
            if column.unit and re.fullmatch(r"[\d\s.,/⁄½¼¾⅛⅜⅝⅞-]+", text):
                text = f"{text} {column.unit}"
            length = parse_length(text, self.unit)
            if not 1 <= length <= 2000:
                raise Refusal(f"“{text}” cannot be: the length must be from 1 mm to 2 m")
        except Refusal as refusal:
            self._wrong(column, str(refusal))
            return None
        return length

    def _seconds(self, field: str, turn: int) -> tuple[str, float | None]:
        """Return a duration as written, and in seconds if it is one plain duration."""
        column, text = self._column(field, turn), self._cell(field, turn)
        if column and _BARE.fullmatch(text):
            if not column.unit:
                self._wrong(
                    column, f"“{text}” has no unit: write {text} s as the supplier gives it"
                )
                return text, None
            text = f"{text} {column.unit}"
        match = _DURATION.fullmatch(text.lower())
        if match is None:
            return text, None
        return text, float(match[1].replace(",", ".")) * (60 if match[2].startswith("m") else 1)

    def _press(self, turn: int) -> PressSettings:
        def cell(field: str) -> str:
            text = self._shared(field, turn)
            unit = (self._column(field, turn) or self._column(field) or _NO_COLUMN).unit
            return f"{text} {unit}" if unit and _BARE.fullmatch(text) else text

        temperature = cell("temperature")
        if _BARE.fullmatch(temperature):
            self._wrong(
                self._column("temperature", turn) or self._column("temperature"),
                f"“{temperature}” has no unit: write {temperature} °C or {temperature} °F "
                "as the supplier gives it",
            )
        time, dwell = self._seconds("time", turn if self._column("time", turn) else 1)
        pre, pre_dwell = self._seconds("prepress", turn if self._column("prepress", turn) else 1)
        return PressSettings(
            temperature, time, cell("pressure"), cell("peel"), pre, dwell, pre_dwell
        )

    def _quantity(self) -> int:
        column = self._column("quantity")
        if column is None:
            return 1
        text = self._cell("quantity")
        match = re.fullmatch(r"(\d+)(?:[.,]0+)?(?:\s*(?:x|pcs?|pieces?)\.?)?", text.lower())
        if match is None:
            if not self._is_bad(column):
                said = (
                    f"“{text}” is not a number of pieces" if text else "how many pieces is missing"
                )
                self._wrong(column, f"{said}: write a whole number")
            return 0
        count = int(match[1])
        if len(self.pieces) + count > MOST_PIECES:
            self._wrong(column, f"makes more than {MOST_PIECES} pieces: split the order")
            return 0
        if count == 0:
            self.notes.append(f"Row {self._number} orders 0 pieces and is left out.")
        return count

    def take(self, number: int, row: Row) -> None:
        """Read the row with this spreadsheet number."""
        if is_blank(row):
            return
        first = next((cell for cell in row if cell), "")
        if isinstance(first, str) and re.match(r"(sub|grand )?total\b", first.lower()):
            self.notes.append(f"Row {number} begins with “{first}” and is left out.")
            return
        self._row, self._number, self._row_cells = row, number, 0
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
        name, number_text = self._cell("name"), self._cell("number")
        if quantity > 1 and name:
            self.notes.append(f"Row {number} puts the name “{name}” on {quantity} pieces.")
        for copy in range(1, quantity + 1):
            piece = f"{number}-{copy}"
            self.pieces.append(
                Piece(
                    piece, number, copy, quantity, style, size, self._cell("colour"),
                    _numbered(piece, imprints), name, number_text, self._cell("note"), order, fit,
                )
            )  # fmt: skip

    def _garment(self) -> tuple[str, str, str]:
        style, size, fit = self._cell("style"), self._cell("size"), self._cell("fit")
        for field, text in (("style", style), ("size", size)):
            column = self._column(field)
            if not text and column and not self._is_bad(column):
                self._wrong(column, f"the {field} is missing: fill it in")
        known_style = self._known("style", self.catalogue.style, style) if style else None
        known_fit = self._known("fit", self.catalogue.fit, fit)
        if known_style is None or known_fit is None or not size:
            return style, size, fit
        known_size = self._known(
            "size", lambda name: self.catalogue.size(known_style, name, known_fit), size
        )
        return known_style, known_size or size, known_fit

    def _known(self, field: str, find: Callable[[str], str], text: str) -> str | None:
        """Return the catalogue's own name for a cell; None, with a problem, if it has none."""
        try:
            return find(text)
        except Refusal as refusal:
            self._wrong(self._column(field), str(refusal))
            return None

    def _check_locations(
        self, style: str, size: str, fit: str, imprints: Sequence[Imprint]
    ) -> None:
        for location in dict.fromkeys(imprint.location for imprint in imprints):
            try:
                self.catalogue.check(style, size, fit, location)
            except Refusal as refusal:
                self._wrong(self._column("location"), f"{location} cannot be: {refusal}")

    def _is_bad(self, column: Column) -> bool:
        return column.index < len(self._row) and isinstance(self._row[column.index], BadCell)

    def _order(self) -> float | None:
        text, column = self._cell("order"), self._column("order")
        if not text or column is None:
            return None
        if not re.fullmatch(r"\d+(?:[.,]\d+)?", text):
            self._wrong(column, f"“{text}” is not a place in the order: write a number or nothing")
            return None
        return float(text.replace(",", "."))

    def _imprints(self) -> list[Imprint]:
        before = len(self.problems)
        imprints: list[Imprint] = []
        for turn in self.turns:
            imprints += self._listed_imprints(turn)
        imprints += self._lettering({imprint.art.kind for imprint in imprints})
        if not imprints and len(self.problems) == before:
            self._wrong(
                self._column("location"), "nothing is to be pressed: give a location and an artwork"
            )
        return imprints

    def _listed_imprints(self, turn: int) -> list[Imprint]:
        """Return the imprints of one set of columns; a cell may list several, parted by ; or +."""
        parts = {
            field: [part for part in _PARTING.split(self._cell(field, turn)) if part]
            for field in ("location", "artwork", "width", "height")
        }
        locations = parts["location"]
        if not locations:
            for field in ("artwork", "width", "height"):
                if parts[field]:
                    self._wrong(
                        self._column("location", turn) or self._column(field, turn),
                        f"there is {_an(field)} but no location: say where it goes",
                    )
                    break
            return []
        for field in ("artwork", "width", "height"):
            if len(parts[field]) == 1:
                parts[field] *= len(locations)
            elif parts[field] and len(parts[field]) != len(locations):
                self._wrong(
                    self._column(field, turn),
                    f"lists {len(parts[field])} for {len(locations)} locations: give one for all "
                    "or one each",
                )
                return []
        press = self._press(turn)
        imprints = []
        for place, location in enumerate(locations):
            art = self._art(parts["artwork"][place] if parts["artwork"] else "", turn)
            where = self._location(location, self._column("location", turn))
            sizes = [
                self._length(field, parts[field][place] if parts[field] else "", turn)
                for field in ("width", "height")
            ]
            if art and where:
                imprints.append(
                    Imprint("", where, art, sizes[0], sizes[1], press,
                            self._cell("platen", turn), self._cell("pad", turn))
                )  # fmt: skip
                self._stands("artwork", "location", turn)
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
            text = self._cell(field)
            if not text or kind in placed:
                continue
            self._check_lettering(field, text)
            press = press or self._press(1)
            where = self._location(
                self._cell(f"{field} location") or usual,
                self._column(f"{field} location") or self._column(field),
            )
            width = self._length(f"{field} width", self._cell(f"{field} width"))
            height = self._length(f"{field} height", self._cell(f"{field} height"))
            if where:
                imprints.append(
                    Imprint(
                        "", where, Art(kind, text), width, height, press,
                        self._cell("platen"), self._cell("pad"),
                    )
                )  # fmt: skip
                self._stands(field, f"{field} location", 1)
        return imprints

    def _stands(self, artwork: str, location: str, turn: int) -> None:
        """Keep which columns speak of the imprint just read."""
        art = self._column(artwork, turn)
        self._row_cells += 1
        self.cells[self._number, self._row_cells] = Cells(
            art, self._column(location, turn) or art,
            self._column("platen", turn), self._column("pad", turn),
        )  # fmt: skip

    def _check_lettering(self, field: str, text: str) -> None:
        try:
            self.catalogue.lettering(text)
        except Refusal as refusal:
            self._wrong(self._column(field), str(refusal))

    def _location(self, text: str, column: Column | None) -> str:
        try:
            return self.catalogue.location(text)
        except Refusal as refusal:
            self._wrong(column, str(refusal))
            return ""

    def _art(self, text: str, turn: int) -> Art | None:
        column = self._column("artwork", turn) or self._column("location", turn)
        for kind in (ArtKind.NAME, ArtKind.NUMBER):
            if plain(text) in (kind.value, f"player {kind.value}"):
                lettering = self._cell(kind.value)
                if lettering:
                    self._check_lettering(kind.value, lettering)
                    return Art(kind, lettering)
                self._wrong(column, f"asks for the {kind.value}, but this row has none: fill it in")
                return None
        if not text:
            if column and not self._is_bad(column):
                self._wrong(column, "the artwork is missing: name its file")
            return None
        path = self._find(text)
        if path is None:
            self._wrong(column, f"there is no file “{text}” in {self.folder}: check the name")
            return None
        return Art(ArtKind.FILE, text, path)

    def _find(self, text: str) -> Path | None:
        if text not in self._files:
            path = self.folder / text.replace("\\", "/")
            self._files[text] = path.resolve() if path.is_file() or self.absent else None
        return self._files[text]


_NO_COLUMN = Column(-1, "", 1, "", "")


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
