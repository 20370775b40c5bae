import math

import numpy as np
import pytest

from calibration.geometry import Isometry, PlatenFace
from overlay.check_view import INSET, check_marks
from overlay.flat import FlatMap
from overlay.frame import Painter, render
from overlay.marks import Crosshair, Hatch, Role, Stroke, Text, moved
from overlay.palette import DEFAULT_PALETTE
from tests.overlay.oblique import oblique_map

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
    ("width", "depth", "lines"), [(406, 508, 3 + 5), (400, 508, 3 + 5), (150, 100, 1 + 1)]
)
def test_check_view_counts_squares_from_the_middle(width, depth, lines):
    marks = check_marks(PlatenFace(width, depth, 10), "bench")
    strokes = [mark for mark in marks if isinstance(mark, Stroke)]
    assert len(strokes) == 1 + lines
    for stroke in strokes[1:]:
        (x0, y0), (x1, y1) = stroke.points
        value = x0 if x0 == x1 else y0
        assert x0 == x1 or y0 == y1
        assert value % 100 == 0
    crosses = [mark.centre for mark in marks if isinstance(mark, Crosshair)]
    inset = min(INSET, width / 2, depth / 2)
    assert len(crosses) == 4
    for x, y in crosses:
        assert width / 2 - abs(x) == pytest.approx(inset)
        assert depth / 2 - abs(y) == pytest.approx(inset)


def test_check_view_figures_say_where_they_stand():
    for mark in check_marks(PlatenFace(406, 508, 10)):
        if isinstance(mark, Text) and mark.role is Role.CHECK:
            value = float(mark.text.replace("−", "-"))
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
