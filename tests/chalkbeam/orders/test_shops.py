"""No print is dropped in silence: orders of three invented shops, and columns not understood.

What the orders mean is written down by hand beside them (tests/data/shops).
"""

import csv
import math
from collections import Counter
from pathlib import Path

import openpyxl
import pytest

from calibration.refusal import Refusal
from chalkbeam.orders.form import TITLES, blank_form
from chalkbeam.orders.headers import read_column, read_header
from chalkbeam.orders.headings import HEADINGS
from chalkbeam.orders.pieces import ArtKind
from chalkbeam.orders.place_imprint import place_imprint
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.placement.many import Placer
from chalkbeam.placement.platens import parse_pad_place
from tests.support.sheets import HEADER, ROW, problems, sheet_writer, workbook

SHOPS = Path(__file__).parents[2] / "data" / "shops"
IN = 25.4


@pytest.fixture
def order(tmp_path):
    return sheet_writer(tmp_path)


def meant(name):
    with (SHOPS / f"{name}.meaning.csv").open(newline="", encoding="utf-8") as lines:
        found = Counter()
        for row in csv.DictReader(lines):
            kind = (row["style"], row["size"], row["location"], row["art"], row["inches"])
            found[kind] += int(row["imprints"])
        return found


def read(path):
    sheet = read_sheet(path, artwork_folder=SHOPS / "art")
    return sheet, Counter(
        (
            piece.style,
            piece.size,
            imprint.location,
            imprint.art.text if imprint.art.kind is ArtKind.FILE else imprint.art.kind.value,
            f"{imprint.width / IN:g}" if imprint.width else "",
        )
        for piece in sheet.pieces
        for imprint in piece.imprints
    )


@pytest.mark.parametrize(
    ("name", "imprints"), [("office-order", 52), ("team-order", 90), ("matrix-order", 45)]
)
def test_what_is_read_is_what_was_meant(name, imprints):
    sheet, found = read(SHOPS / f"{name}.csv")
    assert len(sheet.pieces) == 30
    assert found == meant(name)
    assert found.total() == imprints


def test_the_same_order_as_a_workbook(tmp_path):
    with (SHOPS / "matrix-order.csv").open(newline="", encoding="utf-8") as lines:
        rows = [[int(c) if c.isdecimal() else c for c in row] for row in csv.reader(lines)]
    workbook(tmp_path / "order.xlsx", rows)
    assert read(tmp_path / "order.xlsx")[1] == meant("matrix-order")


def test_settings_customers_and_notes_come_along():
    piece = next(p for p in read(SHOPS / "office-order.csv")[0].pieces if p.row == 8)
    press = piece.imprints[1].press
    assert (press.temperature, press.dwell, press.pressure, press.peel) == (
        "280 F",
        10.0,
        "medium",
        "cold",
    )
    assert (piece.note, piece.customer) == ("tall fit", "Quillmarsh Bakery")


@pytest.mark.parametrize(
    ("title", "field", "turn"),
    [
        ("Print Size", "print size", 1),
        ("Second Location", "location", 2),
        ("Second Design", "artwork", 2),
        ("Second Size", "print size", 2),
        ("3rd placement", "location", 3),
        ("Location #2", "location", 2),
        ("Print 2 Location", "location", 2),
        ("Logo 2 width (in)", "width", 2),
        ("Second press", "second press", 1),
        ("Player", "name", 1),
    ],
)
def test_headings_of_offices(title, field, turn):
    column = read_column(0, title)
    assert (column.field, column.turn) == (field, turn)


