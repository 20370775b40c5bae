"""The imprints that one row of a run sheet asks for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from calibration.refusal import Refusal
from chalkbeam.artwork.faces import BUILTIN, PLAIN, find_face
from chalkbeam.orders.artworks import ArtworkFiles
from chalkbeam.orders.cells import RowCells
from chalkbeam.orders.headers import Cells, Column, plain
from chalkbeam.orders.pieces import Art, ArtKind, Cut, Imprint
from chalkbeam.orders.shop import Shop

NAME_LOCATION = "player name"
NUMBER_LOCATION = "player number"
"""Where a name and a number go unless the sheet has a column that says otherwise."""

_PARTING = re.compile(r"\s*[;\n]\s*|\s+[+&]\s+")
"""Parts whatever a cell lists."""
_PLACES = re.compile(r"\s*[;\n,/+&]\s*|\s+and\s+", re.IGNORECASE)
"""Parts locations, in whose names none of it occurs."""
_FILES = re.compile(r"\s*[;\n+&/]\s*|,\s+|\s+and\s+", re.IGNORECASE)
"""Parts files, where the whole is the name of none."""
_SIZES = re.compile(r"\s*[;\n+&]\s*|,\s+|\s+/\s+|\s+and\s+", re.IGNORECASE)
"""Parts sizes: a comma in a number has no space behind it, nor has the stroke of a fraction."""
_UNIT = re.compile(r"\s*(mm|cm|in|inch|inches|[\"”″])\.?\s*$", re.IGNORECASE)


class ImprintReader:
    """Reads the imprints of the row that its cells are at.

    Attributes
    ----------
    cells : dict of (row, place) to Cells
        Columns of each imprint, by its row and its place among the piece's imprints, from 1.
    """

    def __init__(self, row: RowCells, shop: Shop, files: ArtworkFiles, turns: Sequence[int]):
        self._row, self._shop, self._files, self._turns = row, shop, files, turns
        self.cells: dict[tuple[int, int], Cells] = {}
        self._placed = 0

    def read(self) -> list[Imprint]:
        """Return the row's imprints, without their ids; what is wrong is told to the row."""
        self._placed = 0
        before = len(self._row.problems)
        imprints: list[Imprint] = []
        for turn in self._turns:
            imprints += self._listed(turn)
        imprints += self._lettering({imprint.art.kind for imprint in imprints})
        if not imprints and len(self._row.problems) == before:
            self._row.wrong(
                self._row.column("location"),
                "nothing is to be pressed: give a location and an artwork",
            )
        return imprints

    def _listed(self, turn: int) -> list[Imprint]:
        """Return the imprints of one set of columns; a cell may list several."""
        parts = {
            field: _parts(self._row.cell(field, turn), _SIZES)
            for field in ("width", "height", "print size")
        }
        parts["location"] = self._places(self._row.cell("location", turn))
        parts["artwork"] = self._named_files(self._row.cell("artwork", turn))
        locations = parts.pop("location")
        if not locations:
            for field, listed in parts.items():
                if listed:
                    self._row.wrong(
                        self._row.column("location", turn) or self._row.column(field, turn),
                        f"there is {_an(field)} but no location: say where it goes",
                    )
                    break
            return []
        for field, listed in parts.items():
            if len(listed) == 1:
                parts[field] = listed * len(locations)
            elif listed and len(listed) != len(locations):
                self._row.wrong(
                    self._row.column(field, turn),
                    f"lists {len(listed)} for {len(locations)} locations: give one for all "
                    "or one each",
                )
                return []
        press, imprints = self._row.press(turn), []
        for place, location in enumerate(locations):
            at = {field: listed[place] if listed else "" for field, listed in parts.items()}
            art = self._art(at["artwork"], turn)
            where = self._location(location, self._row.column("location", turn))
            width, height = self._size(at, turn)
            if art and where:
                imprint = Imprint("", where, art, width, height, press)
                imprints.append(self._as_set(self._as_lettered(imprint), turn))
                self._note_columns("artwork", "location", turn)
        return imprints

    def _as_set(self, imprint: Imprint, turn: int) -> Imprint:
        """Return an imprint with what its row says of platen, pad, collar and turn."""
        cell = self._row.cell
        return replace(
            imprint, platen=cell("platen", turn), pad=cell("pad", turn),
            pad_place=self._row.pad_place(turn), overhang=self._row.distance("collar place", turn),
            aside=self._row.distance("aside", turn),
            turn=self._row.turned(turn),
        )  # fmt: skip

    def _as_lettered(self, imprint: Imprint) -> Imprint:
        """Return a name or number with what its row says of its letters."""
        kind = imprint.art.kind
        if kind is ArtKind.FILE:
            return imprint
        # Numbers stay straight under a name that is bent.
        arc = self._row.length("arc", self._row.cell("arc")) if kind is ArtKind.NAME else None
        narrowest = self._row.share("narrowest")
        return replace(imprint, face=self._face(kind), arc=arc, narrowest=narrowest)

    def _face(self, kind: ArtKind) -> str:
        """Return the face of a row's names or numbers; empty for the usual one."""
        own = kind is ArtKind.NUMBER and self._row.cell("number font")
        field = "number font" if own else "font"
        text = self._row.cell(field)
        if not text:
            return ""
        try:
            path = find_face(text, self._files.folder)
        except Refusal as refusal:
            self._row.wrong(self._row.column(field), str(refusal))
            return ""
        return text.lower() if text.lower() in BUILTIN else str(path.absolute())

    def _size(self, at: dict[str, str], turn: int) -> tuple[float | None, float | None]:
        """Return width and height of one imprint's ink, from its columns or its print size."""
        width, height = (self._row.length(each, at[each], turn) for each in ("width", "height"))
        if not at["print size"]:
            return width, height
        if at["width"] or at["height"]:
            self._row.wrong(
                self._row.column("print size", turn),
                "says a size that the width or the height says too: keep one",
            )
            return width, height
        return self._row.ink_size(at["print size"], turn)

    def _places(self, text: str) -> list[str]:
        """Return the locations that a cell lists: “LC + full back”, “front/back”."""
        found = []
        for part in _parts(text, _PARTING):
            try:
                self._shop.location(part)
                found.append(part)
            except Refusal:
                found += _parts(part, _PLACES)
        return found

    def _named_files(self, text: str) -> list[str]:
        """Return the artworks that a cell lists."""
        found = []
        for part in _parts(text, _PARTING):
            whole = _kind_of(part) or self._files.leads_out(part) or self._files.find(part)
            split = [part] if whole else _parts(part, _FILES)
            known = all(_kind_of(each) or self._files.find(each) for each in split)
            found += split if known else [part]
        return found

    def _lettering(self, placed: set[ArtKind]) -> list[Imprint]:
        """Return the name and the number where no location of the row already asks for them."""
        imprints = []
        press = None
        for kind, usual in ((ArtKind.NAME, NAME_LOCATION), (ArtKind.NUMBER, NUMBER_LOCATION)):
            field = kind.value
            text = self._row.cell(field)
            if not text or kind in placed:
                continue
            self._check_lettering(kind, text)
            press = press or self._row.press(1)
            where = self._location(
                self._row.cell(f"{field} location") or usual,
                self._row.column(f"{field} location") or self._row.column(field),
            )
            width, height = (
                self._row.length(each, self._row.cell(each))
                for each in (f"{field} width", f"{field} height")
            )
            if where:
                art = Art(kind, text, cut=self._cut_lettering())
                imprint = Imprint(
                    "", where, art, width, height, press, self._row.cell("platen"),
                    self._row.cell("pad"), pad_place=self._row.pad_place(1),
                )  # fmt: skip
                imprints.append(self._as_lettered(imprint))
                self._note_columns(field, f"{field} location", 1)
        return imprints

    def _cut(self, turn: int) -> Cut:
        """Return how the transfer of a file is cut."""
        row = self._row
        margin, width = (
            row.length(each, row.shared(each, turn), turn if row.column(each, turn) else 1)
            for each in ("sheet margin", "sheet width")
        )
        page, pick = row.whole("page", turn), row.whole("pick", turn)
        return Cut(
            row.transfer(turn)[1].margin if margin is None else margin, width,
            self._mirrored(turn), page or 1, pick,
        )  # fmt: skip

    def _mirrored(self, turn: int) -> bool:
        """Return whether a sheet is printed in mirror image: as the row says, else its product."""
        if self._row.shared("mirrored", turn):
            return self._row.truth("mirrored", turn)
        return self._row.transfer(turn)[1].carrier == "mirrored"

    def _cut_lettering(self) -> Cut:
        """Return how names and numbers are cut: as the row says, for want of columns of theirs."""
        margin = self._row.length("sheet margin", self._row.cell("sheet margin"))
        if margin is None:
            margin = self._row.transfer(1)[1].margin
        return Cut(margin, mirrored=self._mirrored(1))

    def _note_columns(self, artwork: str, location: str, turn: int) -> None:
        """Note the columns of the imprint just read."""
        art = self._row.column(artwork, turn)
        self._placed += 1
        self.cells[self._row.number, self._placed] = Cells(
            art, self._row.column(location, turn) or art,
            self._row.column("platen", turn), self._row.column("pad", turn),
        )  # fmt: skip

    def _check_lettering(self, kind: ArtKind, text: str) -> None:
        try:
            self._shop.lettering(text, find_face(self._face(kind) or PLAIN))
        except Refusal as refusal:
            self._row.wrong(self._row.column(kind.value), str(refusal))

    def _location(self, text: str, column: Column | None) -> str:
        try:
            return self._shop.location(text)
        except Refusal as refusal:
            self._row.wrong(column, str(refusal))
            return ""

    def _art(self, text: str, turn: int) -> Art | None:
        column = self._row.column("artwork", turn) or self._row.column("location", turn)
        if kind := _kind_of(text):
            lettering = self._row.cell(kind.value)
            if lettering:
                self._check_lettering(kind, lettering)
                return Art(kind, lettering, cut=self._cut_lettering())
            self._row.wrong(column, f"asks for the {kind.value}, but this row has none: fill it in")
            return None
        if not text:
            if column and not self._row.is_bad(column):
                self._row.wrong(column, "the artwork is missing: name its file")
            return None
        folder = self._files.folder
        if self._files.leads_out(text):
            self._row.wrong(
                column,
                f"“{text}” leads out of the folder {folder}: put the file into it, or say "
                "which folder holds the artwork",
            )
            return None
        found = self._files.find(text)
        if found is None:
            alike = self._files.alike(text)
            said = (
                f"“{text}” may be {' or '.join(alike)}: write which"
                if alike
                else f"there is no file “{text}” in {folder}: check the name"
            )
            self._row.wrong(column, said)
            return None
        return Art(ArtKind.FILE, *found, self._cut(turn))


