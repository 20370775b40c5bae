"""The engine's algebra and geometry: balance, clearance, twins, impossible places."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from calibration.geometry import Isometry
from calibration.refusal import Refusal
from chalkbeam.artwork import Box, letter
from chalkbeam.basics.units import Unit
from chalkbeam.garments import FITS, Landmark, garment, sizes, styles
from chalkbeam.locations import location, locations
from chalkbeam.placement import Impossible, Severity, alternatives, check_words, place
from chalkbeam.placement.alternatives import SHRINK
from chalkbeam.placement.answers import fitting_locations
from chalkbeam.placement.balance import Term, balance, hard_range
from chalkbeam.placement.clearance import clearance
from chalkbeam.placement.solve import takes
from tests.strategies import any_garment
from tests.support.artwork_files import block_art, mirror_art
from tests.support.crosses import inside

places = st.floats(-500, 500)
weights = st.floats(0.1, 1000)


@given(
    targets=st.lists(st.tuples(places, weights), min_size=1, max_size=4),
    limits=st.lists(
        st.tuples(places, weights, st.sampled_from(["at_least", "at_most"])), max_size=4
    ),
    room=st.tuples(places, places),
)
def test_balance_is_the_least_squares_minimum(targets, limits, room):
    # Outside reference: scipy.optimize.minimize_scalar (bounded Brent) on the same cost.
    low, high = sorted(room)
    terms = [Term(at, "target", weight) for at, weight in targets]
    terms += [Term(at, kind, weight) for at, weight, kind in limits]
    terms += [Term(low, "at_least", hard=True), Term(high, "at_most", hard=True)]

    def cost(position):
        misses = [
            t.weight * (position - t.at) ** 2 for t in terms if not t.hard and t.counts_at(position)
        ]
        return sum(misses)

    found = balance(terms)
    assert low <= found <= high
    reference = minimize_scalar(
        cost, bounds=(low, high + 1e-9), method="bounded", options={"xatol": 1e-7}
    )
    assert cost(found) <= reference.fun * (1 + 1e-9) + 1e-6


def test_balance_by_hand():
    # Two targets 0 and 10, weights 1 and 3: weighted mean 7.5. A soft limit "at most 5" of
    # weight 4 then pulls: (0*1 + 10*3 + 5*4) / 8 = 6.25.
    terms = [Term(0, "target", 1), Term(10, "target", 3)]
    assert balance(terms) == 7.5
    assert balance([*terms, Term(5, "at_most", 4)]) == 6.25
    assert balance([*terms, Term(9, "at_most", 4)]) == 7.5
    assert balance([*terms, Term(6, "at_most", hard=True)]) == 6
    assert hard_range([Term(6, "at_most", hard=True)]) == (-math.inf, 6)


def test_balance_where_limits_pull_from_both_sides():
    # By hand: a floor at 10 and a ceiling at 4, each of weight 1, and a target at 0 of weight 1.
    # Between them all three pull: (0 + 10 + 4) / 3 = 14/3. With the ceiling's weight 3 the slope
    # at 4 is 4 - 6 = -2, so that the minimum still lies between: (0 + 10 + 12) / 5 = 4.4.
    target, floor = Term(0, "target"), Term(10, "at_least")
    assert balance([target, floor, Term(4, "at_most")]) == pytest.approx(14 / 3)
    assert balance([target, floor, Term(4, "at_most", 3)]) == pytest.approx(4.4)
    # Heavier than all: at 4 the slope is 4 - 2 = 2 with a floor at 6, and the ceiling sleeps.
    assert balance([target, Term(6, "at_least"), Term(4, "at_most", 9)]) == pytest.approx(3.0)
    # A floor pulls below itself however gently the cost rises at it: (0 + 3) / 2.
    assert balance([target, Term(3, "at_least")]) == pytest.approx(1.5)
    assert balance([target, Term(-3, "at_most")]) == pytest.approx(-1.5)


def sutherland_hodgman(subject, clip):
    """Clip a polygon by a convex one (Sutherland & Hodgman 1974), both counter-clockwise."""
    output = [np.array(p, dtype=float) for p in subject]
    for start, end in zip(clip, [*clip[1:], clip[0]], strict=True):
        points, output = output, []
        edge = np.subtract(end, start)

        def side(p, edge=edge, start=start):
            return edge[0] * (p[1] - start[1]) - edge[1] * (p[0] - start[0])

        for before, point in zip([points[-1], *points[:-1]] if points else [], points, strict=True):
            if (side(before) >= 0) != (side(point) >= 0):
                t = side(before) / (side(before) - side(point))
                output.append(before + t * (point - before))
            if side(point) >= 0:
                output.append(point)
    return np.array(output).reshape(-1, 2)


def shoelace(points):
    """Area of a polygon (the surveyor's formula)."""
    if len(points) < 3:
        return 0.0
    x, y = points.T
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


@given(
    angle=st.floats(-3, 3),
    shift=st.tuples(st.floats(-80, 80), st.floats(-80, 80)),
    size=st.tuples(st.floats(10, 120), st.floats(10, 120)),
)
def test_shapely_agrees_with_an_independent_clip(angle, shift, size):
    # Independent polygon computation: Sutherland-Hodgman clipping and the shoelace formula.
    square = np.array([[-50, -50], [50, -50], [50, 50], [-50, 50]], dtype=float)
    block = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size) / 2
    moved = Isometry(*shift, angle).apply(block)
    ours = shapely.Polygon(square).intersection(shapely.Polygon(moved)).area
    assert ours == pytest.approx(shoelace(sutherland_hodgman(moved, square)), abs=1e-6)


