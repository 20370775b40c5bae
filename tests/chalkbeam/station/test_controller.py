"""The controller: from keys to what is lit."""

import math

import cv2
import numpy as np
import pytest

from calibration.rig import file as rig_file
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.progress import At
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.dwell import Bell
from overlay.draw import frame as drawing
from overlay.marks import Crosshair, Role, Stroke, Text
from overlay.window.inputs import DisplayLost, Tick
from tests.support.crew_order import open_run, station_on
from tests.support.press import Press


@pytest.fixture
def press(tmp_path):
    return Press(open_run(tmp_path))


def inked(marks):
    """Lower and upper corner of the box around the solid lay lines, shape (2, 2), mm."""
    rings = [m for m in marks if isinstance(m, Stroke) and m.role is Role.LAY and m.dash is None]
    points = np.vstack([np.array(ring.points) for ring in rings])
    return np.array([points.min(axis=0), points.max(axis=0)])


def test_light_says_which_piece_and_follows_the_steps(press):
    assert "press 1 of 5 · 2-1 navy crew tee, M" in press.words()
    assert any(mark.role is Role.LOAD for mark in press.marks())
    press.keys("space")
    assert "left chest: pennant" in press.words()
    assert any(isinstance(mark, Crosshair) for mark in press.marks())
    press.keys("space")
    assert press.marks() is None  # dark while the press is closed
    press.keys("space")
    assert "press 2 of 5 · 3-1 navy crew tee, L" in press.words()


def test_names_and_numbers_of_the_piece_are_shown_and_stand_together(press):
    press.keys("j", "4", "-", "1", "return", "space")
    assert "MARIT" in press.words()
    name, lying = inked(press.marks()), press.station.readiness.ready.planned.platen_from_garment
    press.keys("space")
    assert press.progress.stop.imprint.id == "4-1/2"
    number = inked(press.marks())
    assert number.mean(axis=0)[0] == pytest.approx(name.mean(axis=0)[0], abs=0.5)
    assert number[1, 1] < name[0, 1]  # under the name; the collar points away
    # The garment is not moved between the two.
    assert press.station.readiness.ready.planned.platen_from_garment == lying


def test_a_number_is_laid_beside_its_name_and_both_are_pressed_once(press):
    press.keys("j", "4", "-", "1", "return", "space", "space")
    assert press.progress.at == At(4, Step.LAY)
    assert "both are pressed at once" in press.station.state.said
    press.keys("left")  # a nudge of the number leaves the name lying
    press.keys("space")
    assert press.marks() is None
    assert not press.progress.outcomes
    press.keys("space")
    assert set(press.progress.outcomes) == {"4-1/1", "4-1/2"}
    assert press.progress.at.index == 0  # what was jumped over comes next
    press.keys("u", "u")
    assert not press.progress.outcomes


def test_a_number_jumped_to_by_itself_leaves_its_name_to_do(press):
    press.keys("j", "4", "-", "1", "return", "space", "space")
    press.keys("backspace")  # back to load: what lies there nobody can say
    press.keys("space", "space", "space")
    assert set(press.progress.outcomes) == {"4-1/2"}


def test_a_preset_places_the_imprint_elsewhere(press, tmp_path):
    press.keys("space")
    before = next(m for m in press.marks() if isinstance(m, Crosshair)).centre
    nape = press.station.locations.index("nape") + 1
    press.keys(str(nape))
    asked = "Put pennant at nape in place of left chest? 1 yes 2 no"
    assert asked in " ".join(press.words().split())
    assert " ".join(" ".join(press.display().asked).split()) == asked
    events = Store(tmp_path / "record.db").events(press.session.run)
    assert all(event.kind is not Kind.PRESET for event in events)
    press.keys("1")
    assert "back up" in press.words()  # the garment is turned: the load step
    press.keys("space")
    after = next(m for m in press.marks() if isinstance(m, Crosshair)).centre
    assert math.dist(before, after) > 50
    assert "nape" in press.words()


def test_a_key_goes_to_the_pieces_own_imprint_there(press):
    press.keys("j", "2", "return", "space", str(press.station.locations.index("nape") + 1))
    assert press.progress.at == At(2, Step.LOAD)
    assert "back up" in press.words()
    press.keys(*["space"] * 3)
    assert press.display().results == (("navy, L · nape: pennant.png", "pressed"),)
    left = press.progress
    assert "3-1/1" not in left.outcomes
    assert left.location(1) == "left-chest"


def test_a_press_cut_off_by_a_power_cut_is_asked_about_by_its_name(press, tmp_path):
    press.keys("j", "2", "return", "space", "space")
    again = open_session(Store(tmp_path / "record.db"), press.session.run)
    asked = Press(station_on(again)).words()
    assert asked == ("piece 3-1, navy, L, left chest: pennant: was it pressed? 1 yes 2 no")


def test_a_location_the_garment_does_not_have_is_refused_and_changes_nothing(press, tmp_path):
    station = press.station
    station.locations = (*station.locations, "left-leg")
    press.keys("space", "escape")  # a remark must be seen although the end was asked for
    before, events = press.marks(), Store(tmp_path / "record.db").events(station.session.run)
    press.keys(str(len(station.locations)))
    assert "has no face “left leg”: it has front, back, left sleeve" in press.words(Role.WARN)
    assert station.session.progress.location(0) == "left-chest"
    assert station.readiness.ready is not None
    assert station.state.due is None  # the key does not act again
    assert Store(tmp_path / "record.db").events(station.session.run) == events
    lines = {mark for mark in before if not isinstance(mark, Text)}
    assert lines <= set(press.marks())
    press.keys("space")
    assert station.session.progress.at.step is Step.PRESS


