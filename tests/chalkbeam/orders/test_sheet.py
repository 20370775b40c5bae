"""Run sheets: forgiving about form, strict about content, all problems at once."""

import csv

import pytest

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.orders.headers import read_column
from chalkbeam.orders.pieces import ArtKind
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.simulator.tern_harbour import write_sample
from tests.support.sheets import HEADER, ROW, problems, sheet_writer, workbook


@pytest.fixture
def order(tmp_path):
    return sheet_writer(tmp_path)


def test_a_row_becomes_its_pieces(order):
    sheet = read_sheet(order(f"{HEADER}\n{ROW}\n"))
    assert [piece.id for piece in sheet.pieces] == ["2-1", "2-2"]
    piece = sheet.pieces[0]
    assert (piece.style, piece.size, piece.colour, piece.copies) == ("crew_tee", "M", "navy", 2)
    (imprint,) = piece.imprints
    assert imprint.id == "2-1/1"
    assert imprint.width == pytest.approx(89.0)
    assert imprint.art.path.name == "crest.svg"


@pytest.mark.parametrize(
    ("title", "field", "turn", "unit"),
    [
        ("Garment", "style", 1, ""),
        ("COLOR", "colour", 1, ""),
        ("  fabric   Colour ", "colour", 1, ""),
        ("Qty.", "quantity", 1, ""),
        ("Placement 2", "location", 2, ""),
        ("Art2", "artwork", 2, ""),
        ("Width (in)", "width", 1, "in"),
        ('Width "', "width", 1, "in"),
        ("width_mm", "width", 1, "mm"),
        ("Width [cm] 2", "width", 2, "cm"),
        ("Temp (°C)", "temperature", 1, "°C"),
        ("Temperature deg F", "temperature", 1, "°F"),
        ("Dwell time (sec)", "time", 1, "s"),
        ("Pre-press", "prepress", 1, ""),
        ("No.", "number", 1, ""),
    ],
)
def test_headers_as_shops_write_them(title, field, turn, unit):
    column = read_column(0, title)
    assert (column.field, column.turn, column.unit) == (field, turn, unit)


@pytest.mark.parametrize("title", ["PO", "Style (mm)", "Name 2", "colour temperature", "2", "mm"])
def test_a_header_is_not_guessed(title):
    assert read_column(0, title) is None


def test_unused_columns_title_rows_blank_rows_and_totals(order):
    text = f"Regatta order,,\n\n{HEADER},PO\n{ROW},77\n,,,,,,,\n{ROW},78\nTotal,,,4\n"
    sheet = read_sheet(order(text))
    assert [piece.row for piece in sheet.pieces] == [4, 4, 6, 6]
    assert any("“PO” is not used" in note for note in sheet.notes)
    assert any("Row 7 begins with “Total”" in note for note in sheet.notes)


def test_units_from_the_cell_the_header_or_a_stated_default(order):
    bare = f"{HEADER}\n{ROW}\n".replace("89 mm", "3.5")
    assert read_sheet(order(bare), unit=Unit.INCH).pieces[0].imprints[0].width == pytest.approx(
        88.9
    )
    headed = bare.replace("Width", "Width (in)")
    assert read_sheet(order(headed)).pieces[0].imprints[0].width == pytest.approx(88.9)
    # The cell's own unit wins over the header's.
    own = headed.replace("3.5", "8.9 cm")
    assert read_sheet(order(own)).pieces[0].imprints[0].width == pytest.approx(89.0)
    comma = f"{HEADER}\n{ROW}\n".replace(",", ";").replace("89 mm", "8,9 cm")
    assert read_sheet(order(comma)).pieces[0].imprints[0].width == pytest.approx(89.0)
    assert "“3.5” has no unit" in problems(order(bare))[0]


def test_every_problem_is_told_at_once_with_row_and_column(order):
    text = (
        f"{HEADER},Temperature,Time\n"
        ",M,navy,x,left chest,nope.svg,9,155,12\n"
        "Crew tee,,navy,1,left chest,crest.svg,9 furlong,155 °C,12 s\n"
        "Crew tee,M,navy,1,,crest.svg,,,\n"
        "Crew tee,M,navy,1,left chest; full back,crest.svg,1 in; 2 in; 3 in,,\n"
    )
    said = problems(order(text))
    assert [line.split(":")[0] for line in said] == [
        "row 2, column A (Style)",
        "row 2, column D (Quantity)",
        "row 2, column F (Artwork)",
        "row 2, column G (Width)",
        "row 2, column H (Temperature)",
        "row 2, column I (Time)",
        "row 3, column B (Size)",
        "row 3, column G (Width)",
        "row 4, column E (Location)",
        "row 5, column G (Width)",
    ]
    assert all(line.endswith(".") and not line.endswith("..") for line in said)


