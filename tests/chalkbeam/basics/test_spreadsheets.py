"""A run sheet's cells, from CSV in its dialects and from XLSX."""

import contextlib
import csv
import io
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.refusal import Refusal
from chalkbeam.basics.cells import column_letter
from chalkbeam.basics.spreadsheets import read_table
from chalkbeam.orders.sheet import read_sheet
from tests.support.sheets import HEADER, ROW, problems, sheet_writer, workbook


@pytest.fixture
def order(tmp_path):
    return sheet_writer(tmp_path)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_dialects(order, delimiter, encoding, ending):
    text = f"{HEADER}{ending}{ROW}{ending}".replace(",", delimiter)
    assert len(read_sheet(order(text, encoding=encoding)).pieces) == 2


def test_windows_1252_is_read_and_said(order):
    text = f"{HEADER},Name,Name location\n{ROW},Zoë,left chest\n"
    sheet = read_sheet(order(text, encoding="cp1252"))
    assert sheet.pieces[0].name == "Zoë"
    assert "Windows-1252" in sheet.notes[0]


# RFC 4180, section 2: (5) fields may be quoted, (6) fields with commas, quotes and line
# breaks are quoted, (7) a quote inside is doubled; (1) lines end in CRLF, (2) the last may not.
def test_rfc_4180_quoting(order):
    text = (
        f"{HEADER},Note\r\n"
        'Crew tee,"M","navy, dark",1,left chest,"oars, crossed.png","3 1/2""","say ""row""\r\nnow"'
    )
    (piece,) = read_sheet(order(text)).pieces
    assert piece.colour == "navy, dark"
    assert piece.note == 'say "row"\r\nnow'
    assert piece.imprints[0].width == pytest.approx(88.9)


@given(
    st.lists(
        st.lists(
            st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=8),
            min_size=1,
            max_size=4,
        ),
        max_size=5,
    )
)
def test_any_csv_comes_back_as_written(tmp_path_factory, rows):
    # RFC 4180 writer: Python's csv module, `excel` dialect.
    written = io.StringIO(newline="")
    csv.writer(written, quoting=csv.QUOTE_ALL).writerows(rows)
    path = tmp_path_factory.mktemp("csv") / "any.csv"
    path.write_bytes(written.getvalue().encode("utf-8"))
    dialects = dict(read_table(path).dialects)
    assert dialects[","] == tuple(tuple(cell.strip() for cell in row) for row in rows)


def test_xlsx(order, tmp_path):
    order("")
    rows = [
        ["Style", "Size", "Qty", "Location", "Artwork", "Width (in)", "Number"],
        ["Crew tee", "M", 2.0, "nape", "crest.svg", 3.5, 7],
    ]
    workbook(tmp_path / "order.xlsx", rows)
    sheet = read_sheet(tmp_path / "order.xlsx")
    assert [p.number for p in sheet.pieces] == ["7", "7"]
    assert sheet.pieces[0].imprints[0].width == pytest.approx(88.9)


def test_xlsx_cells_that_hold_no_text(order, tmp_path):
    import datetime

    order("")
    rows = [
        ["Style", "Size", "Qty", "Location", "Artwork"],
        ["Tee", datetime.date(2026, 3, 2), 1, "nape", "crest.svg"],
        ["Tee", "M", "=1+1", "nape", "crest.svg"],
        ["Tee", "#REF!", 1, "nape", "crest.svg"],
    ]
    workbook(tmp_path / "order.xlsx", rows)
    said = problems(tmp_path / "order.xlsx")
    assert "column B (Size): was turned into a date" in said[0]
    assert "column C (Qty): holds a formula that has never been worked out" in said[1]
    assert "column B (Size): holds the error #REF!" in said[2]
    assert len(said) == 3


def test_xlsx_hidden_pages_are_passed_over(order, tmp_path):
    order("")
    workbook(tmp_path / "order.xlsx", [["secret"]], hidden=True)
    assert len(read_sheet(tmp_path / "order.xlsx").pieces) == 2


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04 not really", "cannot be opened as XLSX"),
        (b"\xd0\xcf\x11\xe0 old", "old XLS file"),
        # A directory entry's name is UTF-16 ([MS-CFB] 2.6.1, from memory).
        (b"\xd0\xcf\x11\xe0" + "EncryptedPackage".encode("utf-16-le"), "by a password"),
        (b"%PDF-1.7", "not a table"),
        (b"a,b\x00c", "not a table"),
        (b"\xff\xfea", "cut off or damaged"),
    ],
)
def test_files_that_are_no_sheet(tmp_path, content, said):
    path = tmp_path / "order.csv"
    path.write_bytes(content)
    with pytest.raises(Refusal, match=said) as refused:
        read_sheet(path)
    assert "\n" not in str(refused.value)