def test_hidden_share_against_monte_carlo():
    # Independent computation: 200,000 random points of the ink, tested by crossing number.
    piece = garment("pullover_hood", "L")
    art = letter("TERN", width=250)
    face = piece.face("back")
    pose = Isometry(10.0, 95.0, 0.1)
    hood = next(area.polygon for area in face.areas if area.kind == "hood_shadow")
    rng = np.random.default_rng(7)
    points = rng.uniform([art.ink.left, art.ink.top], [art.ink.right, art.ink.bottom], (200_000, 2))
    inked = np.zeros(len(points), dtype=bool)
    for ring in art.outline:
        inked |= inside(points, np.array(ring))
    covered = inside(pose.apply(points[inked]), np.asarray(hood))
    found = clearance(face, art, pose)
    assert 0.05 < found.hidden < 0.95
    assert found.hidden == pytest.approx(covered.mean(), abs=0.01)
    assert any(c.about == "hood" for c in found.warnings)
    foot = max(y for _, y in hood)
    above = clearance(face, block_art(100, 100), Isometry(0.0, foot + 48.0))  # its top edge alone
    assert 0 < above.hidden < 0.05
    assert [c.about for c in above.warnings] == ["hood"]


LOCATIONS = sorted(locations())


@settings(max_examples=150)
@given(
    piece=any_garment(),
    name=st.sampled_from(LOCATIONS),
    width=st.floats(20, 450),
    height=st.floats(10, 450),
    pull=st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1)),
)
def test_ink_is_never_on_a_stay_clear_area_without_a_warning(piece, name, width, height, pull):
    art = block_art(width, height, centre=(pull[0] * width, pull[1] * height))
    try:
        placed = place(piece, location(name), art)
    except Refusal:
        return
    ink = shapely.Polygon(placed.hull())
    face = placed.face
    stopped = {c.about for c in placed.warnings if c.severity is Severity.STOP}
    for area in face.areas:
        overlap = shapely.Polygon(area.polygon).buffer(0).intersection(ink).area
        if area.hard and overlap > 1.5:
            about = {"pocket_edge": "pocket", "button": "placket"}.get(area.kind, area.kind)
            assert about in stopped, (piece.label, name, area.name, overlap)
    if ink.difference(shapely.Polygon(face.outline).buffer(0)).area > 1.5:
        assert "edge" in stopped
    # and whatever hard rules say holds
    for result in placed.rules:
        if result.rule.hard:
            kept = result.miss >= -1e-3 if result.rule.bound == "at_least" else result.miss <= 1e-3
            assert kept


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
    assert worst[0] == worst[1]


TOPS = [
    (style, fit)
    for style in styles()
    for fit in FITS
    if sizes(style, fit=fit) and style not in ("tote", "trousers")
]


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


