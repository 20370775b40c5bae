"""Each statement of the trade on placing and loading, named. Source: tests/data/trade.toml."""

import math
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely

from chalkbeam.artwork import Box, LetterStyle, letter
from chalkbeam.basics.units import MM_PER_INCH as INCH
from chalkbeam.garments import AGES, garment, sizes
from chalkbeam.locations import location
from chalkbeam.placement import Impossible, Severity, Verdict, fitted, foot_of, place, reasons
from chalkbeam.placement.lettering import LetterLine, set_letters
from chalkbeam.placement.loading import load
from chalkbeam.placement.platens import COMMON, padded, platen
from tests.support.artwork_files import block_art
from tests.support.run_cli import run_program

TRADE = tomllib.loads(
    (Path(__file__).parents[2] / "data" / "trade.toml").read_text(encoding="utf-8")
)
states = pytest.mark.trade


@pytest.mark.parametrize(
    ("name", "on"), [(name, on) for name, row in TRADE["row"].items() for on in row["on"]]
)
def test_a_row_of_the_trade(name, on):
    row = TRADE["row"][name]
    style, size = on.rsplit(" ", 1)
    piece, spot = garment(style, size), location(row["location"])
    width, height = (INCH * side for side in row["art"])
    placed = place(piece, spot, block_art(width, height))
    ink, (x, y) = Box.around(placed.hull()), placed.centre
    along = {name: line.value for name, line in placed.face.along.items()}
    across = {name: line.value for name, line in placed.face.across.items()}
    sides = [value for name, value in across.items() if name == "left_side_seam"]
    found = {
        "top": ink.top,
        "below_shoulder": y - along.get("shoulder_top", 0.0),
        "above_pit": along.get("pit_line", 0.0) - y,
        "off_centre": abs(x - across.get("centre", 0.0)),
        "above_hem": along.get("sleeve_hem", along.get("hem", 0.0)) - ink.bottom,
        "above_cuff": along.get("cuff", 0.0) - ink.bottom,
        "above_pocket": along.get("pocket_top", 0.0) - ink.bottom,
        "from_side": (sides[0] if sides else 0.0) - ink.right,
        "below_handles": ink.top - along.get("handle_stitching", 0.0),
    }
    asked = found.keys() & row.keys()
    assert asked
    for measure in asked:
        least, most = (INCH * bound for bound in row[measure])
        assert least - 0.6 <= found[measure] <= most + 0.6, (measure, found[measure] / INCH)
    assert placed.worst < Severity.STOP
    art = block_art(300, 100)
    art = fitted(piece, spot, art.scaled(spot.usual_scale(piece.age, 300, 100)))
    for measure, side in (("usual_width", art.ink.width), ("usual_height", art.ink.height)):
        if measure in row:
            least, most = (INCH * bound for bound in row[measure])
            assert least - 0.6 <= side <= most + 0.6, (measure, side / INCH)


@states("sides-alike")
def test_side_seams_hang_alike_by_default():
    for size in ("S", "M", "XL", "3XL"):
        for name, width in (("left-chest", 80), ("full-front", 250), ("full-back", 250)):
            placed = place(garment("crew_tee", size), location(name), block_art(width, 60))
            assert load(placed, platen("16x20in")).aside == pytest.approx(0.0, abs=1e-6)


@states("ridges-out")
def test_ridges_lie_outside_the_head_or_are_told():
    for style, name in (("crew_tee", "left-chest"), ("placket_shirt", "full-back"),
                        ("zip_hood", "left-chest"), ("pullover_hood", "full-front"),
                        ("trousers", "left-leg")):  # fmt: skip
        piece = garment(style, "L")
        placed = place(piece, location(name), fitted(piece, location(name), block_art(88, 60)))
        loading = load(placed, platen("16x20in"))
        told = " ".join(str(concern.sentence) for concern in loading.concerns)
        pressed = shapely.Polygon(loading.platen.pressed())
        for area in placed.face.areas:
            shape = shapely.Polygon(loading.platen_from_garment.apply(area.polygon)).buffer(0)
            if area.kind != "hood_shadow" and shape.intersection(pressed).area > 40.0:
                assert area.name.partition(" ")[2] in told or area.name in told


@states("collar-either-way")
def test_the_collar_points_either_way_and_sleeves_lie_across_too():
    shirt = place(garment("crew_tee", "M"), location("left-chest"), block_art(88, 60))
    turns = [load(shirt, platen("16x20in"), collar=way).platen_from_garment.angle
             for way in ("away", "towards")]  # fmt: skip
    assert turns == pytest.approx([0.0, math.pi])
    sleeve = place(garment("crew_tee", "M"), location("left-sleeve"), block_art(60, 40))
    across = load(sleeve, platen("16x16in"), collar="left").platen_from_garment.angle
    assert across == pytest.approx(math.pi / 2)


