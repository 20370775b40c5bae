"""A run that is begun again reads its sheet as it was read before."""

import pytest

from chalkbeam.basics.units import Unit
from chalkbeam.cli.run_again import read_as_before
from chalkbeam.cli.run_options import RunOptions
from chalkbeam.orders.sheet import read_sheet
from tests.support.sheets import HEADER, ROW


@pytest.mark.parametrize("unit", [Unit.INCH, Unit.MM])
def test_in_the_unit_and_with_the_artwork_of_the_run(tmp_path, unit):
    art = tmp_path / "art"
    art.mkdir()
    (art / "crest.svg").write_text("<svg/>")
    sheet = tmp_path / "order.csv"
    sheet.write_text(f"{HEADER}\n{ROW.replace('89 mm', '3.5')}\n")
    pieces = read_sheet(sheet, unit=unit, artwork_folder=art).pieces
    asked = read_as_before(RunOptions(sheet), pieces)
    assert (asked.unit, asked.artwork) == (unit, art)


def test_nothing_is_asked_that_the_sheet_says_itself(tmp_path):
    (tmp_path / "crest.svg").write_text("<svg/>")
    sheet = tmp_path / "order.csv"
    sheet.write_text(f"{HEADER}\n{ROW}\n")
    asked = RunOptions(sheet)
    assert read_as_before(asked, read_sheet(sheet).pieces) == asked


def test_a_sheet_that_reads_no_way_is_left_as_it_is(tmp_path):
    (tmp_path / "crest.svg").write_text("<svg/>")
    sheet = tmp_path / "order.csv"
    sheet.write_text(f"{HEADER}\n{ROW}\n")
    pieces = read_sheet(sheet).pieces
    sheet.write_text("nothing\n")
    assert read_as_before(RunOptions(sheet), pieces) == RunOptions(sheet)
