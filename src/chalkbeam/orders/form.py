"""A blank order form: a workbook with drop-downs of what the shop has."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from pathlib import Path

from chalkbeam.garments import FITS, sizes, styles
from chalkbeam.garments.fabrics import fabrics
from chalkbeam.garments.library import style_words
from chalkbeam.locations import locations
from chalkbeam.orders.artworks import ENDINGS
from chalkbeam.orders.transfers import transfers

TITLES = (
    "Style", "Fit", "Size", "Colour", "Quantity", "Location", "Artwork", "Print size",
    "Transfer", "Location 2", "Artwork 2", "Print size 2", "Location 3", "Artwork 3",
    "Print size 3", "Name", "Number", "Temperature", "Time", "Pressure", "Peel", "Prepress",
    "For", "Note",
)  # fmt: skip
ABOVE = ("Customer", "Order number")
"""What is filled in once, above the header."""
ROWS = 200
"""Rows with drop-downs."""
_SMALL = frozenset({"Fit", "Size", "Quantity", "Number", "Time", "Peel", "Prepress"})


def blank_form(artwork: Path | None = None) -> bytes:
    """Return an empty order as XLSX.

    Parameters
    ----------
    artwork : Path, optional
        Folder whose artwork files are offered.
    """
    import openpyxl
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter
    from openpyxl.workbook.defined_name import DefinedName
    from openpyxl.worksheet.datavalidation import DataValidation

    book = openpyxl.Workbook()
    page = book.active
    assert page is not None  # a new workbook has a worksheet
    page.title = "Order"
    lists = book.create_sheet("Lists")
    lists.sheet_state = "hidden"
    head = PatternFill("solid", fgColor="FFE7ECF2")
    for row, title in enumerate(ABOVE, start=1):
        page.cell(row, 1, f"{title}:").font = Font(bold=True)
        page.cell(row, 2).number_format = "@"
    top = len(ABOVE) + 2
    for index, title in enumerate(TITLES, start=1):
        cell = page.cell(top, index, title)
        cell.font, cell.fill = Font(bold=True), head
        cell.alignment = Alignment(vertical="center")
        page.column_dimensions[get_column_letter(index)].width = 11 if title in _SMALL else 18
        for row in range(top + 1, top + 1 + ROWS):
            page.cell(row, index).number_format = "@"  # or a spreadsheet turns 5/6 into a date
    page.row_dimensions[top].height = 22
    page.freeze_panes = page.cell(top + 1, 1)

    named: dict[str, str] = {}
    for column, (name, words) in enumerate(_lists(artwork).items(), start=1):
        for row, word in enumerate(words, start=1):
            lists.cell(row, column, word)
        letter = get_column_letter(column)
        place = f"Lists!${letter}$1:${letter}${max(len(words), 1)}"
        book.defined_names[name] = DefinedName(name, attr_text=place)
        named[name] = place
    for index, title in enumerate(TITLES, start=1):
        name = _list_of(title)
        if name not in named:
            continue
        formula = f"={name}"
        if name == "every_size":  # those of the row's style, where it has one
            style = f"MATCH($A{top + 1},styles,0)"
            formula = f'=IF(ISNA({style}),every_size,INDIRECT("sizes_"&{style}))'
        offer = DataValidation(
            type="list", formula1=formula, allow_blank=True, errorStyle="warning"
        )
        offer.error = "This is not in the list. It is kept if you say so, and checked later."
        letter = get_column_letter(index)
        offer.add(f"{letter}{top + 1}:{letter}{top + ROWS}")
        page.add_data_validation(offer)
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def _list_of(title: str) -> str:
    """Return the name of the list that a column is filled from; empty for none."""
    word = re.sub(r"\W*\d*$", "", title).casefold()
    return {"size": "every_size"}.get(word, f"{word}s".replace(" ", "_"))


def _lists(artwork: Path | None) -> Mapping[str, Sequence[str]]:
    """Return every list by its name in the workbook."""
    by_style = {
        style: tuple(dict.fromkeys(size for fit in FITS for size in sizes(style, fit=fit)))
        for style in styles()
    }
    files = sorted(artwork.iterdir()) if artwork is not None and artwork.is_dir() else []
    return {
        "styles": [style_words(style) for style in by_style],
        "fits": ["regular", "women's"],
        "every_size": list(dict.fromkeys(size for each in by_style.values() for size in each)),
        "colours": list(fabrics()),
        "locations": sorted(each.title for each in locations().values()),
        "artworks": [path.name for path in files if path.suffix.lower() in ENDINGS],
        "transfers": list(transfers()),
        "peels": ["hot", "warm", "cold"],
        **{f"sizes_{place}": found for place, found in enumerate(by_style.values(), start=1)},
    }
