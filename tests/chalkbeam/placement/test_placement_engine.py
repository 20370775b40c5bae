"""The engine: mirrored locations, sizes, cross-checks, purity."""

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calibration.refusal import Refusal
from chalkbeam.artwork import Box
from chalkbeam.garments import FITS, Landmark, garment, sizes, styles
from chalkbeam.locations import location, locations
from chalkbeam.placement import Severity, alternatives, check_words, place
from chalkbeam.placement.alternatives import SHRINK
from tests.strategies import any_garment
from tests.support.artwork_files import block_art, mirror_art

LOCATIONS = sorted(locations())


@settings(max_examples=100)
@given(
    piece=any_garment(),
    name=st.sampled_from([n for n in LOCATIONS if n.startswith("left-")]),
    width=st.floats(20, 200),
    height=st.floats(10, 150),
    pull=st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1)),
)
def test_mirrored_location_gives_the_mirrored_answer(piece, name, width, height, pull):
    art = block_art(width, height, centre=(pull[0] * width, pull[1] * height))
    left, right = location(name), location(name.replace("left", "right", 1))
    if left.turn:  # a turn is not mirrored: only art that a half turn maps on to itself is alike
        art = block_art(width, height)
    try:
        here = place(piece, left, art)
    except Refusal as refusal:
        with pytest.raises(type(refusal)):
            place(piece, right, mirror_art(art))
        return
    there = place(piece, right, mirror_art(art))
    assume(piece.style != "pocket_tee")  # its pocket lies on one side alone
    assert there.centre == pytest.approx((-here.centre[0], here.centre[1]), abs=1e-6)
    assert there.tolerance == pytest.approx(here.tolerance)
    worst = [sorted(c.severity for c in p.warnings if c.about != "art") for p in (here, there)]
    assert left.turn or worst[0] == worst[1]  # a tilt reaches other seams on the other side


TOPS = [
    (style, fit)
    for style in styles()
    for fit in FITS
    if sizes(style, fit=fit) and "front" in garment(style, sizes(style)[0]).faces
]


@pytest.mark.slow
@given(
    top=st.sampled_from(TOPS),
    name=st.sampled_from(["left-chest", "right-chest", "left-chest-script"]),
    height=st.floats(20, 90),
)
def test_bigger_size_never_moves_the_art_nearer_the_pit_line_than_its_rule(top, name, height):
    style, fit = top
    usual = location("left-chest").rules[1]
    assert (usual.direction, usual.line) == ("above", "pit_line")
    for size in sizes(style, fit=fit):
        piece = garment(style, size, fit=fit)
        placed = place(piece, location(name), block_art(60, height))
        above = piece.face("front").along["pit_line"].value - placed.centre[1]
        if style == "placket_shirt":  # goes by its button, and is held between the same limits
            assert usual.by[piece.age].low - 12.7 <= above <= usual.by[piece.age].high + 0.1
        else:
            assert above >= usual.by[piece.age].usual - 1e-6


def test_cross_checks_say_which_way_and_how_much_is_too_much():
    # A pit measured 40 mm higher than the chart's brings the art up by as much; the shoulder's
    # rule, half an inch lower than the placing one allows for, then points downwards.
    chart = garment("crew_tee", "M").measures["pit_depth"].value
    told = {}
    for lower in (-40.0, -25.0, -15.0, 15.0):
        piece = garment("crew_tee", "M", measured={"pit_depth": chart + lower})
        placed = place(piece, location("left-chest"), block_art(70, 50))
        check = next(c for c in placed.cross_checks if "shoulder" in c.checked_by.rule.says)
        assert check.apart == pytest.approx(-lower, abs=1.0)
        told[lower] = check_words(check).say()
        # common practice: 7.5 to 9.5 in below the shoulder, give or take what the lines differ by
        slack = max(check.placed_by.line.tolerance, check.checked_by.line.tolerance) + 0.5
        agrees = 7.5 * 25.4 - slack <= 203.2 + lower <= 9.5 * 25.4 + slack
        assert check.agrees is agrees
        assert "common practice is 190 mm to 241 mm" in told[lower]
    assert "163 mm below" in told[-40.0]
    assert "27 mm apart: the rules disagree" in told[-40.0]
    assert "2 mm beyond, no more than pieces of a box differ by" in told[-15.0]
    assert told[15.0].endswith("the rules agree.")


def test_placing_is_a_pure_function():
    piece, spot, art = garment("crew_tee", "M"), location("left-chest"), block_art(80, 60)
    first, second = place(piece, spot, art), place(piece, spot, art)
    assert first == second
    assert Box.around(first.hull()) == Box.around(second.hull())


def test_smaller_number_stays_under_its_name():
    # On a small tank the figures reach the armholes: smaller ones do not, under the same name.
    piece, spot, art = garment("tank", "XS"), location("player-number"), block_art(400, 203)
    name = {"name_foot": Landmark(60.0, 0.0)}
    placed = place(piece, spot, art, extra=name)
    assert placed.worst is Severity.STOP
    width = next(a.lengths[0] for a in alternatives(placed) if "wide" in a.template)
    smaller = place(piece, spot, art.scaled(width / art.ink.width), extra=name)
    assert smaller.worst < Severity.STOP
    larger = place(piece, spot, art.scaled(width / art.ink.width / SHRINK), extra=name)
    assert larger.worst is Severity.STOP


@pytest.mark.parametrize(("off", "verdict"), [(0.4, "met"), (2.0, "within common practice")])
def test_a_rule_is_met_within_a_line_of_light(off, verdict):
    # Chalkbeam's own choice: half a millimetre, half the width of a line of light.
    placed = place(garment("crew_tee", "M"), location("nape"), block_art(50, 30))
    rule = next(r for r in placed.rules if r.rule.bound == "target" and r.asked.high > 30)
    moved = replace(rule, got=rule.asked.usual + off)
    assert moved.verdict.value == verdict
