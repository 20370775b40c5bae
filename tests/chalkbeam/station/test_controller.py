"""The press station: the record first, then the light; faults; the operator's display."""

import math
import os
import threading
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from calibration.rig import file as rig_file
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.placement.platens import platen
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.progress import At
from chalkbeam.record.session import RunSession
from chalkbeam.record.store import Store
from chalkbeam.station import display_picture, display_window, frames, scene
from chalkbeam.station.controller import StationController
from chalkbeam.station.display import display_of
from chalkbeam.station.display_picture import SIZE, draw, seconds_left
from chalkbeam.station.display_window import OperatorWindow
from chalkbeam.station.ready_imprint import ImprintPreparer, is_for
from overlay.draw import frame as drawing
from overlay.marks import Crosshair, Role, Stroke, Text
from overlay.window.inputs import DisplayLost, Key, Tick
from tests.support.crew_order import crew, open_run
from tests.support.rigs import make_rig


class Press:
    """A press station with a clock that moves on at every key."""

    def __init__(self, station):
        self.station, self.at = station, 100.0

    def keys(self, *names, wait=20.0, shift=False):
        for name in names:
            self.at += wait
            text = name if len(name) == 1 else ""
            self.station.take(Key(name, shift=shift, at=self.at, text=text))
            self.at += 1
            self.station.take(Tick(self.at))
        return self

    def marks(self):
        return scene.lit(self.station._scene(
            self.station.session.progress.at, self.station.ready, self.station.state
        ))  # fmt: skip

    def words(self, role=None):
        return " ".join(
            mark.text.replace("\n", " ")
            for mark in self.marks() or ()
            if isinstance(mark, Text) and role in (None, mark.role)
        )


def inked(marks):
    """Lower and upper corner of the box around the solid lay lines, shape (2, 2), mm."""
    rings = [m for m in marks if isinstance(m, Stroke) and m.role is Role.LAY and m.dash is None]
    points = np.vstack([np.array(ring.points) for ring in rings])
    return np.array([points.min(axis=0), points.max(axis=0)])


@pytest.fixture
def press(tmp_path):
    return Press(open_run(tmp_path))


def test_light_says_which_piece_and_follows_the_steps(press):
    assert "1 of 3 navy, M" in press.words()
    assert any(mark.role is Role.LOAD for mark in press.marks())
    press.keys("space")
    assert "left chest: pennant" in press.words()
    assert any(isinstance(mark, Crosshair) for mark in press.marks())
    press.keys("space")
    assert press.marks() is None  # dark while the press is closed
    press.keys("space")
    assert "2 of 3 navy, L" in press.words()


def test_names_and_numbers_of_the_piece_are_shown_and_stand_together(press):
    press.keys("j", "4", "-", "1", "return", "space")
    assert "MARIT" in press.words()
    name, lying = inked(press.marks()), press.station.ready.planned.platen_from_garment
    press.keys("space", "space")
    assert press.station.session.progress.stop.imprint.id == "4-1/2"
    number = inked(press.marks())
    assert number.mean(axis=0)[0] == pytest.approx(name.mean(axis=0)[0], abs=0.5)
    assert number[1, 1] < name[0, 1]  # under the name; the collar points away
    # The garment is not moved between the two.
    assert press.station.ready.planned.platen_from_garment == lying


def test_a_garment_that_stays_is_loaded_for_all_its_imprints(tmp_path):
    """On a platen where either would be laid otherwise if it were alone."""
    rig = make_rig(face=PlatenFace(406, 350, 15))
    piece = crew(tmp_path)[2]
    preparer = ImprintPreparer([rig])

    def lying(*together):
        found = preparer.prepare(piece, together[0], lambda i: i.location, together=together)
        return found.planned.platen_from_garment

    name, number = piece.imprints
    assert lying(name) != lying(number)
    assert lying(name, number) == lying(number, name)


def test_every_press_is_on_record_with_its_pose_and_nudge(press, tmp_path):
    press.keys("space", "right").keys("up", shift=True).keys("space", "space")
    events = (
        press.station.session.run,
        Store(tmp_path / "record.db").events(press.station.session.run),
    )
    pressed = next(event for event in events[1] if event.kind is Kind.PRESSED)
    assert pressed.imprint == "2-1/1"
    assert pressed.data["nudge"] == {"x": 1.0, "y": 0.1, "angle": 0.0}
    assert pressed.data["location"] == "left-chest"
    pose = pressed.data["pose"]
    choice = press.station.preparer.prepare(
        *(lambda s: (s.piece, s.imprint))(press.station.session.run.stops[0]),
        lambda imprint: imprint.location,
    ).choice
    planned = choice.loading.platen_from_garment @ choice.placement.garment_from_art
    assert (pose["x"], pose["y"]) == pytest.approx((planned.x, planned.y))


