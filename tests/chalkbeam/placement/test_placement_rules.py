"""The engine against the trade's figures, and the rules against one another."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.artwork import Box, letter
from chalkbeam.basics.units import MM_PER_INCH, Unit
from chalkbeam.garments import FITS, garment, sizes, styles
from chalkbeam.locations import Axis, location, locations
from chalkbeam.placement import (
    Placer,
    Request,
    Severity,
    Verdict,
    check_words,
    foot_of,
    place,
    reasons,
)
from tests.support.artwork_files import block_art

CASES = tomllib.loads(
    (Path(__file__).parents[2] / "data" / "location_rules.toml").read_text(encoding="utf-8")
)["case"]


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c['style']}-{c['size']}-{c['location']}")
def test_common_practice(case):
    # Figures: tests/data/location_rules.toml, common practice, no source.
    piece = garment(case["style"], case["size"])
    width, height = (MM_PER_INCH * side for side in case["art"])
    placed = place(piece, location(case["location"]), block_art(width, height))
    ink, (x, y) = Box.around(placed.hull()), placed.centre
    along = {name: line.value for name, line in placed.face.along.items()}
    found = {
        "top": ink.top,
        "below_shoulder": y - along.get("shoulder_top", 0.0),
        "above_pit": along.get("pit_line", 0.0) - y,
        "off_centre": abs(x),
        "above_hem": along.get("sleeve_hem", along.get("hem", 0.0)) - ink.bottom,
    }
    for name in found.keys() & case.keys():
        least, most = (MM_PER_INCH * bound for bound in case[name])
        assert least - 0.5 <= found[name] <= most + 0.5, (name, found[name] / MM_PER_INCH)
    assert placed.worst < Severity.STOP


def test_adult_medium_is_consistent():
    # Pit line 10.5 in below the shoulder less 2.5 in is the 8 in of the shoulder rule: common
    # practice, no source. Here both come out of the garment's own landmarks.
    placed = place(garment("crew_tee", "M"), location("left-chest"), block_art(89, 60))
    shoulder = next(c for c in placed.cross_checks if "shoulder" in c.checked_by.rule.says)
    assert shoulder.agrees
    assert abs(shoulder.apart) < 1.0
    y = placed.centre[1] - placed.face.along["shoulder_top"].value
    assert y == pytest.approx(8 * MM_PER_INCH, abs=1.0)


def _tops():
    return [
        (style, size, fit)
        for style in styles()
        for fit in FITS
        for size in sizes(style, fit=fit)
        if "front" in garment(style, size, fit=fit).faces
        and garment(style, size, fit=fit).age in ("adult", "youth")
    ]


@pytest.mark.parametrize(("style", "size"), [("crew_tee", "YM"), ("crew_tee", "YS")])
def test_one_measure_has_one_band(style, size):
    # Tall art hung 5/8 in below the pit line: the check called it usual, a note unusual.
    placed = place(garment(style, size), location("full-front"), block_art(245, 245))
    (pits,) = (c for c in placed.cross_checks if c.checked_by.rule.line == "pit_line")
    assert check_words(pits).say().endswith("the rules agree.")
    assert pits.checked_by.got > 5
    assert not any("pit line" in str(each.sentence) for each in placed.warnings)


BOX = 0.65 * MM_PER_INCH
"""Two rules for one place agree within this of the second's band, mm: pieces of a box differ by
half an inch or a little more (common practice, no source)."""


@pytest.mark.parametrize("name", ["left-chest", "left-chest-name", "left-chest-script"])
def test_left_chest_rules_agree_for_all_adult_and_youth_sizes(name):
    # Two independent rules of common practice (no source): so far above the pit line (on a placket
    # shirt level with the lowest button), and so far below the shoulder. The neck point and the
    # four inches off centre likewise.
    seen = set()
    for style, size, fit in _tops():
        piece = garment(style, size, fit=fit)
        for side in (name, name.replace("left", "right")):
            placed = place(piece, location(side), block_art(70, 50))
            assert placed.cross_checks
            for check in placed.cross_checks:
                if style == "tank" and check.checked_by.rule.axis is Axis.ACROSS:
                    continue  # its scoop is so wide on 5XL that the two do disagree, and say so
                assert check.agrees, (piece.label, check_words(check).say())
                asked, got = check.checked_by.asked, check.checked_by.got
                assert asked.low - BOX <= got <= asked.high + BOX, piece.label
                seen.add((style, fit, check.checked_by.rule.axis))
    assert {(style, fit) for style, fit, _ in seen} == {(style, fit) for style, _, fit in _tops()}


def test_left_chest_of_a_placket_shirt():
    # Level with the lowest button (common practice, no source); but a placket is cut hardly longer
    # for large sizes, so that there the pit line's rule, 2 to 3 in below the art, stops it.
    lower = []
    for size in sizes("placket_shirt"):
        piece = garment("placket_shirt", size)
        if piece.age != "adult":
            continue
        placed = place(piece, location("left-chest"), block_art(70, 50))
        along = placed.face.along
        lower.append(placed.centre[1] - along["lowest_button"].value)
        above = along["pit_line"].value - placed.centre[1]
        assert (
            2 * MM_PER_INCH
            <= above
            < (3.01 if size not in ("3XL", "4XL", "5XL") else 4.5) * MM_PER_INCH
        )
        assert placed.centre[1] - along["shoulder_top"].value < 9.3 * MM_PER_INCH
    assert lower[:6] == sorted(lower[:6])
    assert lower[:3] == pytest.approx([0, 0, 0], abs=0.01)  # XS, S, M


def test_centre_chest_rules_agree_with_the_pit_line():
    for style, size, fit in _tops():
        piece = garment(style, size, fit=fit)
        placed = place(piece, location("centre-chest"), block_art(200, 100))
        check = next(c for c in placed.cross_checks if "armpit" in c.checked_by.rule.says)
        assert check.agrees, (piece.label, check_words(check).say())


def test_tall_art_rises_to_the_pit_line_but_never_on_to_the_collar():
    piece = garment("crew_tee", "M")
    pit = piece.face("front").along["pit_line"].value
    small = place(piece, location("full-front"), block_art(250, 100))
    assert Box.around(small.hull()).top == pytest.approx(76.2, abs=0.1)
    tall = place(piece, location("full-front"), block_art(250, 260))
    assert tall.centre[1] == pytest.approx(pit, abs=0.1)
    taller = place(piece, location("full-front"), block_art(250, 330))
    assert Box.around(taller.hull()).top == pytest.approx(25.4, abs=0.1)
    missed = [r for r in taller.rules if r.verdict is Verdict.MISSED and r.rule.bound == "at_most"]
    assert missed
    # An inch below the pit line is still practice for a full front; three and a half are not.
    assert not any("pit line" in str(c.sentence) for c in taller.warnings)
    tallest = place(piece, location("full-front"), block_art(250, 470))
    assert any(c.about == "rule" and "pit line" in str(c.sentence) for c in tallest.warnings)


def test_single_name_stands_on_the_line():
    piece, name = garment("crew_tee", "L"), letter("Maggie", width=80)
    placed = place(piece, location("left-chest-name"), name)
    foot = placed.garment_from_art.apply([(0, name.baseline)])[0, 1]
    pit = piece.face("front").along["pit_line"].value
    assert pit - foot == pytest.approx(2.5 * MM_PER_INCH)
    mark = place(piece, location("left-chest-name"), block_art(80, 60))
    assert any("No baseline" in str(c.sentence) for c in mark.warnings)


def test_script_is_turned_about_its_optical_centre():
    piece, art = garment("crew_tee", "M"), block_art(80, 30, centre=(10, -4))
    plain = place(piece, location("left-chest"), art)
    script = place(piece, location("left-chest-script"), art)
    assert script.centre == pytest.approx(plain.centre)
    right, left = script.garment_from_art.apply([(40, 0), (-40, 0)])
    rise = math.degrees(math.atan2(left[1] - right[1], right[0] - left[0]))
    assert rise == pytest.approx(15)  # common practice, no source
    turned = place(piece, location("left-chest"), art, turn=-math.radians(15))
    assert turned.garment_from_art == script.garment_from_art


def test_number_goes_under_its_name():
    piece = garment("crew_tee", "L")
    name = place(piece, location("player-name"), letter("PYKE", height=63.5))
    number = place(piece, location("player-number"), letter("7", height=203.2), extra=foot_of(name))
    gap = Box.around(number.hull()).top - Box.around(name.hull()).bottom  # no tails in PYKE
    assert 1.0 * MM_PER_INCH <= gap <= 1.5 * MM_PER_INCH  # common practice, no source
    alone = place(piece, location("player-number"), letter("7", height=203.2))
    assert Box.around(alone.hull()).top == pytest.approx(7.25 * MM_PER_INCH)


def test_tails_below_the_baseline_do_not_move_a_teams_numbers():
    piece = garment("crew_tee", "L")
    feet = [
        foot_of(place(piece, location("player-name"), letter(name, height=63.5)))["name_foot"].value
        for name in ("PYKE", "QUIN")
    ]
    # capitals of both stand 63.5 mm below the same top; a round Q reaches 1 mm higher
    assert feet[0] == pytest.approx(feet[1], abs=1.5)
    block = place(piece, location("player-name"), block_art(200, 60))
    assert foot_of(block)["name_foot"].value == pytest.approx(Box.around(block.hull()).bottom)


def test_measured_piece_moves_the_art_with_its_line():
    chart = place(garment("crew_tee", "M"), location("left-chest"), block_art(89, 60))
    piece = garment("crew_tee", "M", measured={"pit_depth": 280.0})
    moved = place(piece, location("left-chest"), block_art(89, 60))
    assert moved.centre[1] - chart.centre[1] == pytest.approx(280.0 - 10.5 * MM_PER_INCH)


def test_tolerance_is_that_of_the_lines_the_art_hangs_on():
    piece = garment("crew_tee", "M")
    lines = piece.face("front").along
    low = place(piece, location("left-chest"), block_art(89, 60))
    assert low.tolerance[1] == pytest.approx(lines["pit_line"].tolerance)
    assert place(piece, location("centre-chest"), block_art(150, 60)).tolerance == (0, 0)
    # a tall front hangs on the pit line, which holds it back
    tall = place(piece, location("full-front"), block_art(250, 260))
    assert tall.tolerance[1] == pytest.approx(lines["pit_line"].tolerance, rel=0.01)
    # and once the collar stops it, on the collar alone
    stopped = place(piece, location("full-front"), block_art(250, 330))
    assert stopped.tolerance[1] == lines["neck_seam"].tolerance


def test_tolerance_of_a_hard_limit_is_that_of_its_line():
    piece = garment("pullover_hood", "M")
    pocket = piece.face("front").along["pocket_top"]
    # 290 mm high: with its centre on the pit line it would reach within an inch of the pocket
    stopped = place(piece, location("full-front"), block_art(100, 290))
    assert Box.around(stopped.hull()).bottom == pytest.approx(pocket.value - 25.4)
    assert stopped.tolerance[1] == pocket.tolerance > 0


def test_size_out_of_the_usual_is_noted():
    def told(width):
        placed = place(garment("crew_tee", "5XL"), location("left-chest"), block_art(width, 60))
        return [c for c in placed.warnings if c.about == "size"]

    assert not told(90)
    assert "5 1/2 in wide" in told(140)[0].sentence.say(Unit.INCH)
    assert told(140)[0].severity is Severity.NOTE
    assert told(178)[0].severity is told(10)[0].severity is Severity.CAUTION  # 7 in, 1 cm
    said = told(178)[0].sentence.say(Unit.INCH)
    assert "usual here (left chest, adult sizes) is 3 in to 4 in" in said
    assert "a unit or the location may be mistaken" in said


def test_a_sheet_that_no_roll_gives_is_warned_of():
    def told(margin):
        art = block_art(90, 60, margin=margin)
        placed = place(garment("crew_tee", "M"), location("left-chest"), art)
        return [c for c in placed.warnings if "crop the picture" in str(c.sentence)]

    assert not told(900.0)
    assert told(1100.0)[0].severity is Severity.CAUTION


def test_art_wider_than_the_garment_allows_is_warned_of():
    # Never wider than the flat chest less 2 in a side: common practice, no source.
    piece = garment("crew_tee", "S")
    chest = piece.measures["half_chest"].value
    fits = place(piece, location("full-front"), block_art(chest - 4 * MM_PER_INCH, 100))
    assert fits.worst < Severity.CAUTION
    wide = place(piece, location("full-front"), block_art(chest - 3 * MM_PER_INCH, 100))
    told = [c for c in wide.warnings if c.severity is Severity.CAUTION]
    assert len([c for c in told if "side seam" in str(c.sentence)]) == 2


@pytest.mark.parametrize("name", sorted(locations()))
def test_every_location_places_usual_art_on_some_garment_for_each_age(name):
    found, placed_for = locations()[name], set()
    for style in styles():
        for size in sizes(style):
            piece = garment(style, size)
            if found.face not in piece.faces or piece.age in placed_for:
                continue
            art = block_art(30, 20)
            art = art.scaled(found.usual_scale(piece.age, 30, 20))
            try:
                placed = place(piece, found, art)
            except Refusal:
                continue
            if placed.worst < Severity.STOP:
                placed_for.add(piece.age)
                assert reasons(placed)
    wanted = {"adult"} if name in ("tote", "bib") else {"adult", "youth", "toddler", "infant"}
    if name in ("above-pocket", "cap-front"):  # the smallest sizes have no room for a pocket print
        wanted = {"adult", "youth"}
    assert placed_for >= wanted


def test_an_order_is_placed_like_its_pieces():
    placer, art = Placer(), block_art(80, 60)
    wanted = [
        Request(garment(style, size), location("left-chest"), art)
        for style in ("crew_tee", "tote", "zip_hood")
        for size in ("M", "L", "M")
        if style != "tote"
    ] + [Request(garment("tote", "large"), location("left-chest"), art)]
    answers = list(placer.place_all(wanted))
    for request, answer in zip(wanted[:-1], answers[:-1], strict=True):
        assert answer == place(request.garment, request.location, request.artwork)
    assert answers[0] is answers[2]
    assert isinstance(answers[-1], Refusal)


def test_what_the_garment_lacks_is_refused_in_a_sentence():
    with pytest.raises(Refusal, match="no face"):
        place(garment("tote", "standard"), location("left-chest"), block_art(80, 60))
    with pytest.raises(Refusal, match=r"goes by the pocket centre.*such as left-chest"):
        place(garment("crew_tee", "M"), location("above-pocket"), block_art(80, 60))


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_short_sleeve_has_no_cuff(side):
    for name in (f"{side}-cuff", f"{side}-sleeve-long"):
        for style in ("crew_tee", "v_neck", "placket_shirt", "pocket_tee"):
            with pytest.raises(Refusal, match=rf"by the cuff, .*such as {side}-sleeve[,.]"):
                place(garment(style, "M"), location(name), block_art(60, 40))
        for style in ("long_sleeve", "raglan", "crew_sweatshirt", "pullover_hood", "zip_hood"):
            assert place(garment(style, "M"), location(name), block_art(60, 40))
    # and what is for a short sleeve stands above the cuff of a long one
    long = garment("pullover_hood", "M")
    placed = place(long, location(f"{side}-sleeve"), block_art(60, 40))
    assert placed.centre == place(long, location(f"{side}-cuff"), block_art(60, 40)).centre


def test_reasons_read_in_the_users_unit():
    placed = place(garment("crew_tee", "M"), location("left-chest"), block_art(89, 60))
    inches = " ".join(reason.say(Unit.INCH) for reason in reasons(placed))
    millimetres = " ".join(reason.say(Unit.MM) for reason in reasons(placed))
    assert "2 1/2 in above the pit line" in inches
    assert "64 mm above the pit line" in millimetres
    assert np.isclose(placed.rules[1].got, 63.5)