def test_an_orders_own_number_is_no_place_in_the_order_of_work(order):
    row = "Crew tee,M,navy,1,left chest,crest.svg,3 in,TH-114"
    (said,) = problems(order(f"{HEADER},Order\n{row}\n"))
    assert said.endswith("an order's own number stands under “order number”.")
    (said,) = problems(order(f"{HEADER},Order,Order number\n{row},TH-114\n"))
    assert said.endswith("write a number or nothing.")


def test_the_refusal_is_a_readable_list(order):
    with pytest.raises(Refusal, match="has 2 things to correct:\n  row 2, ") as refused:
        read_sheet(order(f"{HEADER}\n,,navy,1,left chest,crest.svg,\n"))
    assert str(refused.value).count("\n") == 2


def test_header_problems(order):
    assert (
        "no column for the style" in problems(order("Size,Qty,Location,Art\nM,1,nape,crest.svg"))[0]
    )
    said = problems(order("Style,Size,Colour,Color,Location\nTee,M,red,blue,nape"))
    assert said == ["row 1, column D (Color): means the same as column C: keep one."]
    with pytest.raises(Refusal, match="no header row"):
        read_sheet(order("nothing\nhere\n"))
    with pytest.raises(Refusal, match="no header row"):
        read_sheet(order(""))
    assert problems(order(f"{HEADER}\n")) == [
        "the sheet has a header but no order under it: add rows."
    ]


def test_several_imprints_in_columns_or_in_a_cell(order):
    columns = f"{HEADER},Location 2,Artwork 2,Width 2\n{ROW},full back,crest.svg,28 cm\n"
    listed = (
        f"{HEADER}\nCrew tee,M,navy,2,left chest + full back,crest.svg; crest.svg,89 mm; 28 cm\n"
    )
    again = f"{HEADER},Location,Artwork,Width\n{ROW},full back,crest.svg,28 cm\n"
    for text in (columns, listed, again):
        first, second = read_sheet(order(text)).pieces[1].imprints
        assert (first.location, first.width) == ("left-chest", pytest.approx(89))
        assert (second.location, second.width) == ("full-back", pytest.approx(280))
        assert (first.id, second.id) == ("2-2/1", "2-2/2")


def test_one_artwork_for_both_sleeves(order):
    text = f"{HEADER}\nCrew tee,M,navy,1,left sleeve + right sleeve,crest.svg,5 cm\n"
    left, right = read_sheet(order(text)).pieces[0].imprints
    assert left.art == right.art
    assert left.width == right.width == pytest.approx(50)


def test_name_and_number_become_imprints_that_stay_together(order):
    text = f"{HEADER},Name,Number,Number height\n{ROW},MARIT,07,20 cm\n"
    crest, name, number = read_sheet(order(text)).pieces[0].imprints
    assert crest.art.kind is ArtKind.FILE
    assert (name.art.kind, name.art.text, name.follows) == (ArtKind.NAME, "MARIT", None)
    assert (number.art.text, number.height, number.follows) == ("07", pytest.approx(200), name.id)


def test_a_name_elsewhere_does_not_hold_the_number(order):
    text = f"{HEADER},Name,Number,Name location\n{ROW},MARIT,7,left chest\n"
    _, name, number = read_sheet(order(text)).pieces[0].imprints
    assert name.location == "left-chest"
    assert number.follows is None


def test_lettering_placed_by_its_own_row_is_not_placed_twice(order):
    text = f"{HEADER},Location 2,Artwork 2,Number\n{ROW},left sleeve,number,12\n"
    imprints = read_sheet(order(text)).pieces[0].imprints
    assert [i.art.text for i in imprints] == ["crest.svg", "12"]
    missing = f"{HEADER},Location 2,Artwork 2,Number\n{ROW},left sleeve,number,\n"
    assert "asks for the number" in problems(order(missing))[0]


@pytest.mark.trade("from-the-sheet")
def test_press_settings_are_taken_word_for_word(order):
    text = f"{HEADER},Temp (°C),Time (s),Pressure,Peel,Prepress\n{ROW},155,10-12,medium,cold,3 s\n"
    press = read_sheet(order(text)).pieces[0].imprints[0].press
    assert (press.temperature, press.time, press.pressure, press.peel) == (
        "155 °C",
        "10-12 s",
        "medium",
        "cold",
    )
    assert press.dwell is None  # a range is not one time: nothing is counted down
    assert press.prepress_dwell == 3.0
    plain = f"{HEADER},Temperature,Time\n{ROW},see sheet,0.5 min\n"
    press = read_sheet(order(plain)).pieces[0].imprints[0].press
    assert (press.temperature, press.dwell) == ("see sheet", 30.0)
    assert read_sheet(order(f"{HEADER}\n{ROW}\n")).pieces[0].imprints[0].press.temperature == ""


@pytest.mark.parametrize(
    ("written", "count"), [("3", 3), ("3.0", 3), ("3 pcs", 3), ("12x", 12), ("0", 0)]
)
def test_quantities(order, written, count):
    text = f"{HEADER}\n{ROW}\n{ROW}\n".replace(",2,", f",{written},", 1)
    assert sum(piece.row == 2 for piece in read_sheet(order(text)).pieces) == count