def test_killed_at_any_key_it_goes_on_at_the_same_place(press, tmp_path):
    """The record alone says where the operator was: nothing was closed."""
    for name in ("space", "right", "space", "space", "space", "g", "left", "return", "space"):
        press.keys(name)
        progress = press.station.session.progress
        other = Store(tmp_path / "record.db")
        again = StationController(RunSession(other, other.latest()), ImprintPreparer([make_rig()]))
        now = again.session.progress
        assert now.at == progress.at
        assert now.outcomes == progress.outcomes
        assert now.nudge(0) == progress.nudge(0)
        assert now.collar(1) == progress.collar(1)
        other.close()
        # That opening was written too: this window must not go on beside it.
        press.station = again = StationController(
            RunSession(Store(tmp_path / "record.db"), press.station.session.run),
            ImprintPreparer([make_rig()]),
        )
    assert press.station.session.progress.pressed() == 1


def test_what_cannot_be_recorded_has_not_happened(press, monkeypatch):
    def full(*_, **__):
        raise Refusal("The disk is full: make room, then press the key again.")

    press.keys("space")
    before = press.marks()
    with monkeypatch.context() as broken:
        broken.setattr(press.station.session._recorder, "write", full)
        press.keys("right", "space")
        progress = press.station.session.progress
        assert progress.at.step is Step.LAY
        assert progress.nudge(0) == Shift()
        assert "The disk is full" in press.words(Role.WARN)
        assert set(before) <= set(press.marks())  # the light stays as it was
    press.keys("space")
    assert press.station.session.progress.at.step is Step.PRESS


def test_a_nudge_is_drawn_while_it_is_written_and_shown_only_once_it_is_on_record(
    press, monkeypatch
):
    press.keys("space")
    before = press.station.frame()
    drawn, written = [], press.station.session.write
    render = frames.Painter._render
    monkeypatch.setattr(
        frames.Painter,
        "_render",
        lambda self, *of: drawn.append(threading.current_thread()) or render(self, *of),
    )

    def refuse(*act, **data):
        raise Refusal("The disk is full.")

    monkeypatch.setattr(press.station.session, "write", refuse)
    press.keys("left")
    after = press.station.frame()
    assert len(drawn) == 2  # the nudge, unseen, and then the remark
    assert "The disk is full." in press.words()
    assert press.station.session.progress.nudge(0) == Shift()
    press.keys("h", "h")
    assert np.array_equal(press.station.frame(), before)
    assert not np.array_equal(after, before)

    drawn.clear()
    monkeypatch.setattr(press.station.session, "write", written)
    press.keys("right")
    moved = press.station.frame()
    assert len(drawn) == 1
    assert drawn[0] is not threading.current_thread()
    assert press.station.session.progress.nudge(0) == Shift(1.0, 0.0)
    assert not np.array_equal(moved, before)


def test_another_window_on_the_same_run_is_told(press, tmp_path):
    other = Store(tmp_path / "record.db")
    RunSession(other, other.latest())
    press.keys("space")
    assert press.station.session.progress.at.step is Step.LOAD
    assert "Another window is working on this run" in press.words(Role.WARN)


def test_artwork_that_goes_missing_stops_the_step_until_it_is_back(tmp_path):
    station = open_run(tmp_path)
    art = tmp_path / "pennant.png"
    art.rename(tmp_path / "away.png")
    press = Press(StationController(station.session, ImprintPreparer([make_rig()])))
    assert "pennant.png is missing" in press.words(Role.WARN)
    press.keys("space")
    assert press.station.session.progress.at.step is Step.LOAD
    notes = [e for e in Store(tmp_path / "record.db").events(station.session.run)
             if e.kind is Kind.NOTED]  # fmt: skip
    assert len(notes) == 1  # told once, however often it is looked for
    (tmp_path / "away.png").rename(art)
    press.keys("space")
    assert press.station.session.progress.at.step is Step.LAY
    assert "left chest" in press.words()


