"""XLSX that says wrong things of itself, or is made to take all memory there is."""

import io
import re
import zipfile

import openpyxl
import pytest

from calibration.refusal import Refusal
from chalkbeam.basics import spreadsheets, workbooks
from chalkbeam.basics.cells import BadCell
from chalkbeam.basics.spreadsheets import read_table
from chalkbeam.garments.charts.reading import read_chart
from chalkbeam.orders.sheet import read_sheet
from tests.support.sheets import HEADER, ROW, sheet_writer, workbook

SHEET = "xl/worksheets/sheet1.xml"


def rewritten(path, change, part=SHEET):
    """Change the XML of a part of a workbook."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    changed = change(parts[part].decode())
    assert changed != parts[part].decode()
    parts[part] = changed.encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)


@pytest.fixture
def order(tmp_path):
    sheet_writer(tmp_path)("")
    path = tmp_path / "order.xlsx"
    workbook(path, [HEADER.split(","), *[ROW.split(",")] * 4])
    return path


@pytest.mark.parametrize("said", ["A1:G3", "A1:C5", "A1", "B2:C3", "A1:XFD1048576"])
def test_the_extent_that_a_worksheet_claims_is_not_believed(order, said):
    # ECMA-376-1, 18.3.1.35: `dimension` is optional and describes, it does not limit.
    rewritten(order, lambda xml: re.sub(r'<dimension ref="[^"]*"', f'<dimension ref="{said}"', xml))
    assert len(read_sheet(order).pieces) == 8


def test_a_charts_extent_is_not_believed_either(tmp_path):
    path = tmp_path / "chart.xlsx"
    sizes = [["S", 18], ["M", 20], ["L", 22], ["XL", 24]]
    workbook(path, [["Size", "Half chest (in)"], *sizes])
    rewritten(path, lambda xml: re.sub(r'<dimension ref="[^"]*"', '<dimension ref="A1:B3"', xml))
    assert [size.name for size in read_chart(path, "crew tee").sizes] == ["S", "M", "L", "XL"]


def test_hidden_rows_count_and_are_told(order):
    assert read_sheet(order).notes == ()
    rewritten(order, lambda xml: re.sub(r'<row r="([345])"', r'<row r="\1" hidden="1"', xml))
    sheet = read_sheet(order)
    assert len(sheet.pieces) == 8
    assert sheet.notes == (
        "Rows 3 to 5 are hidden in the spreadsheet and part of the order all the same.",
    )


def test_cells_merged_to_the_end_of_the_sheet_cost_nothing(order):
    merged = '</sheetData><mergeCells count="1"><mergeCell ref="C2:XFD1048576"/></mergeCells>'
    rewritten(order, lambda xml: xml.replace("</sheetData>", merged))
    sheet = read_sheet(order)
    assert {piece.colour for piece in sheet.pieces} == {"navy"}


@pytest.mark.parametrize(
    "row",
    [
        "".join(f'<row r="{k}"><c r="XFD{k}"><v>1</v></c></row>' for k in range(6, 400)),
        '<row r="900000000"><c r="A900000000"><v>1</v></c></row>',
    ],
)
def test_cells_far_out_are_refused(order, row):
    rewritten(order, lambda xml: xml.replace("</sheetData>", f"{row}</sheetData>"))
    with pytest.raises(Refusal, match=r"million cells|cannot be opened"):
        read_sheet(order)


def test_what_unpacks_to_more_than_memory_is_refused(order):
    padding = b" " * (workbooks.LARGEST_UNPACKED + 1)
    with zipfile.ZipFile(order, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("xl/media/image1.png", padding)
    assert order.stat().st_size < 2_000_000
    with pytest.raises(Refusal, match="once unpacked"):
        read_sheet(order)


def test_rows_out_of_order_are_refused_and_not_passed_over(order):
    rewritten(order, lambda xml: xml.replace('<row r="5"', '<row r="2"'))
    with pytest.raises(Refusal, match="cannot be opened as XLSX"):
        read_sheet(order)


def test_numbers_far_too_large_are_text(tmp_path):
    path = tmp_path / "order.xlsx"
    book = openpyxl.Workbook()
    book.active.append([1e300, 2.0, -0.5, True])
    book.save(path)
    ((_, rows),) = read_table(path).dialects
    assert rows == (("1e+300", "2", "-0.5", "yes"),)
    rewritten(path, lambda xml: xml.replace("<v>2</v>", f"<v>{'9' * 5000}</v>"))
    with pytest.raises(Refusal, match="cannot be opened"):
        read_table(path)


def test_a_table_of_too_many_cells_is_refused(tmp_path, monkeypatch):
    for module in (workbooks, spreadsheets):
        monkeypatch.setattr(module, "MOST_CELLS", 50)
    path = tmp_path / "order.csv"
    path.write_text(",,,\n" * 30)
    with pytest.raises(Refusal, match="more than"):
        read_table(path)
    buffer = io.BytesIO()
    book = openpyxl.Workbook()
    for _ in range(30):
        book.active.append([1, 2, 3])
    book.save(buffer)
    path.write_bytes(buffer.getvalue())
    with pytest.raises(Refusal, match="more than"):
        read_table(path)


def test_a_formula_without_a_value_is_told(tmp_path):
    path = tmp_path / "order.xlsx"
    workbook(path, [["Size", "=1+1"]])
    ((_, rows),) = read_table(path).dialects
    assert isinstance(rows[0][1], BadCell)


def test_a_charts_line_of_totals_is_left_out_and_told(tmp_path):
    path = tmp_path / "chart.csv"
    path.write_text("Size,Half chest (in)\nS,18\nM,20\nTotal,38\naverage,19\nOther,20\n")
    read = read_chart(path, "crew tee")
    assert [size.name for size in read.sizes] == ["S", "M"]
    assert read.left_out == ("row 4 “Total”", "row 5 “average”")
    assert [problem.row for problem in read.problems] == [6]  # no size, and no sum either
