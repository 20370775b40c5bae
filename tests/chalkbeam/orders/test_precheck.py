"""A whole order placed ahead: what would stop the press is told at once, by row and column."""

import pytest
from PIL import Image

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.orders import precheck
from chalkbeam.orders.precheck import on_file, precheck_order
from chalkbeam.orders.problems import SheetRefusal, row_words
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.station.precheck_on_rigs import first_rigs
from chalkbeam.station.ready_imprint import ImprintPreparer
from tests.support.crew_order import write_pennant
from tests.support.rigs import make_rig

HEAD = "Style,Size,Colour,Qty,Location,Artwork,Width,Platen,Pad,Name,Number\n"


@pytest.fixture
def read(tmp_path):
    write_pennant(tmp_path / "pennant.png")
    Image.new("RGBA", (60, 60)).save(tmp_path / "clear.png")
    (tmp_path / "broken.png").write_bytes(b"\x89PNG\r\n\x1a\nno picture")

    def call(*rows, lay=None):
        sheet = tmp_path / "crew.csv"
        sheet.write_text(HEAD + "".join(f"{row}\n" for row in rows))
        return read_sheet(sheet, examine=lambda order: precheck_order(order, lay or on_file()))

    return call


def refused(read, *rows, **options):
    with pytest.raises(SheetRefusal) as caught:
        read(*rows, **options)
    return [(each.row, each.title, each.message) for each in caught.value.problems]


def test_everything_that_would_stop_the_press_is_told_at_once(read):
    found = refused(
        read,
        "crew tee,M,navy,2,left chest,clear.png,3 in,,,,",
        "crew tee,M,navy,2,left chest,broken.png,3 in,,,,",
        "crew tee,M,navy,2,left chest,gone.png,3 in,,,,",
        "crew tee,M,navy,1,full back,pennant.png,15 in,4x16in,,,",
        "crew tee,M,navy,1,full back,pennant.png,9 in,preparer,,,",
        "crew tee,M,navy,1,full back,pennant.png,9 in,,900x900x1,,",
        "crew tee,9XL,navy,1,full back,pennant.png,9 in,,,,",
        "crew tee,M,navy,1,full front,pennant.png,30 in,,,,",
        "zip hood,M,navy,1,full front,pennant.png,20 in,,,,",
        "crew tee,M,navy,1,left chest,pennant.png,3 in,,,,",
    )
    assert [row for row, _, _ in found] == list(range(2, 11))
    titles = [*["Artwork"] * 3, "Platen", "Platen", "Pad", "Size", "Location", "Location"]
    assert [title for _, title, _ in found] == titles
    for (_, _, message), words in zip(
        found,
        ("no ink", "not a picture", "no file", "leave the pressed area", "no platen “preparer”",
         "no unit", "no size “9XL”", "would spoil the garment", "does not fit"),
        strict=True,
    ):  # fmt: skip
        assert words in message


def test_a_garment_that_is_gone_hides_no_other_problem(read, monkeypatch):
    # The shop's chart may be spoiled between the reading of the sheet and its precheck.
    def gone(style, *rest, **options):
        if style == "crew_tee":
            raise Refusal("crew-tee.toml is not TOML: mend it.")
        return garment(style, *rest, **options)

    monkeypatch.setattr(precheck, "garment", gone)
    found = refused(
        read,
        "crew tee,M,navy,1,left chest,pennant.png,3 in,,,,",
        "zip hood,M,navy,1,full back,clear.png,9 in,,,,",
    )
    assert found[0] == (2, "", "crew-tee.toml is not TOML: mend it.")
    assert found[1][:2] == (3, "Artwork")
    assert len(found) == 2


def test_rows_that_are_alike_are_told_on_one_line(read):
    row = "crew tee,M,navy,3,left chest,clear.png,3 in,,,,"
    with pytest.raises(SheetRefusal) as caught:
        read(row, row, row, row.replace("left chest", "full back"))
    assert "one thing to correct" in str(caught.value)
    assert "rows 2–5, column F (Artwork): clear.png has no ink" in str(caught.value)