def test_a_preset_places_the_imprint_elsewhere(press):
    press.keys("space")
    before = next(m for m in press.marks() if isinstance(m, Crosshair)).centre
    nape = press.station.locations.index("nape") + 1
    press.keys(str(nape))
    asked = "Put pennant at nape in place of left chest? 1 yes 2 no"
    assert asked in " ".join(press.words().split())
    assert " ".join(" ".join(display_of(press.station).asked).split()) == asked
    events = Store(press.station.session._recorder.store.path).events(press.station.session.run)
    assert all(event.kind is not Kind.PRESET for event in events)
    press.keys("1")
    assert "back up" in press.words()  # the garment is turned: the load step
    press.keys("space")
    after = next(m for m in press.marks() if isinstance(m, Crosshair)).centre
    assert math.dist(before, after) > 50
    assert "nape" in press.words()


def test_a_key_goes_to_the_pieces_own_imprint_there(press):
    press.keys("j", "2", "return", "space", str(press.station.locations.index("nape") + 1))
    assert press.station.session.progress.at == At(2, Step.LOAD)
    assert "back up" in press.words()
    press.keys(*["space"] * 3)
    assert display_of(press.station).results == (("navy, L · nape: pennant.png", "pressed"),)
    left = press.station.session.progress
    assert "3-1/1" not in left.outcomes
    assert left.location(1) == "left-chest"


def test_a_press_cut_off_by_a_power_cut_is_asked_about_by_its_name(press, tmp_path):
    press.keys("j", "2", "return", "space", "space")
    again = RunSession(Store(tmp_path / "record.db"), press.station.session.run)
    asked = Press(StationController(again, ImprintPreparer([make_rig()]))).words(Role.WARN)
    assert asked == (
        "piece 2 of 3, navy, L, left chest: pennant: was it pressed? space: yes, page up: no"
    )


def test_a_location_the_garment_does_not_have_is_refused_and_changes_nothing(press, tmp_path):
    station = press.station
    station.locations = (*station.locations, "left-leg")
    press.keys("space", "escape")  # a remark must be seen although the end was asked for
    before, events = press.marks(), Store(tmp_path / "record.db").events(station.session.run)
    press.keys(str(len(station.locations)))
    assert "has no face “left leg”: it has front, back, left sleeve" in press.words(Role.WARN)
    assert station.session.progress.location(0) == "left-chest"
    assert station.ready is not None
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
    collar = press.station.ready.planned.platen_from_garment
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
    assert press.station.frame().any()


def test_each_platen_has_its_rig(tmp_path):
    small = make_rig(name="sleeve press", face=PlatenFace(250, 300, 10))
    large = make_rig()
    assert is_for(large, platen("16x20in"))
    assert not is_for(small, platen("16x20in"))
    piece = crew(tmp_path)[0]
    preparer = ImprintPreparer([large, small])
    for named, rig in (("16x20in", large), ("250mm x 300mm", small)):
        imprint = replace(piece.imprints[0], platen=named)
        assert preparer.prepare(piece, imprint, lambda i: i.location).rig is rig
    wanted = replace(piece.imprints[0], platen="cap-6.5x3.5in")
    with pytest.raises(Refusal, match=r"wants platen cap-6.5x3.5in .*add its rig with --rig, or"):
        preparer.prepare(piece, wanted, lambda i: i.location)
    with pytest.raises(Refusal, match="pictures of different sizes"):
        ImprintPreparer([large, make_rig(size=(800, 600))])


def test_a_pad_raises_the_light(tmp_path):
    piece = crew(tmp_path)[0]
    preparer = ImprintPreparer([make_rig()])
    flat = preparer.prepare(piece, piece.imprints[0], lambda i: i.location)
    padded = preparer.prepare(
        piece, replace(piece.imprints[0], pad="10x10x0.5in"), lambda i: i.location
    )
    assert padded.choice.loading.height - flat.choice.loading.height == pytest.approx(12.7)


def test_the_next_picture_is_there_before_it_is_asked_for(press, monkeypatch):
    def late(*_, **__):
        pytest.fail("drawn only when it was asked for")

    for _ in range(6):
        press.station.frame()
        press.station.foresee()
        with monkeypatch.context() as counted:
            counted.setattr(drawing, "render", late)
            press.keys("space")
            press.station.frame()


def test_equal_light_is_the_very_same_frame(press):
    first = press.station.frame()
    press.station.take(Tick(1.0))
    press.station.take(DisplayLost("gone"))
    assert press.station.frame() is first


# -- the operator's display ---------------------------------------------------------------------