@pytest.mark.parametrize("written", ["-1", "2.5", "two", "", "1e3", "999999999"])
def test_quantities_that_are_none(order, written):
    assert "column D" in problems(order(f"{HEADER}\n{ROW}\n".replace(",2,", f",{written},")))[0]


def test_the_shops_own_garments_and_locations(order):
    header = f"{HEADER},Fit"
    good = "T-shirt,xxl,navy,1,Left chest,crest.svg,89 mm,ladies\n"
    (piece,) = read_sheet(order(f"{header}\n{good}")).pieces
    assert (piece.style, piece.size, piece.fit) == ("crew_tee", "2XL", "womens")
    assert piece.imprints[0].location == "left-chest"
    assert fit_on_press(piece, piece.imprints[0]).loading == "front"
    bad = [
        good.replace("Left chest", "left shin"),
        "Tote,standard,navy,1,left sleeve,crest.svg,9 cm,\n",
        good.replace("ladies", "tight"),
        good.replace("xxl", "11XL"),
        good.replace("T-shirt", "Toga"),
    ]
    said = problems(order(f"{header}\n{''.join(bad)}"))
    assert "row 2, column E (Location): There is no location “left shin”" in said[0]
    assert "row 3, column E (Location): left-sleeve cannot be" in said[1]
    assert "row 4, column H (Fit): There is no fit “tight”" in said[2]
    assert "row 5, column B (Size)" in said[3]
    assert "row 6, column A (Style)" in said[4]


def test_the_sample_reads_the_same_as_csv_and_as_xlsx(tmp_path):
    path = write_sample(tmp_path)
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    workbook(tmp_path / "order.xlsx", [[int(c) if c.isdigit() else c for c in r] for r in rows])
    listed = read_sheet(path).pieces
    assert read_sheet(tmp_path / "order.xlsx").pieces == listed
    assert len(listed) == 59


def test_lettering_the_font_cannot_set_is_a_problem_of_its_cell(order):
    text = "Style,Size,Quantity,Name,Number\nCrew tee,M,1,日本,8\nCrew tee,M,1,PYKE,1\u202e\n"
    text += f"Crew tee,M,1,{'A' * 80},9\nCrew tee,M,1,SÖLVI,10\nCrew tee,M,1,דוד,1\u05d0\n"
    text += "Crew tee,M,1,سعيد,١٢\n"
    found = problems(order(text))
    assert [problem.partition(":")[0] for problem in found] == [
        "row 2, column D (Name)", "row 3, column E (Number)", "row 4, column D (Name)",
    ]  # fmt: skip
    assert "has no “日”" in found[0]
    assert "hidden sign" in found[1]
    assert "80 letters" in found[2]


@pytest.mark.parametrize("name", ["../crest.svg", "art/../../crest.svg", "{folder}/crest.svg"])
def test_artwork_is_taken_from_its_folder_alone(order, tmp_path, name):
    inner = tmp_path / "inner"
    inner.mkdir()
    order("")
    path = inner / "order.csv"
    named = name.format(folder=tmp_path)
    path.write_text(f"{HEADER}\n{ROW.replace('crest.svg', named)}\n")
    (said,) = problems(path)
    assert f"“{named}” leads out of the folder {inner}" in said
    below = path.read_text().replace(named, "inner/../crest.svg")
    path.write_text(below)
    assert len(read_sheet(path, artwork_folder=tmp_path).pieces) == 2


def counted(quantity):
    return ROW.replace(",2,", f',"{quantity}",')


@pytest.mark.parametrize("text", ["1,000", "1.000", "12,000", "12.500", "1'000", "1,000,000 pcs"])
def test_a_quantity_that_reads_in_two_ways_is_refused(order, text):
    (said,) = problems(order(f"{HEADER}\n{counted(text)}\n"))
    assert f"“{text}” can be read in two ways" in said


@pytest.mark.parametrize("text", ["2", "2.0", "2,00", "02", "2 pcs", "2x"])
def test_a_quantity_as_sheets_write_it(order, text):
    assert len(read_sheet(order(f"{HEADER}\n{counted(text)}\n")).pieces) == 2


@pytest.mark.parametrize("text", ["9" * 5000, "99999999999", "1.5", "2.0.0", "-2", "٢"])
def test_what_is_no_quantity(order, text):
    (said,) = problems(order(f"{HEADER}\n{counted(text)}\n"))
    assert "column D (Quantity)" in said


def test_a_header_of_two_units_gives_none(order):
    sheet = f"{HEADER} mm/in\n{ROW}\n"
    assert read_sheet(order(sheet)).pieces[0].imprints[0].width == 89
    (said,) = problems(order(sheet.replace("89 mm", "89")))
    assert "has no unit" in said


@pytest.mark.parametrize("time", ["9" * 400 + " s", "61 min", "3601 s"])
def test_a_press_time_without_end_is_refused(order, time):
    (said,) = problems(order(f"{HEADER},Time\n{ROW},{time}\n"))
    assert "is no time that a press stays closed" in said