def test_the_garment_follows_its_collar(press):
    press.keys("space")
    before = next(m for m in press.marks() if isinstance(m, Crosshair))
    press.keys("page up", "g", "right", "right", "up")
    assert "collar moved 2.0 mm right, 1.0 mm away" in press.words()
    assert all(m.role is not Role.LAY for m in press.marks() if not isinstance(m, Text))
    press.keys("return", "space")
    after = next(m for m in press.marks() if isinstance(m, Crosshair))
    np.testing.assert_allclose(np.subtract(after.centre, before.centre), (2, 1), atol=1e-9)


def test_turning_at_the_collar_swings_the_art_about_it(press):
    press.keys("space")
    before = next(m for m in press.marks() if isinstance(m, Crosshair)).centre
    collar = press.station.readiness.ready.planned.platen_from_garment
    press.keys("page up", "g", "l", "return", "space")
    after = next(m for m in press.marks() if isinstance(m, Crosshair)).centre
    arm = np.subtract(before, (collar.x, collar.y))
    turn = math.radians(0.5)
    expected = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) @ arm
    np.testing.assert_allclose(np.subtract(after, (collar.x, collar.y)), expected, atol=1e-6)


def test_questions_pauses_and_the_end_are_lit(press):
    press.keys("x")
    assert "Spoiled: why?" in press.words()
    assert "3 scorched" in press.words()
    press.keys("escape", "p")
    assert "paused" in press.words()
    press.keys("p", "c")
    assert "squares 100 mm" in press.words()
    press.keys("h")
    assert "go to a piece" in press.words()
    press.keys("h", *["space"] * 30)
    assert "the order is finished 5 imprints pressed" in press.words()
    assert press.frame().any()


def test_the_next_picture_is_there_before_it_is_asked_for(press, monkeypatch):
    def late(*_, **__):
        pytest.fail("drawn only when it was asked for")

    for _ in range(6):
        press.frame()
        press.idle()
        with monkeypatch.context() as counted:
            counted.setattr(drawing.Painter, "_render", late)
            press.keys("space")
            press.frame()


def test_equal_light_is_the_very_same_frame(press):
    first = press.frame()
    press.station.take(Tick(1.0))
    press.station.take(DisplayLost("gone"))
    assert press.frame() is first


def test_light_tells_an_edited_sheet_at_one_load_step(press, tmp_path):
    said = "The run sheet crew.csv has been edited since this run began"
    (tmp_path / "crew.csv").write_text("edited\n")
    assert said not in press.words()
    press.keys("space", "space", "space")
    assert press.progress.at.step is Step.LOAD
    assert said in press.words(Role.WARN)
    press.keys("space")
    assert said not in press.words()
    press.keys("page up")
    assert said in press.words(Role.WARN)
    press.keys("j", "3", "return")
    assert said not in press.words()  # told in light once, on the display for good
    assert said in press.display().trouble
    (tmp_path / "crew.csv").unlink()
    press.keys("j", "1", "return")
    assert "is gone" in press.words(Role.WARN)


def test_the_end_of_the_dwell_rings_once(press):
    press.keys("space", "space")
    bell, dwell = Bell(), press.station.dwell
    ends = dwell.ends
    bells = press.station.bells
    assert [bell.rings(bells, ends + later) for later in (-0.1, 0.0, 1.0)] == [False, True, False]
    press.keys("space")
    assert not bell.rings(press.station.bells, ends + 99)


def test_no_key_goes_through_all_that_the_rig_observed(tmp_path, monkeypatch):
    """A real rig's number takes longer to work out than the picture to draw."""
    press = Press(open_run(tmp_path))

    def refuse(content):
        raise AssertionError("a key waited for the rig's number")

    monkeypatch.setattr(rig_file, "_check_number", refuse)
    session = press.station.session
    press.keys(*["space"] * 3 * len(session.run.stops))
    assert session.progress.stop is None


def test_the_dwell_is_counted_beside_the_platen_where_there_is_no_other_display(tmp_path):
    press = Press(open_run(tmp_path))
    station = press.station
    press.keys("space", "space")
    at = station.state.pressing_since
    assert press.frame(at + 2.5) is None  # dark: the operator's display counts
    station.counting = True
    shown = {left: press.frame(at + 10 - left) for left in (10, 8, 3)}
    assert station.seconds_left(at + 2.5) == 8
    assert station.count_due(at + 2.5) == pytest.approx(at + 3)
    rig = station.readiness.rig
    platen_px = np.zeros((360, 640), np.uint8)
    outline = np.rint(rig.projector.projector_from_platen(rig.face.outline(), 0.0)).astype(int)
    cv2.fillPoly(platen_px, [outline.astype(np.int32)], 1)
    for frame in shown.values():
        assert frame.any()
        assert not frame[platen_px == 1].any()  # dark on the platen
        assert frame.max() < 100
    assert not np.array_equal(shown[10], shown[3])
    assert station.seconds_left(at + 99) == 0
    press.keys("b")
    assert press.frame(at + 2.5) is None


def test_the_finish_says_what_was_done_and_what_to_do(tmp_path):
    press = Press(open_run(tmp_path))
    assert not [said for _, said in press.display().warnings if "count the pieces" in said]
    press.keys("s", "1", "x", "3", "2", *["space"] * 6)  # one skipped, one piece left out
    assert press.progress.stop is None
    said = press.words()
    for line in (
        "2 imprints pressed on 1 piece",
        "to press yet: 2-1 left chest: J goes there",
        "spoiled, to be replaced: 3-1",
        "count the pieces against the order",
        "Escape twice ends it",
    ):
        assert line in said
        assert line in " ".join(words for _, words in press.display().warnings)