def test_board_says_what_is_at_hand(press):
    display = display_of(press.station)
    assert (display.heading, display.step, display.total) == ("piece 1 of 3", Step.LOAD, 5)
    assert (display.where, display.art) == ("left chest", "pennant.png")
    assert display.prepress == "3 s"
    assert [what for what, _ in display.coming][:2] == [
        "navy, L · left chest: pennant.png",
        "navy, L · nape: pennant.png",
    ]
    press.keys("space", "space")
    assert display_of(press.station).dwell_ends == pytest.approx(press.at - 1 + 10)
    press.keys("space")
    display = display_of(press.station)
    assert display.results == (("navy, M · left chest: pennant.png", "pressed"),)
    assert (display.pressed, display.dwell_ends) == (1, None)
    press.station.take(DisplayLost("The projector is gone."))
    assert display_of(press.station).trouble.startswith("The projector is gone. No step is taken")


def test_board_tells_an_edited_sheet_at_the_next_piece(press, tmp_path):
    (tmp_path / "crew.csv").write_text("edited\n")
    press.keys("space", "space", "space")
    assert "has been edited since this run began" in display_of(press.station).trouble


def test_light_tells_an_edited_sheet_at_one_load_step(press, tmp_path):
    said = "The run sheet crew.csv has been edited since this run began"
    (tmp_path / "crew.csv").write_text("edited\n")
    assert said not in press.words()
    press.keys("space", "space", "space")
    assert press.station.session.progress.at.step is Step.LOAD
    assert said in press.words(Role.WARN)
    press.keys("space")
    assert said not in press.words()
    press.keys("page up")
    assert said in press.words(Role.WARN)
    press.keys("j", "3", "return")
    assert said not in press.words()  # told in light once, on the display for good
    assert said in display_of(press.station).trouble
    (tmp_path / "crew.csv").unlink()
    press.keys("j", "1", "return")
    assert "is gone" in press.words(Role.WARN)


def test_countdown_counts_whole_seconds_up_to_the_end(press):
    press.keys("space", "space")
    display = display_of(press.station)
    end = display.dwell_ends
    left = [
        seconds_left(display, end - 10),
        seconds_left(display, end - 0.01),
        seconds_left(display, end),
    ]
    assert left == [10, 1, 0]
    assert seconds_left(display, end + 99) == 0
    early, late = (draw(display, at=at) for at in (end - 9.5, end + 1))
    assert (early != late).any()


def test_the_end_of_the_dwell_rings_once(press):
    press.keys("space", "space")
    ends = press.station.dwell_ends()
    assert [press.station.rings(ends + later) for later in (-0.1, 0.0, 1.0)] == [
        False,
        True,
        False,
    ]
    press.keys("space")
    assert not press.station.rings(ends + 99)


@pytest.mark.parametrize("size", [SIZE, (1920, 1080), (800, 600)])
def test_board_is_drawn_at_any_size(press, size):
    picture = draw(display_of(press.station), size)
    assert picture.shape == (size[1], size[0], 3)
    # The artwork is there in its colour, #d33, where its plan says.
    red = (picture[:, :, 2].astype(int) - picture[:, :, 0] > 120) & (picture[:, :, 1] < 90)
    assert red.sum() > 40 * size[0] / 1280


def test_art_lies_on_the_plan_where_the_light_puts_it(press):
    press.keys("space")
    display = display_of(press.station)
    cross = next(mark for mark in display.plan if isinstance(mark, Crosshair))
    picture = display.picture
    # The pennant's centroid is a third of its width from its left edge: the optical centre.
    centre = picture.platen_from_art.apply(
        [press.station.ready.choice.placement.artwork.optical_centre.point]
    )[0]
    np.testing.assert_allclose(cross.centre, centre, atol=1e-6)


def test_long_words_are_cut_and_troubles_wrapped(press):
    display = replace(
        display_of(press.station), whose="navy, M " * 40, trouble="The projector is gone. " * 12,
        remark="undone: pressed", asked=("Spoiled: why?", "1 scorched"), title="x" * 200,
    )  # fmt: skip
    picture = draw(display)
    assert picture[:, -8:].max() == 0  # nothing runs out of the page


def test_operators_window_passes_keys_and_ends(press, monkeypatch):
    """In a process of its own, under the dummy driver: opens, shows, closes."""
    monkeypatch.setattr(display_window, "CLOSING", 120)  # a busy machine starts it slowly
    window = OperatorWindow()
    window.show(display_of(press.station))
    got = []
    window.listen(got.append)
    window.close()
    assert not window._process.is_alive()
    assert window._process.exitcode == 0
    window.show(display_of(press.station))  # nobody is there any more: nothing happens
    assert got == []


