"""Placement to marks: true positions, clear lettering, nothing off the platen."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.geometry import as_points
from calibration.refusal import Refusal
from chalkbeam.artwork import letter
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.light.free_room import grounds, text_shape
from chalkbeam.light.labels import shapes_of, with_remark
from chalkbeam.light.marks import _briefer, lay_marks, load_marks
from chalkbeam.locations import location
from chalkbeam.placement import place
from chalkbeam.placement.loading import load
from chalkbeam.placement.platens import COMMON, parse_pad, platen
from overlay.marks import LEADING, Crosshair, Hatch, Role, Stroke, Text
from overlay.text.typeface import advance, set_line
from overlay.text.wrap import balanced, shortened, wrapped
from tests.strategies import any_garment
from tests.support.artwork_files import block_art


def scene(style="crew_tee", size="M", name="left-chest", art=None, plate="16x20in", **options):
    placed = place(garment(style, size), location(name), art or block_art(89, 60, margin=8))
    return placed, load(placed, platen(plate), **options)


@pytest.mark.parametrize("collar", ["away", "towards", "left", "right"])
def test_ink_and_crosshair_lie_where_the_placement_says(collar):
    art = block_art(89, 60, centre=(3, -5), margin=8)
    placed, loading = scene(art=art, plate="16x16in", collar=collar)
    marks = lay_marks(placed, loading)
    platen_from_art = loading.platen_from_garment @ placed.garment_from_art
    (cross,) = [m for m in marks if isinstance(m, Crosshair)]
    assert cross.centre == pytest.approx(tuple(platen_from_art.apply([(3, -5)])[0]))
    strokes = [m for m in marks if isinstance(m, Stroke) and m.role is Role.LAY]
    sheet = next(m for m in strokes if np.allclose(shapely.Polygon(m.points).area, 105 * 76))
    assert set(map(tuple, np.round(sheet.points, 6))) == set(
        map(tuple, np.round(platen_from_art.apply(art.sheet.corners()), 6))
    )
    ink = next(m for m in strokes if np.allclose(shapely.Polygon(m.points).area, 89 * 60))
    assert as_points(ink.points) == pytest.approx(platen_from_art.apply(art.hull))
    assert {m.height for m in marks} == {loading.height}


def test_load_marks_show_the_centre_line_and_how_far_the_collar_hangs():
    placed, loading = scene()
    marks = load_marks(placed, loading, note="piece 3", unit=Unit.INCH)
    lines = [m for m in marks if isinstance(m, Stroke) and m.role is Role.LOAD]
    upright = [m for m in lines if np.ptp(as_points(m.points)[:, 0]) < 1e-9]
    assert any(abs(m.points[0][0]) < 1e-9 for m in upright)  # aside is 0: on the middle
    words = " ".join(m.text for m in marks if isinstance(m, Text)).replace("\n", " ")
    for part in ("piece 3", "Crew tee, adult M, front up", "neck seam 1/2 in over the edge"):
        assert part in words
    # 20 in half chest on a 16 in platen: 2 in over each side
    assert "sides 2 in over, both alike" in words
    level = loading.platen_from_garment.apply([(0, placed.face.along["pit_line"].value)])[0, 1]
    assert any(np.allclose(as_points(m.points)[:, 1], level) for m in lines)
    slid = load(placed, platen("11x15in"), aside=-30.0)
    words = " ".join(m.text for m in load_marks(placed, slid) if isinstance(m, Text))
    assert "left" in words.replace("\n", " ")


def test_neck_seam_is_lit_where_it_lies_on_the_platen():
    placed, loading = scene(overhang=-60.0)
    # the seam's lowest point is the garment frame's origin
    seam = shapely.Point(loading.platen_from_garment.apply([(0, 0)])[0])
    lit = [m for m in load_marks(placed, loading) if isinstance(m, Stroke) and len(m.points) > 4]
    assert min(shapely.LineString(m.points).distance(seam) for m in lit) < 0.05
    words = " ".join(m.text for m in load_marks(placed, loading) if isinstance(m, Text))
    assert "60 mm inside" in words.replace("\n", " ")


def test_stay_clear_areas_near_the_art_are_hatched_and_clipped():
    placed, loading = scene("zip_hood", "M", "left-chest")
    plate = shapely.Polygon(loading.platen.face.outline()).buffer(1e-6)
    hatches = [m for m in lay_marks(placed, loading) if isinstance(m, Hatch)]
    assert hatches
    assert all(plate.contains(shapely.Polygon(m.polygon)) for m in hatches)
    zip_line = loading.platen_from_garment.apply([(0, 200)])[0]
    assert any(shapely.Polygon(m.polygon).contains(shapely.Point(zip_line)) for m in hatches)


def test_what_is_wrong_is_lit_first():
    placed, loading = scene("zip_hood", "M", "centre-chest", block_art(200, 100))
    warned = [
        m.text for m in lay_marks(placed, loading) if isinstance(m, Text) and m.role is Role.WARN
    ]
    assert "lies on the zip" in warned[0].replace("\n", " ")
    # What lies under the head is said while the garment is not on yet.
    assert not any("Under the head" in words for words in warned)
    loaded = [
        m.text.replace("\n", " ")
        for m in load_marks(placed, loading)
        if isinstance(m, Text) and m.role is Role.WARN
    ]
    assert "lies on the zip" in loaded[0]
    assert any(words.startswith("Under the head: ") for words in loaded)
    calm = lay_marks(*scene())
    assert not any(m.role is Role.WARN for m in calm)


@pytest.mark.parametrize("plate", COMMON)
def test_a_warning_of_the_size_says_what_is_usual(plate):
    """Whatever room there is: an art's width alone is no warning."""
    placed = place(garment("crew_tee", "M"), location("left-chest"), block_art(160, 60, margin=8))
    (warning,) = (each for each in placed.warnings if each.about == "size")
    usual = warning.sentence.say(Unit.INCH).partition(" is ")[2].partition("sizes) is ")[2]
    try:
        loading = load(placed, platen(plate))
    except Refusal:
        pytest.skip("too small a platen")
    marks = lay_marks(placed, loading, note="17 of 59\nheather grey, 3XL", unit=Unit.INCH)
    said = [" ".join(m.text.split()) for m in marks if isinstance(m, Text) and m.role is Role.WARN]
    (size,) = (each for each in said if each.startswith("The art is"))
    assert usual.partition(".")[0] in size
    assert "…" not in size


