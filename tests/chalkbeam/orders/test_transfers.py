"""Transfers are things a shop owns: chosen by name, never invented."""

import pytest

from calibration.refusal import Refusal
from chalkbeam.orders.headers import read_header
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.transfers import find_transfer, transfers
from tests.support.sheets import HEADER, ROW, problems, sheet_writer

SHELF = """
[transfer."Velvet film"]
supplier = "Meadow Films"
temperature = "280 °F"
time = "10 s"
pressure = "medium"
peel = "cold"
prepress = "3 s"
second_press = "5 s, parchment"
carrier = "mirrored"
margin = "0.25 in"

[transfer."Bare film"]
"""


@pytest.fixture
def shelf(tmp_path, monkeypatch):
    path = tmp_path / "transfers.toml"
    path.write_text(SHELF, encoding="utf-8")
    monkeypatch.setattr("chalkbeam.orders.transfers.transfers_file", lambda: path)
    return path


@pytest.fixture
def order(tmp_path, shelf):
    return sheet_writer(tmp_path)


def imprint(path):
    return read_sheet(path).pieces[0].imprints[0]


def test_a_product_named_in_the_sheet_gives_its_settings(order):
    found = imprint(order(f"{HEADER},Transfer\n{ROW},velvet  film\n"))
    assert str(found.press) == "Velvet film: 280 °F, 10 s, medium, peel cold"
    assert (found.press.dwell, found.press.prepress_dwell, found.press.second_dwell) == (10, 3, 5)
    assert found.art.cut.mirrored
    assert found.art.cut.margin == pytest.approx(6.35)


def test_what_the_row_says_goes_before_the_shelf(order):
    head = f"{HEADER},Transfer,Time,Peel,Mirrored,Sheet margin"
    found = imprint(order(f"{head}\n{ROW},Velvet film,12 s,hot,no,1 in\n"))
    assert (found.press.time, found.press.dwell, found.press.peel) == ("12 s", 12.0, "hot")
    assert found.press.temperature == "280 °F"
    assert not found.art.cut.mirrored
    assert found.art.cut.margin == pytest.approx(25.4)


def test_nothing_is_filled_in_that_the_shop_did_not_write(order):
    found = imprint(order(f"{HEADER},Transfer\n{ROW},Bare film\n"))
    assert str(found.press) == "Bare film"
    assert found.press.dwell is None
    assert found.art.cut.margin is None


def test_a_product_that_is_not_on_the_shelf_stops(order):
    (said,) = problems(order(f"{HEADER},Transfer\n{ROW},Velvt film\n"))
    assert "column H (Transfer)" in said
    assert "did you mean “Velvet film”" in said


def test_a_second_imprint_has_a_transfer_of_its_own(order):
    head = f"{HEADER},Transfer,Location 2,Artwork 2,Film 2"
    sheet = read_sheet(order(f"{head}\n{ROW},Velvet film,nape,crest.svg,Bare film\n"))
    first, second = sheet.pieces[0].imprints
    assert (first.press.transfer, second.press.transfer) == ("Velvet film", "Bare film")
    assert second.press.temperature == ""


def test_a_transfer_column_without_an_artwork_column_is_the_artwork():
    header = read_header(0, ("Style", "Size", "Location", "Transfer"))
    assert [column.field for column in header.columns] == ["style", "size", "location", "artwork"]


@pytest.mark.parametrize(
    "line", ['temperature = "280"', 'time = "10"', 'carrier = "paper"', 'margin = "6"', "heat = 1"]
)
def test_a_faulty_shelf_is_told_with_its_line(shelf, line):
    shelf.write_text(f'[transfer."Velvet film"]\n{line}\n', encoding="utf-8")
    with pytest.raises(Refusal, match="line 2"):
        transfers()


def test_an_empty_shelf_says_where_to_enter_them(shelf):
    shelf.unlink()
    with pytest.raises(Refusal, match=r"the shop's shelf is empty. Enter it in .*transfers.toml"):
        find_transfer("Velvet film")
