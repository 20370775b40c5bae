"""What transfers there are: the sheets that were printed, ganged or single, by the shop's list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePath

from calibration.refusal import Refusal
from chalkbeam.basics.cells import is_blank
from chalkbeam.basics.spreadsheets import read_table
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.orders.artworks import ArtworkFiles
from chalkbeam.orders.cells import RowCells
from chalkbeam.orders.headers import Column, plain
from chalkbeam.orders.pieces import ArtKind, Cut, Imprint, Piece
from chalkbeam.orders.problems import SheetRefusal
from chalkbeam.orders.rows import total_word
from chalkbeam.orders.sheet import headed

SAME = 0.5
"""Sizes this near, mm, are one size: a list gives eighths of an inch, the order millimetres."""

_SHEET = frozenset({"sheet", "sheet name", "gang", "gang sheet", "roll"})
_ON_EACH = frozenset({"on each", "per sheet", "on each sheet", "each", "up"})
_SHEETS = frozenset({"sheets", "printed", "copies", "prints", "sheets printed", "how many"})


@dataclass(frozen=True)
class PrintedTransfer:
    """What is printed: the same for whichever piece it is pressed on.

    Attributes
    ----------
    kind : ArtKind
    text : str
        The artwork's file, or the lettering.
    pick : int or None
        Which artwork of a ganged file.
    page : int
    width, height : float or None
        Of the ink, mm, as the order gives them.
    usual : str
        Where the order gives no size: what its usual size hangs on.
    """

    kind: ArtKind
    text: str
    pick: int | None = None
    page: int = 1
    width: float | None = None
    height: float | None = None
    usual: str = ""

    @classmethod
    def of(cls, piece: Piece, imprint: Imprint) -> PrintedTransfer:
        """Return the transfer of an imprint."""
        art, sized = imprint.art, imprint.width is not None or imprint.height is not None
        alone = art.kind is ArtKind.FILE and not sized and art.cut.pick is None
        usual = f"{imprint.location}, {piece.style} {piece.size}" if alone else ""
        return cls(
            art.kind, art.text, art.cut.pick, art.cut.page, imprint.width, imprint.height, usual
        )

    def words(self, unit: Unit) -> str:
        """Return it in words: “crest, 3 1/2 in wide”."""
        name = PurePath(self.text).stem if self.kind is ArtKind.FILE else self.text
        said = [name if self.kind is ArtKind.FILE else f"{self.kind.value} {name}"]
        said[0] += f" no. {self.pick}" if self.pick is not None else ""
        said += [f"page {self.page}"] if self.page > 1 else []
        said += [f"{format_length(self.width, unit)} wide"] if self.width is not None else []
        said += [f"{format_length(self.height, unit)} high"] if self.height is not None else []
        said += [f"usual for {self.usual.replace('_', ' ')}"] if self.usual else []
        return ", ".join(said)

    @property
    def key(self) -> str:
        """What it is known by in a record."""
        sides = "x".join("" if e is None else f"{e:.1f}" for e in (self.width, self.height))
        return f"{self.kind.value}|{self.text}|{self.pick or ''}|{self.page}|{sides}|{self.usual}"


@dataclass(frozen=True)
class PrintedSheet:
    """A kind of sheet that was printed.

    Attributes
    ----------
    name : str
    sheets : int
        How many of it.
    holds : tuple of (PrintedTransfer, int)
        What is on each, and how often.
    file : Path or None
        Where a ganged file is it, that file; `cut` says which page and how wide.
    cut : Cut or None
    """

    name: str
    sheets: int
    holds: tuple[tuple[PrintedTransfer, int], ...]
    file: Path | None = None
    cut: Cut | None = None

    @property
    def numbered(self) -> bool:
        """Whether it is a ganged file, whose artworks have numbers of their own."""
        files = {(transfer.text, transfer.page) for transfer, _ in self.holds}
        picks = [transfer.pick for transfer, on_each in self.holds for _ in range(on_each)]
        return len(files) == 1 and None not in picks and len(picks) == len(set(picks))


@dataclass(frozen=True)
class Printed:
    """All that was printed for an order.

    Attributes
    ----------
    sheets : tuple of PrintedSheet
    notes : tuple of str
        What of the list the order has no use for.
    """

    sheets: tuple[PrintedSheet, ...]
    notes: tuple[str, ...] = ()
    counts: Mapping[PrintedTransfer, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        counts: Counter[PrintedTransfer] = Counter()
        for sheet in self.sheets:
            for transfer, on_each in sheet.holds:
                counts[transfer] += on_each * sheet.sheets
        object.__setattr__(self, "counts", dict(counts))


def wanted(pieces: Iterable[Piece]) -> dict[PrintedTransfer, int]:
    """Return how many of each transfer an order takes, in its own order."""
    return dict(
        Counter(PrintedTransfer.of(piece, each) for piece in pieces for each in piece.imprints)
    )


def as_needed(pieces: Sequence[Piece]) -> Printed:
    """Return what must be printed for an order at least: ganged files whole, the rest singly."""
    gangs: dict[tuple[str, int, Path | None, Cut], Counter[PrintedTransfer]] = {}
    singles: Counter[PrintedTransfer] = Counter()
    for piece in pieces:
        for imprint in piece.imprints:
            art, transfer = imprint.art, PrintedTransfer.of(piece, imprint)
            if art.cut.pick is None:
                singles[transfer] += 1
                continue
            one = _sheet_cut(art.cut)
            gangs.setdefault((art.text, one.page, art.path, one), Counter())[transfer] += 1
    sheets = [
        PrintedSheet(
            text if page == 1 else f"{text}, page {page}", max(found.values()),
            tuple((each, 1) for each in sorted(found, key=lambda each: each.pick or 0)), path, cut,
        )
        for (text, page, path, cut), found in gangs.items()
    ]  # fmt: skip
    for transfer, count in singles.items():
        name = transfer.text if transfer.kind is ArtKind.FILE else "names and numbers"
        sheets.append(PrintedSheet(name, 1, ((transfer, count),)))
    return Printed(tuple(_gathered(sheets)))


def _gathered(sheets: Sequence[PrintedSheet]) -> list[PrintedSheet]:
    """Return the sheets with single ones of one name as one pile."""
    found: dict[tuple[str, Path | None, Cut | None], PrintedSheet] = {}
    for sheet in sheets:
        key = (sheet.name, sheet.file, sheet.cut)
        before = found.get(key)
        held = (before.holds if before is not None else ()) + sheet.holds
        found[key] = PrintedSheet(sheet.name, sheet.sheets, held, sheet.file, sheet.cut)
    return list(found.values())


def read_printed(path: Path, pieces: Sequence[Piece], folder: Path, unit: Unit | None) -> Printed:
    """Read the list of what was printed.

    A row for each artwork of each sheet: Sheet, Artwork (or Name, Number), its size or pick, On
    each (how often it is on one sheet) and Sheets (how many were printed).

    Raises
    ------
    SheetRefusal
        With every cell that cannot be read, or that fits several transfers of the order.
    Refusal
        If the file cannot be read, or has not these columns.
    """
    found = headed(read_table(path), path)
    fields = {column.field for column in found.header.columns}
    if not fields & {"artwork", "name", "number"}:
        raise Refusal(f"{path} does not say which artwork was printed: add an Artwork column.")
    own = {name: _own_column(found.header.unknown, words) for name, words in
           (("sheet", _SHEET), ("on each", _ON_EACH), ("sheets", _SHEETS))}  # fmt: skip
    if own["sheets"] is None:
        raise Refusal(f"{path} does not say how many were printed: add a Sheets column.")
    row, files = RowCells(found.header, unit), ArtworkFiles(folder, absent=True)
    reader = _Reader(row, files, wanted(pieces), own)
    for number, cells in enumerate(found.rows, start=1):
        if number > found.header.row + 1 and not is_blank(cells) and not total_word(cells):
            row.take(number, cells)
            reader.read()
    if row.problems:
        raise SheetRefusal(path, row.problems)
    printed = reader.printed()
    files_of = {
        PrintedTransfer.of(piece, imprint): (imprint.art.path, _sheet_cut(imprint.art.cut))
        for piece in pieces
        for imprint in piece.imprints
    }
    return replace(printed, sheets=tuple(_as_file(each, files_of) for each in printed.sheets))


def _sheet_cut(cut: Cut) -> Cut:
    """Return how a ganged file is cut, whichever artwork of it is meant."""
    return replace(cut, pick=None)


def _as_file(
    sheet: PrintedSheet, files_of: Mapping[PrintedTransfer, tuple[Path | None, Cut]]
) -> PrintedSheet:
    """Return a sheet with the ganged file that it is, if it is one."""
    if not sheet.numbered:
        return sheet
    path, cut = files_of[sheet.holds[0][0]]
    return replace(sheet, file=path, cut=cut)


class _Reader:
    """Reads the rows of a list of what was printed."""

    def __init__(
        self, row: RowCells, files: ArtworkFiles, order: Mapping[PrintedTransfer, int],
        own: Mapping[str, Column | None],
    ) -> None:  # fmt: skip
        self._row, self._files, self._order, self._own = row, files, order, own
        self._sheets: dict[str, tuple[int, list[tuple[PrintedTransfer, int]]]] = {}
        self._notes: list[str] = []

    def read(self) -> None:
        """Take the row that the cells are at."""
        called = self._text("sheet")
        on_each, sheets = self._count("on each"), self._count("sheets")
        transfer, called_art = self._transfer()
        if transfer is None or on_each is None or sheets is None:
            return
        name = called or called_art
        before = self._sheets.setdefault(name, (sheets, []))
        if before[0] != sheets:
            self._row.wrong(
                self._own["sheets"],
                f"“{name}” was printed {before[0]} times by another row: say one of them",
            )
        before[1].append((transfer, on_each))

    def printed(self) -> Printed:
        """Return all that was read."""
        sheets = (PrintedSheet(n, count, tuple(held)) for n, (count, held) in self._sheets.items())
        return Printed(tuple(sheets), tuple(self._notes))

    def _transfer(self) -> tuple[PrintedTransfer | None, str]:
        """Return the order's transfer that a row means, and what the row calls it."""
        row = self._row
        for kind in (ArtKind.NAME, ArtKind.NUMBER):
            if text := row.cell(kind.value):
                return self._found(kind, text, text, None, None), text
        text = row.cell("artwork")
        if not text:
            row.wrong(row.column("artwork"), "the artwork is missing: name its file")
            return None, ""
        file = self._files.find(text)
        width, height = (row.length(each, row.cell(each)) for each in ("width", "height"))
        if row.cell("print size"):
            width, height = row.ink_size(row.cell("print size"), 1)
        return self._found(ArtKind.FILE, file[0] if file else text, text, width, height), text

    def _found(
        self, kind: ArtKind, name: str, text: str, width: float | None, height: float | None
    ) -> PrintedTransfer | None:
        pick, page = self._row.whole("pick", 1), self._row.whole("page", 1)
        alike = [
            each
            for each in self._order
            if each.kind is kind and each.text == name
            and (pick is None or each.pick == pick) and (page is None or each.page == page)
            and _same(width, each.width) and _same(height, each.height)
        ]  # fmt: skip
        if len(alike) == 1:
            return alike[0]
        if not alike:
            self._notes.append(f"Row {self._row.number}: “{text}” so printed is not in this order.")
            return None
        told = "; ".join(each.words(Unit.MM) for each in alike[:4])
        self._row.wrong(
            self._row.column("artwork"), f"may be several transfers ({told}): say its size or pick"
        )
        return None

    def _text(self, name: str) -> str:
        column = self._own[name]
        return "" if column is None else self._row.text(column)

    def _count(self, name: str) -> int | None:
        text = self._text(name)
        if not text and name == "on each":
            return 1
        if text.isdecimal() and 0 < len(text) <= 5:
            return int(text)
        self._row.wrong(self._own[name], f"“{text}” is no number of transfers: write one")
        return None


def _own_column(unknown: Sequence[tuple[int, str]], words: frozenset[str]) -> Column | None:
    """Return a column that only such a list has, by its heading."""
    for index, title in unknown:
        if plain(title) in words:
            return Column(index, "", 1, "", title)
    return None


def _same(said: float | None, size: float | None) -> bool:
    return said is None or (size is not None and abs(said - size) <= SAME)