def test_warnings_grow_shorter_without_losing_their_point():
    words = "The art is 7 in wide; usual here (left chest, adult sizes) is 2 to 4 in. So far: no."
    whole, first, bare, last = _briefer(words)
    assert whole == words.rstrip(".")
    assert first == "The art is 7 in wide; usual here (left chest, adult sizes) is 2 to 4 in"
    assert bare == "The art is 7 in wide; usual here is 2 to 4 in"
    assert last == "The art is 7 in wide …"
    assert _briefer("The hood hides it: place it lower.") == ["The hood hides it: place it lower"]


def test_mirror_printed_sheet_says_so():
    art = letter("PYKE", height=40, mirrored=True)
    placed, loading = scene(name="upper-back", art=art)
    words = " ".join(m.text for m in lay_marks(placed, loading) if isinstance(m, Text))
    assert "seen from the back" in words.replace("\n", " ")


@settings(max_examples=60)
@given(
    piece=any_garment(),
    name=st.sampled_from(
        ["centre-chest", "full-back", "left-chest", "left-sleeve", "left-leg", "tote"]
    ),
    width=st.floats(20, 350),
    shape=st.floats(0.3, 1.5),
    plate=st.sampled_from(["16x20in", "15x15in", "11x15in", "sleeve-5x18in", "pocket-6x6in"]),
    collar=st.sampled_from(["away", "towards", "left", "right"]),
)
def test_marks_stay_on_the_platen_and_lettering_reads(piece, name, width, shape, plate, collar):
    try:
        placed = place(piece, location(name), block_art(width, width * shape, margin=6))
        loading = load(placed, platen(plate), collar=collar)
    except Refusal:
        return
    face = shapely.Polygon(loading.platen.face.outline()).buffer(1e-3)
    for marks in (load_marks(placed, loading, note="7"), lay_marks(placed, loading, note="7")):
        texts = [m for m in marks if isinstance(m, Text)]
        assert texts or plate in ("sleeve-5x18in", "pocket-6x6in")
        for mark in marks:
            if isinstance(mark, Stroke):
                assert face.contains(shapely.LineString(mark.points))
        for text in texts:
            # 12 mm where there is room; never below 16 minutes of arc from 1.5 m, the least that
            # ISO 9241-303 has for ease of reading (from memory).
            assert text.size >= 1500 * math.tan(math.radians(16 / 60))
            assert text.angle == 0.0  # upright for the operator whichever way the collar points
        if plate in ("16x20in", "15x15in"):
            notes = [m for m in texts if m.role is Role.NOTE]
            assert all(face.contains(text_shape(text)) for text in notes)
            blocks = [text_shape(text).buffer(-5) for text in texts]
            assert all(a.disjoint(b) for i, a in enumerate(blocks) for b in blocks[i + 1 :])
            read = [text_shape(t).buffer(-6) for t in texts if t.role is not Role.LOAD]
            lines = shapely.union_all(shapes_of([m for m in marks if isinstance(m, Stroke)], 0.0))
            assert all(block.disjoint(lines) for block in read)
            where = grounds(loading.platen, 0.0)
            remarked = with_remark(marks, ["Escape again: end"], Role.WARN, where)
            for text in remarked[len(marks) :]:  # clear of the lines and of all other lettering
                assert (
                    text_shape(text).buffer(-6).disjoint(shapely.union_all(shapes_of(marks, 0.0)))
                )