@pytest.mark.parametrize(
    ("title", "cells", "head"),
    [
        ("Where else", ["", "left sleeve"], "Location 2"),
        ("Back print", ["crest.svg", "-"], "Artwork 2"),
        ("Extra", ["crest.eps", ""], "Artwork 2"),
        ("How big", ["11 in wide", "10 x 12 in"], "Width 2"),
        ("Setting", ["305 °F", ""], "Temperature"),
        ("Setting", ["cold peel", ""], "Peel"),
        ("Setting", ["", "medium pressure"], "Pressure"),
        ("Setting", ["12 s", ""], "Time"),
        ("Colleague", ["ASH", "ELM", "OAK"], "Name"),
        ("", ["full back", ""], "Location 2"),
        ("Artworks", ["x", "y"], "artwork"),
    ],
)
def test_a_column_that_looks_like_part_of_the_order_stops(order, title, cells, head):
    rows = "\n".join(f"{ROW},{cell}" for cell in cells)
    (said,) = problems(order(f"{HEADER},{title}\n{rows}\n"))
    assert head in said
    assert "in brackets" in said


def test_numbers_stop_only_where_they_may_be_quantities_or_players(order):
    assert read_sheet(order(f"{HEADER},Bin\n{ROW},77\n")).notes == ("Column H “Bin” is not used.",)
    bare = HEADER.replace("Quantity", "Units"), ROW
    assert "head it “Quantity”" in problems(order("\n".join(bare)))[0]
    named = f"{HEADER},Name,Shirt\n{ROW.replace(',2,', ',1,')},ASH,12\n"
    assert "head it “Number”" in problems(order(named))[0]


def test_a_press_time_without_a_unit_stops(order):
    (said,) = problems(order(f"{HEADER},Temp,Dw\n{ROW},305 F,12\n"))
    assert "like a press time (“12”): head it “Time”" in said
    piece = read_sheet(order(f"{HEADER},Temp,Sec\n{ROW},305 F,12\n")).pieces[0]
    assert piece.imprints[0].press.dwell == 12.0
    piece = read_sheet(order(f"{HEADER},°F\n{ROW},305\n")).pieces[0]
    assert piece.imprints[0].press.temperature == "305 °F"


def test_each_column_is_offered_a_heading_of_its_own(order):
    head, row = HEADER.replace("Width", "Across 1"), ROW
    head += ",Location 2,Artwork 2,Across 2,Across"
    said = problems(order(f"{head}\n{row},full back,crest.svg,10 in,9 in\n"))
    assert [each.partition("head it ")[2].partition(",")[0] for each in said] == [
        "“Width”", "“Width 2”", "“Width 3”",
    ]  # fmt: skip


def test_what_stands_above_and_is_not_used_is_told(order):
    sheet = read_sheet(order(f"Customer:,Mill Lane\nPO:,4417\n{HEADER}\n{ROW}\n"))
    assert "Above the header and not used: PO “4417”." in sheet.notes


def test_a_missing_size_is_asked_for_with_those_there_are(order):
    text = "Style,Size,Colour,Location,Artwork\nTote,,navy,tote,crest.svg\n"
    assert "fill one of small, standard, large in" in problems(order(text))[0]


def test_a_heading_in_brackets_leaves_its_column_out(order):
    sheet = read_sheet(order(f"{HEADER},(Back print)\n{ROW},crest.svg\n"))
    assert len(sheet.pieces[0].imprints) == 1
    assert any("in brackets" in note for note in sheet.notes)


def test_artwork_above_the_header_is_never_dropped(order):
    (said,) = problems(order(f"All hoods get crest.svg on the back,,\n{HEADER}\n{ROW}\n"))
    assert "row 1" in said
    assert "crest.svg" in said


def test_a_second_worksheet_with_an_order_stops(tmp_path):
    (tmp_path / "crest.svg").write_text("<svg/>")
    rows = [HEADER.split(","), ROW.split(",")]
    workbook(tmp_path / "order.xlsx", rows, others={"Youth": rows})
    with pytest.raises(Refusal, match="another on “Youth”"):
        read_sheet(tmp_path / "order.xlsx")