def test_an_xlsx_damaged_anywhere_is_one_sentence(order, tmp_path):
    """Cut off in the XML of any part, or spoiled in its packing: whatever its reader raises."""
    order("")
    path = tmp_path / "order.xlsx"
    workbook(path, [HEADER.split(","), ROW.split(",")])
    whole = path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    for spoiled in ("xl/workbook.xml", "xl/styles.xml", "xl/worksheets/sheet1.xml"):
        with zipfile.ZipFile(path, "w") as archive:
            for name, content in parts.items():
                archive.writestr(name, content[: len(content) // 2] if name == spoiled else content)
        with pytest.raises(Refusal, match="cannot be opened as XLSX"):
            read_sheet(path)
    for place in range(60, len(whole), 97):
        path.write_bytes(whole[:place] + b"spoiled" + whole[place + 7 :])
        with contextlib.suppress(Refusal):
            read_sheet(path)


def test_a_missing_file_is_one_sentence(tmp_path):
    with pytest.raises(Refusal, match="There is no file"):
        read_sheet(tmp_path / "none.csv")
    with pytest.raises(Refusal, match="cannot be read"):
        read_sheet(tmp_path)


def test_column_letters():
    assert [column_letter(i) for i in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]


def test_a_spreadsheets_unicode_text_with_decimal_commas(order):
    """Tabs and UTF-16 of either order, as spreadsheets save “Unicode text”."""
    text = f"{HEADER} (cm)\r\nCrew tee,M,weiß,2,left chest,crest.svg,8|9\r\n"
    text = text.replace(",", "\t").replace("|", ",")
    for mark, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        path = order("")
        path.write_bytes(mark + text.encode(encoding))
        piece = read_sheet(path).pieces[0]
        assert piece.colour == "weiß"
        assert piece.imprints[0].width == pytest.approx(89.0)


@pytest.mark.parametrize("text", ["sep=;\r\n{}", "{}", "Regatta\r\n\r\n{}"])
@pytest.mark.parametrize("ending", ["\r\n", "\r"])
def test_lines_above_the_header_and_old_line_ends(order, text, ending):
    rows = f"{HEADER}\r\n{ROW}\r\n".replace(",", ";")
    path = order(text.format(rows).replace("\r\n", ending))
    assert len(read_sheet(path).pieces) == 2


def test_a_quotation_mark_left_open_is_told_where_it_stands(order):
    """It swallows the rest of the file: what is wrong is not what the rest then looks like."""
    open_row = ROW.replace("crest.svg", '"crest.svg')
    (said,) = problems(order(f"{HEADER}\n{ROW}\n{open_row}\n{ROW}\n{ROW}\n"))
    assert said.startswith("row 3, column F (Artwork): opens a quotation mark that is never closed")
    # Inch marks within a cell open none.
    inches = ROW.replace("89 mm", '3 1/2"')
    assert len(read_sheet(order(f"{HEADER}\n{inches}\n{inches}")).pieces) == 4


def test_xlsx_cells_merged_over_rows_stand_for_all_of_them(order, tmp_path):
    order("")
    rows = [
        ["Tern Harbour Rowing Club"],
        ["Style", "Size", "Qty", "Location", "Artwork", "Width"],
        ["Tee", "M", 2, "nape", "crest.svg", "60 mm"],
        [None, "L", 1, None, None, "70 mm"],
        [None] * 6,
        [None, "XL", 1, None, None, "80 mm"],
    ]
    path = tmp_path / "order.xlsx"
    workbook(path, rows, merged=("A1:F1", "A3:A6", "D3:D6", "E3:E6"))
    sheet = read_sheet(path)
    assert [(p.row, p.style, p.size) for p in sheet.pieces] == [
        (3, "crew_tee", "M"), (3, "crew_tee", "M"), (4, "crew_tee", "L"), (6, "crew_tee", "XL"),
    ]  # fmt: skip
    assert {p.imprints[0].location for p in sheet.pieces} == {"nape"}


def test_a_quantity_merged_over_rows_is_not_guessed(order, tmp_path):
    order("")
    rows = [
        ["Style", "Size", "Qty", "Location", "Artwork"],
        ["Tee", "M", 3, "nape", "crest.svg"],
        ["Tee", "L", None, "nape", "crest.svg"],
    ]
    workbook(tmp_path / "order.xlsx", rows, merged=("C2:C3",))
    said = problems(tmp_path / "order.xlsx")
    assert len(said) == 2
    assert all("column C (Qty): is merged over several rows: write how many" in s for s in said)


def test_the_worksheet_with_a_header_is_read_and_two_orders_are_too_many(order, tmp_path):
    order("")
    listed = [HEADER.split(","), ROW.split(",")]
    path = tmp_path / "order.xlsx"
    workbook(path, [["Read me first"]], title="Cover", others={"Order": listed})
    assert len(read_sheet(path).pieces) == 2
    workbook(path, listed, others={"Old order": [*listed, *listed[1:]], "Notes": [["x"]]})
    with pytest.raises(Refusal, match="holds an order on “Order” and another on “Old order”"):
        read_sheet(path)
