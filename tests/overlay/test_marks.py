import math

import numpy as np
import pytest

import overlay.draw.frame
from calibration.geometry import Isometry, PlatenFace
from overlay.draw.check_view import IN_INCHES, IN_MM, check_marks
from overlay.draw.composed import size_of
from overlay.draw.frame import Painter, render
from overlay.draw.page_map import FlatMap
from overlay.draw.strokes import stroke as outlined
from overlay.marks import Crosshair, Dash, Hatch, Role, Stroke, Text, moved
from overlay.palette import DEFAULT_PALETTE
from tests.support.oblique_projector import oblique_map

MARKS = [
    Stroke(((0.0, 0.0), (30.0, 0.0), (30.0, 20.0)), Role.LAY),
    Crosshair((5.0, -7.0), Role.LAY, angle=0.2),
    Hatch(((0.0, 0.0), (40.0, 0.0), (40.0, 30.0))),
    Text((10.0, 10.0), "lee", Role.NOTE),
]


@pytest.mark.parametrize("mark", MARKS)
def test_moved_marks_come_back(mark):
    there = Isometry(12.0, -3.0, 0.4)
    back = moved(moved(mark, there), there.inverse())
    assert type(back) is type(mark)
    for name in ("points", "polygon", "centre", "anchor", "angle"):
        if hasattr(mark, name):
            np.testing.assert_allclose(getattr(back, name), getattr(mark, name), atol=1e-9)


def test_moved_crosshair_stands_where_its_centre_went():
    cross = moved(MARKS[1], Isometry(100.0, 0.0, math.pi / 2))
    np.testing.assert_allclose(cross.centre, (107.0, 5.0))
    assert cross.angle == pytest.approx(0.2 + math.pi / 2)


@pytest.mark.parametrize(
    ("width", "depth", "lines", "ruling", "square", "corner"),
    [
        (406, 508, 3 + 5, IN_MM, 100, 25),
        (400, 508, 3 + 5, IN_MM, 100, 25),
        (150, 100, 1 + 1, IN_MM, 100, 25),
        (406.4, 508, 3 + 5, IN_INCHES, 4 * 25.4, 25.4),  # 16 x 20 in; an inch is 25.4 mm
    ],
)
def test_check_view_counts_squares_from_the_middle(width, depth, lines, ruling, square, corner):
    marks = check_marks(PlatenFace(width, depth, 10), "bench", ruling=ruling)
    strokes = [mark for mark in marks if isinstance(mark, Stroke)]
    assert len(strokes) == 1 + lines
    for stroke in strokes[1:]:
        (x0, y0), (x1, y1) = stroke.points
        value = x0 if x0 == x1 else y0
        assert x0 == x1 or y0 == y1
        assert value / square == pytest.approx(round(value / square))
    crosses = [mark.centre for mark in marks if isinstance(mark, Crosshair)]
    inset = min(corner, width / 4, depth / 4)
    assert len(crosses) == 4
    for x, y in crosses:
        assert width / 2 - abs(x) == pytest.approx(inset)
        assert depth / 2 - abs(y) == pytest.approx(inset)


@pytest.mark.parametrize(("ruling", "unit"), [(IN_MM, 1.0), (IN_INCHES, 25.4)])
def test_check_view_figures_say_where_they_stand(ruling, unit):
    for mark in check_marks(PlatenFace(406, 508, 10), ruling=ruling):
        if isinstance(mark, Text) and mark.role is Role.CHECK:
            value = float(mark.text.replace("−", "-")) * unit
            assert value in [pytest.approx(part) for part in mark.anchor]


def test_painter_draws_only_what_changed():
    platen_map = oblique_map(size=(320, 180))
    painter = Painter(platen_map)
    first = painter.paint(tuple(MARKS))
    assert painter.paint(tuple(MARKS)) is first
    assert painter.paint(None) is None
    assert painter.paint(tuple(MARKS)) is first
    assert painter.paint(tuple(MARKS[:2])) is not first
    np.testing.assert_array_equal(first, render(MARKS, platen_map, DEFAULT_PALETTE))


def test_flat_page_is_true_to_scale_and_comes_back():
    page = FlatMap((200, 100), 2.0, x=-10, y=-5)
    places = [(-10, -5), (0, 0), (33.25, 12.5)]
    pixels = page.projector_from_platen(places)
    np.testing.assert_allclose(pixels[:2], [(-0.5, 99.5), (19.5, 89.5)])
    np.testing.assert_allclose([page.place(pixel) for pixel in pixels], places)


