"""Charts as suppliers print them, and pieces that are measured; makers are invented.

How suppliers measure: the sleeve from the centre back neck over the shoulder's tip to its end, the
armhole straight from the shoulder's tip to the pit (common practice, no source).
"""

import math

import pytest

from calibration.refusal import Refusal
from chalkbeam.garments import garment, sizes
from chalkbeam.garments.charts import import_chart, read_chart
from chalkbeam.garments.charts.measured import keep_measured
from chalkbeam.garments.library import age_of_size

INCH = 25.4
ACROSS = (
    "Harrow Mill style HM200;;;;;;\n"
    "POM;Measurement (inches);Tol;S;M;2X;LT\n"
    "A;Chest width;0.5;18;20;26;22\n"
    "B;Body length from HPS;0.5;28;29;32;31\n"
    "C;Sleeve;0.5;17;17.75;21;18.75\n"
)


def chart(tmp_path, text):
    path = tmp_path / "chart.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_sizes_may_run_across(tmp_path):
    stored, _ = import_chart(
        chart(tmp_path, ACROSS), "tee", maker="Harrow Mill", number="HM200", folder=tmp_path
    )
    assert stored == tmp_path / "harrow_mill_hm200.toml"
    assert sizes("HM200", charts_dir=tmp_path) == ("S", "M", "LT", "2XL")
    tall = garment("Harrow Mill HM200", "LT", charts_dir=tmp_path)
    assert tall.measures["half_chest"].value == pytest.approx(22 * INCH)
    assert tall.measures["body_length"].value == pytest.approx(31 * INCH)


@pytest.mark.parametrize(
    "heading",
    ["Chest Width (laid flat)", "A. Chest width", 'Chest 1" below armhole', "Garment chest (flat)"],
)
def test_how_a_chest_is_measured_makes_no_other_measure_of_it(tmp_path, heading):
    title = heading.replace('"', '""')
    read = read_chart(chart(tmp_path, f'Size,"{title}",Length\nLT,22in,32in\n'), "tee")
    assert (read.problems, read.unused) == ((), ())
    assert read.sizes[0].given["half_chest"].value == pytest.approx(22 * INCH)


def test_a_range_of_bodies_is_told_from_a_garments_own_length(tmp_path):
    read = read_chart(chart(tmp_path, "Size,Chest,Length\nM,38-40,29in\n"), "tee", unit="in")
    assert "“38-40” is a range, such as of the bodies" in read.problems[0].sentence
    half = read_chart(chart(tmp_path, "Size,Chest,Length\nM,20-1/2,29in\n"), "tee", unit="in")
    assert half.sizes[0].given["half_chest"].value == pytest.approx(20.5 * INCH)


def test_a_sleeve_from_the_centre_back_is_told_by_its_length(tmp_path):
    read = read_chart(chart(tmp_path, ACROSS), "tee")
    medium = next(size for size in read.sizes if size.name == "M").given
    # From the centre back 17 3/4 in; half of a medium's shoulders are 9 in: 8 3/4 in from there,
    # where 8 to 8 1/2 in are usual (TRADE). A print had gone 14 1/2 in down an 8 1/4 in sleeve.
    assert medium["sleeve_length"].value == pytest.approx(8.75 * INCH, abs=0.1 * INCH)
    assert any("17.8 in), is taken as measured from the centre of the back" in each
               for each in read.notes)  # fmt: skip
    named = read_chart(chart(tmp_path, "Size,Chest,Length,CB sleeve\nM,20in,29in,17.75in\n"), "tee")
    assert named.sizes[0].given["sleeve_length"].value == pytest.approx(
        medium["sleeve_length"].value
    )
    plain = read_chart(chart(tmp_path, "Size,Chest,Length,Sleeve\nM,20in,29in,8.5in\n"), "tee")
    assert plain.sizes[0].given["sleeve_length"].value == pytest.approx(8.5 * INCH)
    assert plain.notes == ()
    long = read_chart(
        chart(tmp_path, "Size,Chest,Length,Sleeve\nM,21in,28in,34in\n"), "crew sweatshirt"
    )
    assert 23 * INCH < long.sizes[0].given["sleeve_length"].value < 26 * INCH


def test_an_armhole_is_straight_along_its_seam(tmp_path):
    read = read_chart(chart(tmp_path, "Size,Chest,Length,Armhole\nM,20in,29in,9in\n"), "tee")
    # Shoulder tip 1 3/4 in below the high point and 1 in inside the side seam: by Pythagoras.
    assert read.sizes[0].given["pit_depth"].value == pytest.approx(
        (1.75 + math.sqrt(9**2 - 1)) * INCH, abs=0.02 * INCH
    )