@given(width=st.floats(100, 300), height=st.floats(190, 400))
def test_scaling_by_the_offered_width_fits_and_a_little_more_does_not(width, height):
    piece, place_name = garment("pullover_hood", "YM"), location("full-front")
    art = block_art(width, height)
    conflict = None
    try:
        place(piece, place_name, art)
    except Impossible as raised:
        conflict = raised
    assume(conflict is not None)
    assert conflict.width is not None
    place(piece, place_name, art.scaled(conflict.width / width * (1 - 1e-9)))
    with pytest.raises(Impossible):
        place(piece, place_name, art.scaled(conflict.width / width * 1.01))
    assert "never onto the collar" in str(conflict)
    assert "clear of the pocket" in str(conflict)


def test_impossible_offers_places_that_work():
    piece, art = garment("pullover_hood", "M"), block_art(250, 380)
    with pytest.raises(Impossible) as caught:
        place(piece, location("full-front"), art)
    conflict = caught.value
    assert "full-back" in conflict.others
    for other in conflict.others:
        assert place(piece, location(other), art).worst < Severity.STOP
    assert " in wide" in conflict.words.say(Unit.INCH)
    assert str(conflict) == conflict.words.say(Unit.MM)


def test_how_far_ink_runs_off_and_how_deep_it_lies():
    piece = garment("crew_tee", "XS")
    half = piece.measures["half_chest"].value / 2
    art = block_art(2 * half + 40, 80)  # 20 mm over either side, well below the armholes
    found = clearance(piece.face("front"), art, Isometry(0.0, 300.0))
    off = next(c for c in found.warnings if c.about == "edge")
    assert off.sentence.lengths == pytest.approx((20.0,), abs=0.01)
    front = garment("zip_hood", "M").face("front")
    zipped = clearance(front, block_art(20, 100), Isometry(front.across["zip"].value + 15, 200.0))
    deep = next(c for c in zipped.warnings if c.about == "zip")
    wide = next(area for area in front.areas if area.kind == "zip").polygon[:, 0].max()
    # from the art's left edge to the facing's, the shorter side of the overlap
    assert deep.sentence.lengths == pytest.approx((wide - 5.0,), abs=0.01)


def test_a_hood_over_much_of_the_ink_is_a_caution_over_little_a_note():
    face = garment("pullover_hood", "L").face("back")
    foot = face.along["hood_drape"].value
    much, little = (
        clearance(face, block_art(60, 100), Isometry(0.0, foot + 50.0 - over))
        for over in (30.0, 3.0)
    )
    assert 0.2 < much.hidden < 0.35
    assert 0.005 < little.hidden < 0.05
    assert [found.warnings[0].severity for found in (much, little)] == [
        Severity.CAUTION,
        Severity.NOTE,
    ]


def test_cross_checks_say_which_way_and_how_much_is_too_much():
    # A pit measured 40 mm higher than the chart's brings the art up by as much; the shoulder's
    # rule, half an inch lower than the placing one allows for, then points downwards.
    chart = garment("crew_tee", "M").measures["pit_depth"].value
    told = {}
    for lower in (-40.0, -25.0, -15.0, 15.0, 60.0):
        piece = garment("crew_tee", "M", measured={"pit_depth": chart + lower})
        placed = place(piece, location("left-chest"), block_art(70, 50))
        check = next(c for c in placed.cross_checks if "shoulder" in c.checked_by.rule.says)
        assert check.apart == pytest.approx(-lower, abs=1.0)
        told[lower] = check_words(check).say()
        # common practice: 7.5 to 9 in below the shoulder, give or take what the lines differ by
        slack = max(check.placed_by.line.tolerance, check.checked_by.line.tolerance) + 0.5
        agrees = 7.5 * 25.4 - slack <= 203.2 + lower <= 9 * 25.4 + slack
        assert check.agrees is agrees
    assert "lower: the rules disagree" in told[-40.0]
    assert "lower: the rules disagree" in told[-25.0]
    assert "lower: the rules agree" in told[-15.0]
    assert "higher: the rules agree" in told[15.0]
    assert "higher: the rules disagree" in told[60.0]


def test_zip_placket_and_buttons_stop():
    art = block_art(200, 100)
    for style, about in (("zip_hood", {"zip"}), ("placket_shirt", {"placket"})):
        placed = place(garment(style, "L"), location("centre-chest"), art)
        assert {c.about for c in placed.warnings if c.severity is Severity.STOP} == about
        assert placed.warnings[0].severity is Severity.STOP


