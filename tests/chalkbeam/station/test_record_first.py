"""What is asked for is on record before it is in force."""

import threading
from dataclasses import replace

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station import frames
from chalkbeam.station.ready_imprint import ImprintPreparer
from overlay.marks import Role
from tests.support.crew_order import crew, open_run, station_on
from tests.support.press import Press
from tests.support.rigs import make_rig


@pytest.fixture
def press(tmp_path):
    return Press(open_run(tmp_path))


def test_every_press_is_on_record_with_its_pose_and_nudge(press, tmp_path):
    press.keys("space", "right").keys("up", shift=True).keys("space", "space")
    events = (
        press.session.run,
        Store(tmp_path / "record.db").events(press.session.run),
    )
    pressed = next(event for event in events[1] if event.kind is Kind.PRESSED)
    assert pressed.imprint == "2-1/1"
    assert pressed.data["nudge"] == {"x": 1.0, "y": 0.1, "angle": 0.0}
    assert pressed.data["location"] == "left-chest"
    pose = pressed.data["pose"]
    choice = (
        ImprintPreparer([make_rig()])
        .prepare(
            *(lambda s: (s.piece, s.imprint))(press.session.run.stops[0]),
            lambda imprint: imprint.location,
        )
        .choice
    )
    planned = choice.loading.platen_from_garment @ choice.placement.garment_from_art
    assert (pose["x"], pose["y"]) == pytest.approx((planned.x, planned.y))


@pytest.mark.slow
def test_killed_at_any_key_it_goes_on_at_the_same_place(press, tmp_path):
    """The record alone says where the operator was: nothing was closed."""
    for name in ("space", "right", "space", "space", "space", "g", "left", "return", "space"):
        press.keys(name)
        progress = press.progress
        other = Store(tmp_path / "record.db")
        again = station_on(open_session(other, other.latest()))
        now = again.session.progress
        assert now.at == progress.at
        assert now.outcomes == progress.outcomes
        assert now.nudge(0) == progress.nudge(0)
        assert now.collar(1) == progress.collar(1)
        other.close()
        # That opening was written too: this window must not go on beside it.
        press.station = again = station_on(
            open_session(Store(tmp_path / "record.db"), press.session.run)
        )
    assert press.progress.pressed() == 1


def test_what_cannot_be_recorded_has_not_happened(press, monkeypatch):
    def full(*_, **__):
        raise Refusal("The disk is full: make room, then press the key again.")

    press.keys("space")
    before = press.marks()
    with monkeypatch.context() as broken:
        broken.setattr(press.session._log, "write_all", full)
        press.keys("right", "space")
        progress = press.progress
        assert progress.at.step is Step.LAY
        assert progress.nudge(0) == Shift()
        assert "The disk is full" in press.words(Role.WARN)
        assert set(before) <= set(press.marks())  # the light stays as it was
    press.keys("space")
    assert press.progress.at.step is Step.PRESS


def test_a_nudge_is_drawn_while_it_is_written_and_shown_only_once_it_is_on_record(
    press, monkeypatch
):
    press.keys("space")
    before = press.frame()
    drawn, written = [], press.session.write
    render = frames.Painter._render
    monkeypatch.setattr(
        frames.Painter,
        "_render",
        lambda self, *of: drawn.append(threading.current_thread()) or render(self, *of),
    )

    def refuse(*act, **data):
        raise Refusal("The disk is full.")

    monkeypatch.setattr(press.session, "write", refuse)
    press.keys("left")
    after = press.frame()
    assert len(drawn) == 2  # the nudge, unseen, and then the remark
    assert "The disk is full." in press.words()
    assert press.progress.nudge(0) == Shift()
    press.keys("h", "h")
    assert np.array_equal(press.frame(), before)
    assert not np.array_equal(after, before)

    drawn.clear()
    monkeypatch.setattr(press.session, "write", written)
    press.keys("right")
    moved = press.frame()
    assert len(drawn) == 1
    assert drawn[0] is not threading.current_thread()
    assert press.progress.nudge(0) == Shift(1.0, 0.0)
    assert not np.array_equal(moved, before)


def test_another_window_on_the_same_run_is_told(press, tmp_path):
    other = Store(tmp_path / "record.db")
    open_session(other, other.latest())
    press.keys("space")
    assert press.progress.at.step is Step.LOAD
    assert "Another window is working on this run" in press.words(Role.WARN)


def test_artwork_that_goes_missing_stops_the_step_until_it_is_back(tmp_path):
    station = open_run(tmp_path)
    art = tmp_path / "pennant.png"
    art.rename(tmp_path / "away.png")
    press = Press(station_on(station.session))
    assert "pennant.png is missing" in press.words(Role.WARN)
    press.keys("space")
    assert press.progress.at.step is Step.LOAD
    notes = [e for e in Store(tmp_path / "record.db").events(station.session.run)
             if e.kind is Kind.NOTED]  # fmt: skip
    assert len(notes) == 1  # told once, however often it is looked for
    (tmp_path / "away.png").rename(art)
    press.keys("space")
    assert press.progress.at.step is Step.LAY
    assert "left chest" in press.words()


def test_every_press_bears_the_rig_that_lit_it(tmp_path):
    small = make_rig(name="name press", face=PlatenFace(330, 400, 10))
    large = make_rig()
    station = open_run(tmp_path, rigs=[large, small])
    stops = station.session.run.stops
    other = replace(stops[1], imprint=replace(stops[1].imprint, platen="330mm x 400mm"))
    run = replace(station.session.run, stops=(stops[0], other, *stops[2:]))
    station = station_on(open_session(Store(tmp_path / "record.db"), run), [large, small])
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


def test_a_reorder_brings_moves_and_another_location_back(tmp_path):
    press = Press(open_run(tmp_path))
    where = press.station.locations.index("nape") + 1
    press.keys(str(where), "1", "space", "right", "right", "space", "space")
    run = press.session.run
    assert press.progress.pressed() == 1
    store = Store(tmp_path / "record.db")
    again = store.begin(
        plan(crew(tmp_path), Times(), fit_on_press, as_listed=True),
        title="again", sheet=tmp_path / "crew.csv", digest="", earlier=run.id,
    )  # fmt: skip
    station = station_on(open_session(store, again))
    assert station.readiness.ready.choice.placement.location.name == "nape"
    assert "moved 2.0 mm right" in Press(station).keys("space").words()