def numbered(piece: str, imprints: Sequence[Imprint]) -> tuple[Imprint, ...]:
    """Return the imprints with the piece's ids; a number under its name follows it."""
    name: str | None = None
    found = []
    for index, imprint in enumerate(imprints, start=1):
        own = f"{piece}/{index}"
        if imprint.art.kind is ArtKind.NAME and _is_player(imprint.location):
            name = own
        under = imprint.art.kind is ArtKind.NUMBER and _is_player(imprint.location)
        found.append(replace(imprint, id=own, follows=name if under else None))
    return tuple(found)


def _parts(text: str, parting: re.Pattern[str]) -> list[str]:
    """Return what a cell lists; a unit that is written once, at the end, holds for all sizes."""
    parts = [part for part in parting.split(text) if part]
    unit = _UNIT.search(text) if parting is _SIZES and len(parts) > 1 else None
    bare = re.compile(r"[^a-zA-Z\"”″]+")
    return [f"{part} {unit[1]}" if unit and bare.fullmatch(part) else part for part in parts]


def _kind_of(text: str) -> ArtKind | None:
    """Return what lettering a cell asks for; None if it names a file."""
    said = plain(text)
    kinds = (ArtKind.NAME, ArtKind.NUMBER)
    return next((kind for kind in kinds if said in (kind.value, f"player {kind.value}")), None)


def _is_player(location: str) -> bool:
    return "player" in plain(location)


def _an(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"
