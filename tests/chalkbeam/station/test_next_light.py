"""What the next key shows is drawn before it comes, and is what would be drawn after it."""

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.station import scene as scenes
from chalkbeam.station.frames import FrameCache
from overlay.draw import frame as drawing
from tests.support.crew_order import open_run
from tests.support.press import Press


@pytest.fixture
def press(tmp_path):
    laying = Press(open_run(tmp_path)).keys("space")
    assert laying.progress.at.step is Step.LAY
    return laying


def plainly(press):
    """Return the frame of what is lit by now, worked out anew, nothing remembered."""
    scenes.lit.cache_clear()
    return FrameCache().frame(press.station.scene())


def with_nothing_left_to_draw(press, *keys, shift=False):
    """Return the frame after keys; fail if lines or words were set or drawn for it."""

    def late(*_, **__):
        pytest.fail("drawn only when the key had come")

    with pytest.MonkeyPatch.context() as patched:
        for module, name in (
            (drawing, "lit"), (drawing, "dark"), (scenes, "lay_marks"), (scenes, "load_marks"),
            (scenes, "with_remark"), (scenes, "help_marks"), (scenes, "page_mark"),
        ):  # fmt: skip
            patched.setattr(module, name, late)
        press.keys(*keys, shift=shift)
        return press.frame()


@pytest.mark.parametrize(
    "keys",
    [("left",), ("down",), ("r",), ("0",), ("u",), ("h",), ("x",), ("escape",), ("g",), ("j",),
     ("page up",)],
)  # fmt: skip
def test_the_picture_of_a_key_is_there_before_it_and_is_the_right_one(press, keys):
    press.keys("up")
    before = press.frame().copy()
    press.idle()
    assert np.array_equal(press.frame(), before)  # nothing is shown of it
    frame = with_nothing_left_to_draw(press, *keys)
    assert np.array_equal(frame, plainly(press))
    assert not np.array_equal(frame, before)


def test_the_next_nudge_is_drawn_as_long_as_the_last_one(press):
    press.keys("left", shift=True)
    press.idle()
    frame = with_nothing_left_to_draw(press, "down", shift=True)
    assert press.progress.nudge(0) == Shift(-0.1, -0.1)
    assert np.array_equal(frame, plainly(press))
    press.idle()
    with pytest.raises(pytest.fail.Exception, match="only when the key had come"):
        with_nothing_left_to_draw(press, "down")  # by a whole millimetre: nobody expected it


def test_the_collar_too(press):
    press.keys("g", "left")
    press.idle()
    frame = with_nothing_left_to_draw(press, "left")
    assert press.station.state.moving == Shift(-2.0, 0.0)
    assert np.array_equal(frame, plainly(press))


def test_what_was_drawn_ahead_is_not_shown_where_the_record_refuses(press, monkeypatch):
    before = press.marks()

    def refuse(*act, **data):
        raise Refusal("The disk is full.")

    press.idle()
    monkeypatch.setattr(press.session, "write", refuse)
    press.keys("left")
    assert press.progress.nudge(0) == Shift()
    assert set(before) <= set(press.marks())
    assert "The disk is full." in press.words()
    assert np.array_equal(press.frame(), plainly(press))


def test_what_was_drawn_ahead_of_a_change_is_not_shown_after_it(press):
    press.idle()
    left = with_nothing_left_to_draw(press, "left").copy()
    press.keys("u")
    press.idle()
    press.station.say(eye="the garment is turned")
    press.keys("left")
    assert not np.array_equal(press.frame(), left)
    assert np.array_equal(press.frame(), plainly(press))


def test_nothing_is_drawn_ahead_of_a_question_or_while_paused(press):
    press.keys("x")
    assert list(press.station.foresee()) == []
    press.keys("escape", "p")
    assert list(press.station.foresee()) == []