def test_rows_in_words():
    assert row_words([7]) == "row 7"
    assert row_words([9, 3, 7, 8, 3]) == "rows 3, 7–9"
    assert row_words([3, 4, 8]) == "rows 3, 4, 8"
    assert row_words(range(1, 60, 2), most=2) == "rows 1, 3 and 28 more"


def test_a_sound_order_passes_with_its_cautions(read):
    order = read(
        "crew tee,M,navy,4,left chest,pennant.png,3 in,,,,",
        "crew tee,M,navy,2,left chest,pennant.png,1 in,,,,",
        "crew tee,M,navy,1,full back,pennant.png,9 in,,,TARN,7",
    )
    assert len(order.pieces) == 7
    (caution,) = [each for each in order.cautions if each.startswith("row 3: left-chest")]
    assert "usual here" in caution


def test_held_against_the_rigs_there_are(read):
    small = make_rig(name="small", face=PlatenFace(203.2, 254.0, 15.0))
    rows = ["crew tee,M,navy,1,full back,pennant.png,11 in,,,,"]
    assert read(*rows).pieces
    (found,) = refused(read, *rows, lay=ImprintPreparer([small]).lay)
    assert found[:2] == (2, "Location")
    assert "would leave the pressed area of small" in found[2]


def test_names_and_numbers_are_found_in_their_own_columns(read):
    order = read("crew tee,M,navy,1,left chest,pennant.png,3 in,,,TARN,7")
    assert [imprint.location for imprint in order.pieces[0].imprints][1:] == [
        "player-name", "player-number",
    ]  # fmt: skip
    assert order.cells[2, 2].artwork.title == "Name"
    assert order.cells[2, 3].artwork.title == "Number"


def test_lengths_are_told_in_the_unit_asked_for(read, tmp_path):
    order = read("crew tee,M,navy,1,left chest,pennant.png,3 in,,,,")
    (tmp_path / "crew.csv").write_text(HEAD + "crew tee,M,navy,1,full front,pennant.png,30 in,,,,")
    order = read_sheet(tmp_path / "crew.csv")
    problems, _ = precheck_order(order, on_file(), Unit.INCH)
    assert " in off the front" in problems[0].message
    problems, _ = precheck_order(order, on_file(), Unit.MM)
    assert " mm off the front" in problems[0].message


def test_a_reorder_is_placed_where_it_lay_before(read, tmp_path):
    row = "zip hood,M,navy,1,full front,pennant.png,200 mm,,,,"
    (found,) = refused(read, row)
    assert "on the zip" in found[2]
    order = read_sheet(tmp_path / "crew.csv")
    assert precheck_order(order, on_file(), location_of=lambda imprint: "full-back") == ((), ())
    # Imprints that are alike but for where they lay before are looked at one by one.
    (tmp_path / "crew.csv").write_text(f"{HEAD}{row}\n{row}\n")
    order = read_sheet(tmp_path / "crew.csv")
    brought = {order.pieces[0].imprints[0].id: "full-back"}
    problems, _ = precheck_order(
        order, on_file(), location_of=lambda each: brought.get(each.id, each.location)
    )
    assert [problem.row for problem in problems] == [3]


def test_platens_not_at_hand_are_loaded_as_those_at_hand(read):
    small = make_rig(name="small", face=PlatenFace(203.2, 254.0, 15.0))
    laid, later = [], {}
    for preparer in (ImprintPreparer([small]), ImprintPreparer([small], "left", threaded=False)):
        lay = first_rigs(preparer, later)
        read(
            "crew tee,M,navy,1,full back,pennant.png,11 in,16x20in,,,",
            lay=lambda *of, lay=lay: laid.append(lay(*of)) or laid[-1],
        )
    assert len(later) == 1
    assert [(each.collar, each.threaded) for each in laid] == [("away", True), ("left", False)]