@states("platens")
def test_common_platens_are_on_file():
    wanted = {(16, 20), (15, 15), (16, 16), (11, 15), (4, 16), (5, 18), (9, 12), (10, 12), (5, 5),
              (6, 6), (6.5, 3.5)}  # fmt: skip
    faces = [each.face for each in COMMON.values()]
    assert wanted <= {(round(f.width / INCH, 2), round(f.depth / INCH, 2)) for f in faces}
    assert all(face.corner_radius > 0 for face in faces)


@states("pads")
def test_a_pad_raises_the_print_and_leaves_the_buttons_out():
    placed = place(garment("placket_shirt", "L"), location("left-chest"), block_art(85, 60))
    for height in (5, 15):
        loading = load(placed, padded(platen("16x20in"), f"150mm x 150mm x {height}mm"))
        assert loading.height == pytest.approx(height + placed.garment.thickness)
        assert not any(c.severity > Severity.NOTE for c in loading.concerns)


@states("placket")
def test_left_chest_is_level_with_the_lowest_button():
    placed = place(garment("placket_shirt", "M"), location("left-chest"), block_art(88, 40))
    assert placed.centre[1] == pytest.approx(placed.face.along["lowest_button"].value)


@states("name-stands")
def test_a_name_stands_on_the_line():
    name = letter("Maggie", width=80)
    placed = place(garment("crew_tee", "M"), location("left-chest-name"), name)
    foot = placed.garment_from_art.apply([(0, name.baseline)])[0, 1]
    above = placed.face.along["pit_line"].value - foot
    assert 2 * INCH <= above <= 3 * INCH


@states("script-tilts")
def test_script_rises_by_fifteen_degrees():
    placed = place(garment("crew_tee", "M"), location("left-chest-script"), block_art(80, 30))
    right, left = placed.garment_from_art.apply([(40, 0), (-40, 0)])
    rise = math.degrees(math.atan2(left[1] - right[1], right[0] - left[0]))
    assert rise == pytest.approx(15)


@states("number-under-name")
def test_a_number_stands_close_under_its_name():
    piece = garment("crew_tee", "L")
    name = place(piece, location("player-name"), letter("PYKE", height=63.5))
    number = place(piece, location("player-number"), letter("7", height=203), extra=foot_of(name))
    gap = Box.around(number.hull()).top - Box.around(name.hull()).bottom
    assert INCH - 0.6 <= gap <= 1.5 * INCH


@states("widths-fall")
def test_art_is_narrower_on_smaller_ages():
    # adult 12 in: youth 0.8, toddler 0.55, infant 0.4 of it
    scale = [location("full-front").usual_scale(age, 100.0, 50.0) for age in reversed(AGES)]
    assert np.array(scale) / scale[0] == pytest.approx([1.0, 0.8, 0.55, 0.4])


@states("chest-less-two")
def test_art_of_no_stated_size_leaves_two_inches_a_side():
    for size in ("XS", "S", "M"):
        piece = garment("crew_tee", size)
        art = fitted(piece, location("full-front"), block_art(700, 200))
        chest = piece.measures["half_chest"].value
        assert chest - 4 * INCH - 3.3 <= art.ink.width <= chest - 4 * INCH + 1e-6


@states("rules-agree")
def test_the_two_rules_for_a_left_chest_agree_on_an_adult_medium():
    placed = place(garment("crew_tee", "M"), location("left-chest"), block_art(89, 60))
    assert placed.centre[1] - placed.face.along["shoulder_top"].value == pytest.approx(8 * INCH)
    assert all(check.agrees for check in placed.cross_checks)


@states("hood-hides")
@pytest.mark.parametrize("name", ["full-back", "upper-back", "player-name", "player-number"])
def test_nothing_goes_under_the_lying_hood(name):
    # The drape as drawn, a polygon laid over the ink anew; all sizes from infants to 5XL.
    for style in ("pullover_hood", "zip_hood"):
        for size in sizes(style):
            piece, spot = garment(style, size), location(name)
            art = block_art(30, 20)
            art = fitted(piece, spot, art.scaled(spot.usual_scale(piece.age, 30, 20)))
            placed = place(piece, spot, art)
            hood = next(a.polygon for a in placed.face.areas if a.kind == "hood_shadow")
            assert shapely.Polygon(hood).intersection(shapely.Polygon(placed.hull())).area < 0.5
            if piece.age == "adult":
                assert Box.around(placed.hull()).top >= 5 * INCH


@states("threaded")
def test_a_garment_is_threaded_or_lies_on_top():
    shirt = place(garment("crew_tee", "M"), location("left-chest"), block_art(88, 60))
    threaded = load(shirt, platen("16x16in"))
    on_top = load(shirt, platen("16x16in"), threaded=False)
    assert on_top.height - threaded.height == pytest.approx(shirt.garment.thickness)
    infant = place(garment("crew_tee", "6M"), location("full-front"), block_art(90, 60))
    narrow = load(infant, platen("16x20in"))
    assert not narrow.threaded
    assert any("too narrow to be threaded" in str(each.sentence) for each in narrow.concerns)