def test_a_total_that_does_not_agree_stops(order):
    text = "Style,Colour,Location,Artwork,S,M,Total\nCrew tee,navy,LC,crest.svg,2,3,6\n"
    (said,) = problems(order(text))
    assert "says “6”, but the sizes come to 5" in said


def test_a_size_that_the_garment_has_not_stops_at_its_column(order):
    text = "Style,Colour,Location,Artwork,2T,M\nTote,navy,tote,crest.svg,1,\n"
    (said,) = problems(order(text))
    assert "column E (2T)" in said


@pytest.mark.parametrize(
    ("text", "width", "height"),
    [
        ("3.5 in", 3.5, None),
        ('3 1/2" wide', 3.5, None),
        ("4 in tall", None, 4),
        ("10 x 12 in", 10, 12),
        ('10"W x 12"H', 10, 12),
    ],
)
def test_print_sizes_as_offices_write_them(order, text, width, height):
    text = text.replace('"', '""')
    sheet = read_sheet(
        order(f'{HEADER.replace("Width", "Print size")}\n{ROW.replace("89 mm", "")}"{text}"\n')
    )
    imprint = sheet.pieces[0].imprints[0]
    assert imprint.width == (None if width is None else pytest.approx(width * IN))
    assert imprint.height == (None if height is None else pytest.approx(height * IN))


def test_what_hand_cut_and_special_sheets_need(order):
    head = "Sheet margin,Mirrored,Turn,Page,Second press,Pad,Pad place,Collar place,For"
    cells = '0.5 in,yes,15,2,"3 s, cover",10x10x0.5in,"2 in right, 1 in away",1 in,ELM'
    piece = read_sheet(order(f"{HEADER},{head}\n{ROW},{cells}\n")).pieces[0]
    imprint = piece.imprints[0]
    assert imprint.art.cut.margin == pytest.approx(12.7)
    assert imprint.art.cut.mirrored
    assert imprint.art.cut.page == 2
    assert imprint.turn == pytest.approx(-math.radians(15))  # the garment frame's y is down
    assert (imprint.press.second, imprint.press.second_dwell) == ("3 s, cover", 3.0)
    assert parse_pad_place(imprint.pad_place) == pytest.approx((50.8, 25.4))
    assert imprint.overhang == pytest.approx(25.4)
    assert piece.recipient == "ELM"


def test_a_turned_print_is_placed_turned(tmp_path, order):
    order("")
    (tmp_path / "crest.svg").write_bytes((SHOPS / "art" / "gear.svg").read_bytes())
    piece = read_sheet(order(f"{HEADER},Turn\n{ROW},15\n")).pieces[0]
    placed = place_imprint(Placer(), piece, piece.imprints[0], lambda imprint: imprint.location)
    assert placed.garment_from_art.angle == pytest.approx(-math.radians(15))


def test_every_heading_is_understood_as_itself():
    for heading in HEADINGS.values():
        for spelling in (heading.field, *heading.also):
            assert read_column(0, spelling).field == heading.field, spelling


def test_the_blank_form_is_understood_whole(tmp_path):
    (tmp_path / "form.xlsx").write_bytes(blank_form(SHOPS / "art"))
    page = openpyxl.load_workbook(tmp_path / "form.xlsx")["Order"]
    assert not read_header(0, TITLES).unknown
    offers = {
        str(each.sqref).split(":")[0]: each.formula1
        for each in page.data_validations.dataValidation
    }
    assert {"A5", "C5", "F5", "G5", "I5", "J5"} <= set(offers)
    filled = {"A": "crew tee", "C": "M", "E": 2, "F": "left chest", "G": "loaf.svg", "H": "3.5 in"}
    for column, value in filled.items():
        page[f"{column}5"] = value
    page.parent.save(tmp_path / "form.xlsx")
    _, found = read(tmp_path / "form.xlsx")
    assert found == Counter({("crew_tee", "M", "left-chest", "loaf.svg", "3.5"): 2})