def lettered(mark):
    """Return the ground that lettering is drawn on, and the room that lines are kept out of.

    From the outlines of the letters themselves; how far the box and the room reach is
    written in `overlay.draw.frame`.
    """
    wide = max(set_line(line, mark.size).advance for line in mark.text.split("\n"))
    tall = mark.size * (1 + LEADING * mark.text.count("\n"))
    left, bottom = np.array(mark.anchor) - np.multiply(mark.align, (wide, tall))
    inks = []
    for number, line in enumerate(mark.text.split("\n")):
        x0, y0, x1, y1 = set_line(line, mark.size).ink
        base = bottom + tall - mark.size * (1 + LEADING * number)
        inks.append(shapely.box(left + x0, base + y0, left + x1, base + y1))
    ink = shapely.box(*shapely.union_all(inks).bounds)
    box = ink.buffer(0.56 * mark.size if mark.role is Role.WARN else 0.0, join_style="mitre")
    return box, box.buffer(0.35 * mark.size, join_style="mitre")


STYLES = (
    ("crew_tee", "6M", "left-chest", 45, 45),
    ("crew_tee", "YM", "full-front", 200, 180),
    ("crew_tee", "M", "left-sleeve", 70, 70),
    ("crew_tee", "5XL", "full-back", 340, 330),
    ("crew_tee", "L", "nape", 40, 30),
    ("long_sleeve", "L", "left-cuff", 40, 40),
    ("pullover_hood", "L", "centre-chest", 240, 200),
    ("zip_hood", "L", "left-chest", 90, 90),
    ("pocket_tee", "M", "above-pocket", 80, 60),
    ("placket_shirt", "XL", "left-chest", 90, 70),
    ("trousers", "L", "left-leg", 60, 40),
    ("tote", "standard", "tote", 200, 200),
)


@pytest.mark.slow
@pytest.mark.parametrize("pad", ["", "6x6x0.5in", "10x10x0.25in", "4x4x12mm"])
@pytest.mark.parametrize("plate", COMMON)
def test_no_word_crosses_a_lay_line_or_leaves_the_face_it_lies_on(plate, pad):
    note = "17 of 59\nheather grey, 3XL\nHARBOUR-WINTERBOTTOM 127\nmoved 1.3 mm right, 0.4 mm away"
    try:
        bed = platen(plate).with_pad(parse_pad(pad) if pad else None)
    except Refusal:  # the pad is larger than the platen
        return
    for (style, size, name, wide, tall), collar in itertools.product(STYLES, ("away", "left")):
        try:
            placed = place(garment(style, size), location(name), block_art(wide, tall, margin=6))
            loading = load(placed, bed, collar=collar)
        except Refusal:
            continue
        laid = loading.platen  # the pad where it was sought
        face = shapely.Polygon(laid.face.outline())
        top = shapely.Polygon(laid.pressed())
        for marks in (
            load_marks(placed, loading, note=note, unit=Unit.INCH),
            lay_marks(placed, loading, note=note, unit=Unit.INCH),
        ):
            lines = shapely.union_all(
                [
                    shapely.LineString([*m.points, m.points[0]] if m.closed else m.points)
                    for m in marks
                    if isinstance(m, Stroke) and m.role is Role.LAY
                ]
            )
            for text in (m for m in marks if isinstance(m, Text)):
                ink, room = lettered(text)
                assert text.size >= 7.0
                assert room.disjoint(lines)
                assert face.contains(ink)
                if bed.pad is not None and text.role is not Role.LOAD:
                    # on the pad at its height, or so far beside it that the cloth lies flat
                    low = loading.height - bed.pad.height
                    far = top.distance(ink) >= 2 * bed.pad.height
                    assert (text.height == loading.height and top.contains(ink)) or (
                        text.height == pytest.approx(low) and far
                    )
            said = " ".join(m.text for m in marks if isinstance(m, Text))
            if any(isinstance(m, Text) for m in marks):
                assert "17 of 59" in said.replace("\n", " ")


def test_the_arrow_stays_on_a_platen_whose_edge_is_near():
    placed, loading = scene(
        "crew_tee", "M", "left-chest", block_art(90, 90, margin=8), "pocket-6x6in"
    )
    edge = shapely.Polygon(loading.platen.face.outline()).buffer(1e-6)
    (arrow,) = [m for m in load_marks(placed, loading) if isinstance(m, Stroke) and m.width == 2.0]
    assert edge.contains(shapely.LineString(arrow.points))


def test_lines_are_broken_evenly_and_never_inside_a_length_or_a_size():
    room = 12 * 15.0
    lengths = [advance(line) for line in balanced("moved 1.3 mm right, 0.4 mm away", 12.0, room)]
    assert len(lengths) == 2
    assert min(lengths) > 0.6 * max(lengths)
    for text in ("on pad 6 x 6 in, 0.5 in high", "17 of 59", "neck seam 4 7/8 in inside the edge"):
        for cap in (7.0, 9.0, 12.0):
            for narrow in (60.0, 100.0, 160.0):
                lines = balanced(text, cap, narrow)
                assert " ".join(lines) == text
                assert not any(
                    line.endswith((" x", " of", "6", "4", "0.5", "7/8")) for line in lines
                )
    assert wrapped("HARBOUR-WINTERBOTTOM", 10.0, 130.0) == ["HARBOUR-", "WINTERBOTTOM"]
    assert shortened("WINTERBOTTOM", 10.0, 60.0).endswith("…")
