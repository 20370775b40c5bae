"""The shop's orders on disk: a folder each, with the sheet and the artwork that it names.

They are what the command line reads: `chalkbeam run FOLDER/sheet.csv`.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import shutil
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from calibration.files import write_whole
from calibration.refusal import Refusal
from chalkbeam.basics.suggestions import near
from chalkbeam.basics.toml_files import read_data
from chalkbeam.web.orders.table import OrderTable, TakenSheet, take_over
from chalkbeam.web.words import t

SHEET, ABOUT = "sheet.csv", "order.toml"

SHEETS = (".csv", ".tsv", ".txt", ".xlsx")
ARTWORK = (".png", ".jpg", ".jpeg", ".webp", ".tif", ".tiff", ".svg", ".svgz", ".pdf")
"""Endings of what may be dropped into an order."""

RESERVED = ("new",)
"""Names that the page's own addresses have."""

MOST_FILES = 200
"""Artworks of one order."""


class About(BaseModel):
    """What is known of an order besides its sheet; the file `order.toml`.

    Attributes
    ----------
    title, customer : str
    made : str
        Day, ISO 8601.
    earlier : str
        Run that it repeats, by its id; empty for none.
    remarks : tuple of str
        What was found when its sheet was taken over, until somebody has seen it.
    """

    model_config = ConfigDict(extra="ignore", frozen=True)
    title: str = ""
    customer: str = ""
    made: str = ""
    earlier: str = ""
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class OrderFolder:
    """An order.

    Attributes
    ----------
    path : Path
        Its folder; the folder's name is the order's.
    """

    path: Path

    @property
    def name(self) -> str:
        """What it is called in addresses."""
        return self.path.name

    @property
    def sheet(self) -> Path:
        """Its sheet: `SHEET`, or the one CSV of a folder that was made by hand."""
        own = self.path / SHEET
        others = sorted(self.path.glob("*.csv"))
        return others[0] if not own.exists() and len(others) == 1 else own

    @property
    def about(self) -> About:
        """What is known of it."""
        file = self.path / ABOUT
        try:
            known = read_data(file, About) if file.is_file() else About()
        except Refusal:  # edited by hand: the sheet counts
            known = About()
        return known if known.title else known.model_copy(update={"title": self.name})

    @property
    def artwork(self) -> tuple[str, ...]:
        """The names of its artwork files."""
        return tuple(
            sorted(each.name for each in self.path.iterdir() if each.suffix.lower() in ARTWORK)
        )

    @property
    def changed(self) -> float:
        """When anything in it was changed last, seconds."""
        return max((each.stat().st_mtime for each in self.path.iterdir()), default=0.0)

    def state(self) -> str:
        """Return a word that changes with any of its files."""
        files = sorted(
            (each.name, each.stat().st_mtime_ns, each.stat().st_size)
            for each in self.path.iterdir()
            if each.name != ABOUT
        )
        return hashlib.sha256(repr(files).encode()).hexdigest()[:16]

    def taken(self) -> TakenSheet:
        """Return its table, and which row of the sheet is which."""
        return take_over(self.sheet, self.sheet.name)

    def save_table(self, table: OrderTable, above: Sequence[Sequence[str]] = ()) -> None:
        """Write its sheet, whole or not at all; `above` stays above the header.

        So the rows of a sheet made by hand keep their numbers, by which its pieces are known.
        """
        write_whole(self.sheet, table.csv(above))

    def save_about(self, about: About) -> None:
        """Write what is known of it."""
        lines = [
            f"{name} = {json.dumps(value, ensure_ascii=False)}"
            for name, value in about.model_dump().items()
            if value
        ]
        write_whole(self.path / ABOUT, "\n".join(lines) + "\n")

    def add_artwork(self, name: str, content: bytes) -> str:
        """Write an artwork file, in place of one of its name; return that name."""
        own = file_name(name)
        if Path(own).suffix.lower() not in ARTWORK:
            raise Refusal(t("orders.other_kind", names=f"“{name}”"))
        if len(self.artwork) >= MOST_FILES:
            raise Refusal(t("orders.too_many_files", most=MOST_FILES))
        write_whole(self.path / own, content)
        return own


def file_name(name: str) -> str:
    """Return the name that a file of a browser's gets here: no folder, nothing hidden or odd."""
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", name))[-1]
    clean = "".join(c for c in last if c.isprintable() and c not in '<>:"|?*').strip(" .")
    stem, dot, ending = clean.rpartition(".")
    if not stem or not dot:
        raise Refusal(t("orders.odd_name", name=name))
    return f"{stem[:100]}.{ending[:10]}"


def orders_in(root: Path) -> list[OrderFolder]:
    """Return every order, the one changed last first."""
    if not root.is_dir():
        return []
    found = (OrderFolder(each) for each in root.iterdir() if each.is_dir())
    there = [each for each in found if not each.name.startswith(".") and each.sheet.is_file()]
    return sorted(there, key=lambda each: -each.changed)


def order_named(root: Path, name: str) -> OrderFolder:
    """Return an order.

    Raises
    ------
    Refusal
        If there is none of that name.
    """
    plain = name == Path(name).name and "\\" not in name and not name.startswith(".")
    if plain and OrderFolder(root / name).sheet.is_file():
        return OrderFolder(root / name)
    like = near(name, [each.name for each in orders_in(root)])
    asked = t("orders.is_it", names=" / ".join(like)) if like else t("orders.in_list")
    raise Refusal(t("orders.no_order", name=name, asked=asked))


def make_order(root: Path, about: About, table: OrderTable, shared: bool = False) -> OrderFolder:
    """Make a new order, in a folder called after its title.

    One that presses may share gets a mark besides: they know it by its folder's name, and two
    machines may each have an order of a title.
    """
    base = slug(about.title) + (f"-{secrets.token_hex(2)}" if shared else "")
    name, number = base, 1
    while name in RESERVED or (root / name).exists():
        number += 1
        name = f"{base}-{number}"
    made = OrderFolder(root / name)
    made.save_about(about.model_copy(update={"made": date.today().isoformat()}))
    made.save_table(table)
    return made


def order_again(
    root: Path, old: OrderFolder, title: str, earlier: str, shared: bool = False
) -> OrderFolder:
    """Make an order like an old one, its artwork with it.

    Parameters
    ----------
    earlier : str
        The run whose placements come back; empty for none.
    shared : bool
        As in `make_order`.
    """
    about = old.about.model_copy(update={"title": title, "earlier": earlier, "remarks": ()})
    made = make_order(root, about, old.taken().table, shared)
    for name in old.artwork:
        shutil.copy2(old.path / name, made.path / name)
    return made


def slug(title: str) -> str:
    """Return a folder's name for a title: “Tern Harbour, regatta” → “tern-harbour-regatta”."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return "-".join(re.findall(r"[a-z0-9]+", plain))[:60].strip("-") or "order"


def sorted_files(names: Sequence[str]) -> tuple[list[str], list[str], list[str]]:
    """Return the sheets, the artworks and the rest of some files, by their endings."""
    sheets = [each for each in names if each.lower().endswith(SHEETS)]
    artworks = [each for each in names if each.lower().endswith(ARTWORK)]
    return sheets, artworks, [each for each in names if each not in (*sheets, *artworks)]
