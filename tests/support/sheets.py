"""Run sheets written for a test, and what is said of them."""

import openpyxl
import pytest

from chalkbeam.orders.problems import SheetRefusal
from chalkbeam.orders.sheet import read_sheet

HEADER = "Style,Size,Fabric colour,Quantity,Location,Artwork,Width"
ROW = "Crew tee,M,navy,2,left chest,crest.svg,89 mm"


def sheet_writer(folder):
    """Return a function that writes a sheet beside two artwork files and returns its path."""
    (folder / "crest.svg").write_text("<svg/>")
    (folder / "oars, crossed.png").write_text("")

    def write(text, name="order.csv", encoding="utf-8"):
        path = folder / name
        path.write_bytes(text.encode(encoding))
        return path

    return write


def problems(path, **options):
    with pytest.raises(SheetRefusal) as refused:
        read_sheet(path, **options)
    return [str(problem) for problem in refused.value.problems]


def workbook(path, rows, title="Order", hidden=False, merged=(), others=None):
    """Write a workbook; `merged` are ranges, `others` more worksheets by title."""
    book = openpyxl.Workbook()
    page = book.active
    page.title = title
    for row in rows:
        page.append(row)
    if hidden:
        page.sheet_state = "hidden"
        book.create_sheet("Shown").append(HEADER.split(","))
        book["Shown"].append(ROW.split(","))
    for cells in merged:
        page.merge_cells(cells)
    for name, more in (others or {}).items():
        book.create_sheet(name)
        for row in more:
            book[name].append(row)
    book.save(path)