@states("centre-on-pits")
def test_a_centre_chest_goes_by_the_neck_or_by_the_pits():
    piece, spot, art = garment("crew_tee", "M"), location("centre-chest"), block_art(200, 100)
    by_pits = place(piece, spot.by("pits"), art)
    assert by_pits.centre[1] == pytest.approx(by_pits.face.along["pit_line"].value)
    by_neck = place(piece, spot, art)
    assert any(check.checked_by.rule.line == "pit_line" for check in by_neck.cross_checks)


@states("tall-art")
def test_tall_art_rises_to_an_inch_below_the_neck_and_no_further():
    piece, spot = garment("crew_tee", "M"), location("full-front")
    tops = [Box.around(place(piece, spot, block_art(300, tall)).hull()).top
            for tall in (120, 300, 350, 400, 450)]  # fmt: skip
    assert tops == sorted(tops, reverse=True)
    assert tops[0] == pytest.approx(3 * INCH)
    assert tops[-1] == pytest.approx(INCH)


@states("placket-shoulder")
@pytest.mark.parametrize("size", ["S", "M", "L"])
def test_a_placket_shirt_is_checked_by_the_shoulder_too(size):
    placed = place(garment("placket_shirt", size), location("left-chest"), block_art(88, 40))
    lines = {check.checked_by.rule.line for check in placed.cross_checks}
    assert "shoulder_top" in lines
    depth = placed.centre[1] - placed.face.along["shoulder_top"].value
    assert 7.5 * INCH <= depth <= 9 * INCH


@states("sleeve-seam")
def test_a_sleeve_print_never_goes_onto_the_shoulder_seam():
    for size in ("XS", "M", "3XL"):
        piece, spot = garment("crew_tee", size), location("left-sleeve")
        for tall in (40, 80, 120, 160, 200, 260):
            try:
                placed = place(piece, spot, block_art(50, tall))
            except Impossible:
                continue
            assert Box.around(placed.hull()).top > 0 or placed.worst is Severity.STOP


@states("hood-front-width")
def test_a_wide_print_on_a_hooded_front_is_told():
    piece, spot = garment("pullover_hood", "XL"), location("full-front")
    broken = {}
    for wide in (270, 300):
        results = place(piece, spot, block_art(wide, 120)).rules
        verdicts = {r.verdict for r in results if "hooded front" in r.rule.says}
        broken[wide] = Verdict.MET not in verdicts
    assert broken == {270: False, 300: True}


@states("name-and-number")
def test_names_and_numbers_are_as_large_as_a_teams():
    for size in ("S", "L", "3XL"):
        name = LetterLine(garment("crew_tee", size), location("player-name"), "MONTGOMERY-SMITH")
        assert set_letters(name, LetterStyle()).ink.width <= 12 * INCH + 0.1
    for size, least, most in (("L", 8, 10), ("YM", 6, 8)):
        line = LetterLine(garment("crew_tee", size), location("player-number"), "8")
        number = set_letters(line, LetterStyle())
        assert least * INCH - 0.6 <= number.ink.height <= most * INCH + 0.6


@states("panel-less-two")
@pytest.mark.parametrize("size", sizes("tote"))
def test_art_on_a_tote_leaves_two_inches_of_the_panel(size):
    piece, spot = garment("tote", size), location("tote")
    art = block_art(400, 100)
    art = fitted(piece, spot, art.scaled(spot.usual_scale(piece.age, 400, 100)))
    outline = Box.around(piece.face("panel").outline)
    assert art.ink.width <= outline.width - 2 * INCH + 0.6


@states("defaults")
def test_every_figure_is_the_shops_to_change_and_the_rule_is_said(capsys, monkeypatch):
    piece, art = garment("crew_tee", "M"), block_art(88, 60)
    said = reasons(place(piece, location("left-chest"), art))
    assert any("armpit" in str(each) for each in said)
    line = "7 in down from the shoulder, 4 in across"
    code, _, err = run_program(capsys, monkeypatch, "location", "new", "house-chest", line)
    assert code == 0, err
    after = place(piece, location("house-chest"), art)
    assert after.centre[1] - after.face.along["shoulder_top"].value == pytest.approx(7 * INCH)


def test_every_statement_has_a_test_that_names_it():
    named = re.compile(r"(?:states|mark\.trade)\(([^)]*)\)")
    tests = Path(__file__).parents[2].rglob("test_*.py")
    found = [name for path in tests for given in named.findall(path.read_text(encoding="utf-8"))
             for name in re.findall(r'"([a-z-]+)"', given)]  # fmt: skip
    assert set(found) == set(TRADE["statement"])
