"""Ink and sheet against a garment's stay-clear areas and edges."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.geometry import Isometry
from calibration.refusal import Refusal
from chalkbeam.artwork import letter
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.locations import location, locations
from chalkbeam.placement import Severity, place
from chalkbeam.placement.clearance import clearance
from tests.strategies import any_garment
from tests.support.artwork_files import block_art
from tests.support.point_in_polygon import inside


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


def test_a_hood_is_told_by_how_far_it_covers_the_ink():
    face = garment("pullover_hood", "L").face("back")
    foot = face.along["hood_drape"].value
    much, little = (
        clearance(face, block_art(60, 100), Isometry(0.0, foot + 50.0 - over))
        for over in (30.0, 3.0)
    )
    assert 0.2 < much.hidden < 0.35
    assert 0.005 < little.hidden < 0.05
    for found, over in ((much, 30.0), (little, 3.0)):
        assert found.covered == pytest.approx(over, abs=0.2)  # a curve drawn in short lines
        told = found.warnings[0]
        assert told.severity is Severity.CAUTION
        assert told.sentence.lengths == (found.covered,)
        assert "place it lower" in str(told.sentence)
    whole = clearance(face, block_art(60, 40), Isometry(0.0, 40.0))
    assert "place it lower" not in str(whole.warnings[0].sentence)
    assert "below the hood" in str(whole.warnings[0].sentence)


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