def test_every_length_is_judged(tmp_path):
    text = "Size,Chest,Length,Armhole,Neck\nM,20 in,29 in,22 in,17 in\n"
    read = read_chart(chart(tmp_path, text), "tee")
    said = {each.column: each.sentence for each in read.problems}
    assert "was it measured all the way round?" in said["D"]
    assert "far from the 184 mm (7.2 in)" in said["E"]
    sure = read_chart(chart(tmp_path, text.replace("22 in,17 in", "11 in,12 in")), "tee", sure=True)
    assert not sure.problems
    assert sure.sizes[0].given["neck_width"].value == 12 * INCH


@pytest.mark.parametrize(
    ("size", "age"),
    [("2X", "adult"), ("3X", "adult"), ("LT", "adult"), ("2XLT", "adult"), ("S/M", "adult"),
     ("5T", "toddler"), ("6T", "toddler"), ("2T", "toddler"), ("0-3M", "infant"),
     ("3-6 months", "infant"), ("12M", "infant"), ("NB", "infant"), ("youth L", "youth"),
     ("10/12", "youth"), ("One size", "adult")],
)  # fmt: skip
def test_sizes_are_understood_as_they_are_written(size, age):
    assert age_of_size(size) == age


@pytest.mark.parametrize("word", ["Chest", "Tol", "0.5", "navy", "A", "", "Total", "18 1/2"])
def test_other_words_are_no_sizes(word):
    assert age_of_size(word) is None


def test_childrens_sizes_of_a_chart_are_their_own(tmp_path):
    text = "Size,Chest,Length\n5T,14.5in,18in\n6T,15in,19in\n0-3M,8.75in,10in\n3-6M,9.25in,10.5in\n"
    read = read_chart(chart(tmp_path, text), "tee")
    assert [(size.name, size.age) for size in read.sizes] == [
        ("5T", "toddler"), ("6T", "toddler"), ("0-3M", "infant"), ("3-6M", "infant")
    ]  # fmt: skip
    assert garment("tee", "5T").size == "5-6T"


def test_the_unit_is_asked_once_and_taken_from_above(tmp_path):
    bare = "Size,Chest,Length\nS,18,28\nM,20,29\nL,22,30\n"
    read = read_chart(chart(tmp_path, bare), "tee")
    assert [each.sentence for each in read.problems] == [
        "The lengths have no unit: say which, in, cm or mm, or write it into the header."
    ]
    assert not read_chart(chart(tmp_path, bare), "tee", unit="in").problems
    stated = read_chart(chart(tmp_path, f"All measurements in inches,,\n{bare}"), "tee")
    assert stated.sizes[1].given["half_chest"].value == 20 * INCH


def test_a_fault_of_a_turned_chart_is_told_by_its_own_cell(tmp_path):
    read = read_chart(chart(tmp_path, ACROSS.replace(";20;", ";40;")), "tee")
    assert [(each.row, each.column) for each in read.problems] == [(3, "E")]


def test_a_measured_piece_scales_its_neighbours(tmp_path):
    taken = {"half_chest": 21 * INCH, "body_length": 28 * INCH}
    keep_measured("tee", "M", taken, maker="Pale Fen", number="31", folder=tmp_path)
    medium = garment("Pale Fen 31", "M", charts_dir=tmp_path)
    large = garment("31", "L", charts_dir=tmp_path)
    assert medium.measures["half_chest"].value == pytest.approx(21 * INCH)
    # Worked by hand from the generic chart (TRADE: M 20 x 29, L 22 x 30 in).
    assert large.measures["half_chest"].value == pytest.approx(22 * 21 / 20 * INCH, abs=0.01)
    assert large.measures["body_length"].value == pytest.approx(30 * 28 / 29 * INCH, abs=0.01)
    assert large.measures["half_chest"].source == "scaled from the M that was measured"
    assert large.tolerance > medium.tolerance
    keep_measured("tee", "L", {"half_chest": 22.5 * INCH}, maker="Pale Fen", number="31",
                  folder=tmp_path)  # fmt: skip
    names = sizes("Pale Fen 31", charts_dir=tmp_path)
    assert names == ("XS", "S", "M", "L", "XL", "2XL", "3XL", "4XL", "5XL")
    again = garment("Pale Fen 31", "M", charts_dir=tmp_path).measures["half_chest"]
    assert again.value == pytest.approx(21 * INCH)
    extra = garment("Pale Fen 31", "XL", charts_dir=tmp_path).measures["half_chest"]
    assert extra.value == pytest.approx(24 * 22.5 / 22 * INCH, abs=0.01)
    with pytest.raises(Refusal, match="far from"):
        keep_measured("tee", "M", {"half_chest": 40 * INCH}, maker="Pale Fen", number="31",
                      folder=tmp_path)  # fmt: skip