def test_sheet_on_the_collar_is_a_note_ink_near_a_seam_a_caution():
    piece = garment("crew_tee", "M")
    near = place(piece, location("centre-chest"), block_art(200, 60, margin=75))
    note = next(c for c in near.warnings if "trim the sheet" in str(c.sentence))
    assert note.severity is Severity.NOTE
    large = place(piece, location("left-chest"), block_art(89, 60, margin=900))
    notes = [str(c.sentence) for c in large.warnings if "trim the sheet" in str(c.sentence)]
    assert len(notes) == 1
    assert "the collar" in notes[0]
    assert "the hem" in notes[0]
    face = piece.face("front")
    armhole = next(a for a in face.areas if a.name == "left armhole seam")
    edge = float(np.asarray(armhole.polygon)[:, 0].min())
    y = float(np.asarray(armhole.polygon)[:, 1].mean())
    tight = clearance(face, block_art(20, 4), Isometry(edge - 11.0, y))
    told = [c.sentence for c in tight.warnings if c.severity is Severity.CAUTION]
    assert "within 1/8 in of the left armhole seam" in told[0].say(Unit.INCH)


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


def test_what_is_offered_lies_on_the_same_face_first_and_takes_any_art():
    placed = place(garment("crew_tee", "L"), location("upper-back"), block_art(280, 150))
    names = fitting_locations(placed.garment, placed.location, placed.artwork)
    faces = [location(name).face for name in names]
    assert faces == sorted(faces, key=lambda face: face != "back")
    assert faces[0] == "back"
    for name in ("player-number", "left-sleeve-long", "left-chest-script"):
        assert not takes(location(name), lettering=True)
    assert takes(location("left-chest-name"), lettering=True)
    assert not takes(location("left-chest-name"), lettering=False)


@pytest.mark.parametrize(("off", "verdict"), [(0.4, "met"), (2.0, "within common practice")])
def test_a_rule_is_met_within_a_line_of_light(off, verdict):
    # Chalkbeam's own choice: half a millimetre, half the width of a line of light.
    placed = place(garment("crew_tee", "M"), location("nape"), block_art(50, 30))
    rule = next(r for r in placed.rules if r.rule.bound == "target" and r.asked.high > 30)
    moved = replace(rule, got=rule.asked.usual + off)
    assert moved.verdict.value == verdict


def test_lettering_and_slanted_places_are_not_offered_for_other_art():
    placed = place(garment("pocket_tee", "M"), location("left-chest"), block_art(89, 80))
    elsewhere = next(a.template for a in alternatives(placed) if "elsewhere" in a.template)
    assert "above-pocket" in elsewhere
    assert "name" not in elsewhere
    assert "script" not in elsewhere


@pytest.mark.parametrize(
    ("style", "name", "art"),
    [
        ("pocket_tee", "left-chest", block_art(89, 60)),
        ("pullover_hood", "nape", block_art(50, 30)),
        ("placket_shirt", "nape", block_art(50, 30)),
        ("pullover_hood", "left-hem", block_art(89, 60)),
        ("zip_hood", "centre-chest", block_art(220, 100)),
    ],
)
def test_remedies_work(style, name, art):
    from chalkbeam.placement.alternatives import STEP
    from chalkbeam.placement.clearance import clearance as touch

    def fine(found):
        # More than a twentieth of the ink under a hood calls for another place.
        return found.hidden <= 0.05 and not any(c.severity is Severity.STOP for c in found.warnings)

    piece, spot = garment(style, "L"), location(name)
    placed = place(piece, spot, art)
    answers = alternatives(placed)
    assert answers
    for answer in answers:
        if "higher" in answer.template or "lower" in answer.template:
            by = answer.lengths[0] * (-1 if "higher" in answer.template else 1)
            pose = placed.garment_from_art
            assert fine(touch(placed.face, art, replace(pose, y=pose.y + by)))
            nearer = by - math.copysign(STEP, by)
            assert not fine(touch(placed.face, art, replace(pose, y=pose.y + nearer)))
        elif "wide" in answer.template:
            smaller = place(piece, spot, art.scaled(answer.lengths[0] / art.ink.width))
            assert smaller.worst < Severity.STOP
        else:
            for other in answer.template.removeprefix("elsewhere: ").split(", "):
                assert place(piece, location(other), art).worst < Severity.STOP


def test_nothing_to_remedy():
    assert alternatives(place(garment("crew_tee", "M"), location("nape"), block_art(50, 30))) == ()