def test_what_a_painter_draws_layer_by_layer_is_what_is_drawn_at_once(monkeypatch):
    """Lines that move past hatches and words that stand or change: never a pixel's difference."""
    platen_map = oblique_map()
    painter = Painter(platen_map, keep=2)
    still = (
        Hatch(((-150, -60), (-90, -60), (-90, 60), (-150, 60))),
        Text((-40, -80), "17 of 59\nnavy, L", size=12.0),
        Text((40, 90), "too near the zip", Role.WARN, 9.0),
    )
    square = ((-30.0, -30.0), (30.0, -30.0), (30.0, 30.0), (-30.0, 30.0))
    told = []
    for number in range(8):
        shift = Isometry(0.1 * number, -7.3 * number, 0.01 * (number // 4))
        lines = (
            moved(Stroke(square, Role.LAY, closed=True), shift),
            moved(Stroke(square[:3], Role.LAY, dash=Dash.DASHED, height=4.0), shift),
            moved(Crosshair((0.0, 0.0), Role.LAY), shift),
        )
        words = (Text((-40, -110), f"moved {0.1 * number:.1f} mm"),) if number % 3 else ()
        marks = (*still, *lines, *words)
        frame = painter.paint(marks)
        assert np.array_equal(frame, render(marks, platen_map, DEFAULT_PALETTE))
        assert painter.paint(marks) is frame
        told.append(frame)
    assert not np.array_equal(told[0], told[1])

    drawn = []
    whole = overlay.draw.frame.lit
    monkeypatch.setattr(
        overlay.draw.frame, "lit", lambda *of: drawn.append(len(of[0])) or whole(*of)
    )
    painter.paint((*still, moved(lines[0], Isometry(0.5, 0.0)), *words))
    assert len(drawn) == 1  # the lay lines alone


def test_what_was_drawn_ahead_is_only_laid_together(monkeypatch):
    platen_map = oblique_map()
    painter = Painter(platen_map)
    painter.paint(tuple(MARKS))
    shifted = tuple(moved(mark, Isometry(9.0, 4.0, 0.3)) for mark in MARKS)
    steps = sum(1 for _ in painter.ahead(shifted))
    assert steps == 5  # a canvas, two colours of lines, what is kept dark, words
    assert sum(1 for _ in painter.ahead(shifted)) == 0

    def refuse(*_):
        pytest.fail("drawn only when it was to be painted")

    for name in ("lit", "dark"):
        monkeypatch.setattr(overlay.draw.frame, name, refuse)
    frame = painter.paint(shifted)
    monkeypatch.undo()
    assert np.array_equal(frame, render(shifted, platen_map, DEFAULT_PALETTE))


def test_a_painter_keeps_no_more_layers_than_may_be(monkeypatch):
    platen_map = oblique_map()
    most = 60_000
    monkeypatch.setattr(overlay.draw.frame, "_MOST_FRAMES", most / (3 * math.prod(platen_map.size)))
    painter = Painter(platen_map)
    for number in range(20):
        shifted = [moved(mark, Isometry(number, 0.0)) for mark in MARKS]
        for _ in painter.ahead(shifted):
            assert sum(map(size_of, painter._drawn.values())) <= most
    assert list(painter.ahead(shifted)) == []  # the last one is among them


def test_what_is_foreseen_again_outlasts_what_is_not(monkeypatch):
    platen_map = oblique_map()
    painter = Painter(platen_map)
    first, second, third = (
        [moved(mark, Isometry(number, 0.0)) for mark in MARKS] for number in (0.0, 3.0, 6.0)
    )
    for marks in (first, second):
        [*painter.ahead(marks)]
    most = 1.2 * sum(map(size_of, painter._drawn.values()))
    monkeypatch.setattr(overlay.draw.frame, "_MOST_FRAMES", most / (3 * math.prod(platen_map.size)))
    for marks in (first, third):  # there is room for two of the three
        [*painter.ahead(marks)]
    assert [*painter.ahead(first)] == []
    assert [*painter.ahead(second)] != []


def test_no_frame_is_drawn_over_while_anybody_looks_at_it():
    painter = Painter(oblique_map(size=(320, 180)))
    corner = painter.paint(tuple(MARKS))[80:100, 150:170, 1]
    as_it_was = corner.copy()
    assert as_it_was.any()
    places = set()
    for number in range(8):
        frame = painter.paint([moved(mark, Isometry(number + 1.0, 2.0)) for mark in MARKS])
        places.add(frame.ctypes.data)
        assert np.array_equal(corner, as_it_was)
    assert len(places) == 2  # in turns: one is looked at while the other is drawn on


def test_a_stroke_that_was_shifted_is_drawn_as_one_worked_out_anew():
    platen_map = oblique_map()
    ring = tuple((60 * math.cos(t), 40 * math.sin(t)) for t in np.linspace(0, 6, 60))
    for x, y in ((0.0, 0.0), (0.1, -0.1), (33.3333333, 91.7)):
        mark = moved(Stroke(ring, Role.LAY, closed=True), Isometry(x, y))
        (contours,) = [overlay.draw.frame._stroked(mark, Dash.SOLID)]
        direct = outlined(np.array(mark.points), mark.width, True, Dash.SOLID)
        assert contours.points == pytest.approx(direct.points, abs=2e-6)
        assert np.array_equal(contours.ends, direct.ends)
    far = Stroke(((0.0, 0.0), (1e5, 0.0)), Role.LAY)  # cut off on the platen, not by its form
    assert np.array_equal(
        render([far], platen_map, DEFAULT_PALETTE),
        render([Stroke(((0.0, 0.0), (1500.0, 0.0)), Role.LAY)], platen_map, DEFAULT_PALETTE),
    )