def test_one_thread_at_most_stays():
    before = threading.active_count()
    window = OperatorWindow()
    window.listen(lambda happened: None)
    window.close()
    assert threading.active_count() <= before + 1
    assert os.getpid() != window._process.pid


def test_marks_of_the_plan_hold_no_lettering(press):
    assert not any(isinstance(mark, Text) for mark in display_of(press.station).plan)
    assert any(isinstance(mark, Stroke) and mark.closed for mark in display_of(press.station).plan)


def test_every_press_bears_the_rig_that_lit_it(tmp_path):
    small = make_rig(name="name press", face=PlatenFace(330, 400, 10))
    large = make_rig()
    station = open_run(tmp_path, rigs=[large, small])
    stops = station.session.run.stops
    other = replace(stops[1], imprint=replace(stops[1].imprint, platen="330mm x 400mm"))
    run = replace(station.session.run, stops=(stops[0], other, *stops[2:]))
    station = StationController(RunSession(Store(tmp_path / "record.db"), run), station.preparer)
    Press(station).keys(*["space"] * 9)
    events = Store(tmp_path / "record.db").events(run)
    pressed = [event for event in events if event.kind is Kind.PRESSED]
    assert [event.rig for event in pressed[:3]] == [
        "bench press",
        "name press",
        "bench press",
    ]
    assert pressed[0].calibration == large.calibration_id != small.calibration_id
    assert pressed[1].calibration == small.calibration_id


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
    station = open_run(tmp_path)
    press = Press(station).keys("space", "space")
    at = station.state.pressing_since
    assert station.frame(at + 2.5) is None  # dark: the operator's display counts
    station.counting = True
    shown = {left: station.frame(at + 10 - left) for left in (10, 8, 3)}
    assert station.seconds_left(at + 2.5) == 8
    assert station.count_due(at + 2.5) == pytest.approx(at + 3)
    rig = station.preparer.rigs[0]
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
    assert station.frame(at + 2.5) is None


def test_a_reorder_brings_moves_and_another_location_back(tmp_path):
    press = Press(open_run(tmp_path))
    where = press.station.locations.index("nape") + 1
    press.keys(str(where), "1", "space", "right", "right", "space", "space")
    run = press.station.session.run
    assert press.station.session.progress.pressed() == 1
    store = Store(tmp_path / "record.db")
    again = store.begin(
        plan(crew(tmp_path), Times(), fit_on_press, as_listed=True),
        title="again", sheet=tmp_path / "crew.csv", digest="", earlier=run.id,
    )  # fmt: skip
    station = StationController(RunSession(store, again), press.station.preparer)
    assert station.ready.choice.placement.location.name == "nape"
    assert "moved 2.0 mm right" in Press(station).keys("space").words()


def test_the_board_is_the_same_whatever_was_drawn_before(press):
    """What the display keeps between pictures never shows: each is as one drawn anew."""
    kept, anew = [], []
    for key in ("space", "left", "left", "x", "escape", "up", "space", "pageup"):
        press.keys(key)
        display = display_of(press.station)
        kept.append(draw(display, SIZE, 0.0))
        display_picture._painter.cache_clear()
        display_picture._plan.cache_clear()
        anew.append(draw(display, SIZE, 0.0))
        draw(display, SIZE, 0.0)[:] = 0  # nobody else's picture
    assert all(np.array_equal(*pair) for pair in zip(kept, anew, strict=True))
    assert not np.array_equal(kept[0], kept[1])


def test_nothing_on_the_board_runs_into_what_is_wrong(press):
    """Whatever is listed or counted, the boxes at the foot stand free."""
    press.keys("space")
    wrong = "The run sheet order.csv has been edited since this run began: " * 3
    many = tuple((f"navy, M · left chest: pennant {n}.svg", "pressed") for n in range(8))
    display = replace(
        display_of(press.station),
        trouble=wrong,
        remark="nothing was moved",
        coming=many,
        results=many,
    )
    for shown in (display, replace(display, dwell=12.0, dwell_ends=9.0)):
        said, top = display_picture._remarks(shown)
        assert len(said) == 2
        assert top > 150
        for mark in display_picture._body(shown, 0.0):
            level = mark.anchor[1] if isinstance(mark, Text) else mark.points[0][1]
            assert level >= top - 2
