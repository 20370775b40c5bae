"""A shift with line lasers: which ticks to move to is said at each change, all else is as ever."""

import numpy as np
import pytest

from chalkbeam.lasers.hung import TWO_LINES
from chalkbeam.placement.platens import platen
from chalkbeam.record.events import Step
from chalkbeam.station.controller import StationController
from chalkbeam.station.ready_imprint import ImprintPreparer
from chalkbeam.station.tick_guide import TickGuide
from chalkbeam.station.tick_view import SIZE, TickView, rig_from_above
from overlay.marks import Text
from tests.support.crew_order import open_run
from tests.support.press import Press


@pytest.fixture
def press(tmp_path):
    rig = rig_from_above(platen("16x20in"))
    session = open_run(tmp_path, [rig]).session
    output = TickView()
    output.guide = TickGuide(session.run.stops, ImprintPreparer([rig]), TWO_LINES)
    return Press(StationController(session, ImprintPreparer([rig]), output, guide=output.guide))


def test_ticks_are_told_where_they_change_and_then_where_they_fall(press):
    said = [press.display().fitting]
    for _ in range(9):
        press.keys("space")
        said.append(press.display().fitting)
    assert said[0] == "lasers: A to A1, B to B1"
    assert said[1].startswith("lasers: A ")
    assert "through the middle of the ink" in said[1]
    assert said[2] == ""  # pressing
    assert said[3] == "lasers: A to A2, B to B2"
    assert said[6] == "lasers: A to A3, B to B3"  # the nape, on the centre line
    assert said[9] == "lasers: A stays at A3, B to B4"  # the name, on the same
    assert "lasers: A stays at A3" in press.words()


def test_the_window_names_the_ticks_beyond_the_platen_s_edges(press):
    scene = press.station.scene()
    texts = [mark for mark in press.station.output.marks(scene) if isinstance(mark, Text)]
    outside = {
        mark.text
        for mark in texts
        if abs(mark.anchor[0]) > scene.face.width / 2 or abs(mark.anchor[1]) > scene.face.depth / 2
    }
    assert outside == {"A1", "B1"}
    frame = press.frame()
    assert frame.shape == (SIZE[1], SIZE[0], 3)
    assert np.any(frame[:60])  # above the platen's far edge: the tick's name


def test_a_nudge_tells_how_far_beside_its_tick_a_line_lies(press):
    press.keys("space", *["right"] * 2)
    said = press.display().fitting
    assert "A to 2 mm right of A1" in said
    assert "B to" not in said
    press.keys(*["right"] * 2)  # by now nearer to the next size's
    assert "A to A2" in press.display().fitting


def test_the_record_is_that_of_a_shift_with_light(press, tmp_path):
    light = tmp_path / "light"
    light.mkdir()
    other = Press(open_run(light))
    for each in (press, other):
        each.keys("space", "right", "space", "space", "space")
    ours, theirs = (
        (each.progress.at, each.progress.outcomes, each.progress.nudge(0))
        for each in (press, other)
    )
    assert ours == theirs
    assert press.progress.at.step is Step.LAY


def test_pressing_shows_what_light_shows(press):
    press.keys("space", "space")
    assert press.station.output.marks(press.station.scene()) is None


def test_an_imprint_that_was_not_planned_is_told(press, monkeypatch):
    guide = press.station.output.guide
    monkeypatch.setitem(vars(guide), "_wanted", [type(guide._wanted[0])(()), *guide._wanted[1:]])
    assert press.display().fitting == (
        "lasers: no ticks for this imprint; print the tick sheet again"
    )
