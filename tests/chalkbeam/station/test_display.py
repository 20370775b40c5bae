"""The operator's display: a plain value, and the picture of it."""

import os
import pickle
import threading
from dataclasses import replace

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.record.events import Step
from chalkbeam.record.progress import At
from chalkbeam.station import display_picture, display_window
from chalkbeam.station.display_picture import SIZE, draw, seconds_left
from chalkbeam.station.display_window import OperatorWindow
from chalkbeam.station.values import Command, CommandKind
from overlay.marks import Crosshair, Stroke, Text
from overlay.window.inputs import DisplayLost
from tests.support.crew_order import open_run
from tests.support.press import Press


@pytest.fixture
def press(tmp_path):
    return Press(open_run(tmp_path))


def test_display_says_what_is_at_hand(press):
    display = press.display()
    assert (display.heading, display.step, display.total) == ("piece 1 of 3", Step.LOAD, 5)
    assert (display.where, display.art) == ("left chest", "pennant.png")
    assert display.prepress == "3 s"
    assert [what for what, _ in display.coming][:2] == [
        "navy, L · left chest: pennant.png",
        "navy, L · nape: pennant.png",
    ]
    press.keys("space", "space")
    assert press.display().dwell_ends == pytest.approx(press.at - 1 + 10)
    press.keys("space")
    display = press.display()
    assert display.results == (("navy, M · left chest: pennant.png", "pressed"),)
    assert (display.pressed, display.dwell_ends) == (1, None)
    press.station.take(DisplayLost("The projector is gone."))
    assert press.display().trouble.startswith("The projector is gone. No step is taken")


def test_display_tells_an_edited_sheet_at_the_next_piece(press, tmp_path):
    (tmp_path / "crew.csv").write_text("edited\n")
    press.keys("space", "space", "space")
    assert "has been edited since this run began" in press.display().trouble


def test_countdown_counts_whole_seconds_up_to_the_end(press):
    press.keys("space", "space")
    display = press.display()
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


@pytest.mark.parametrize("size", [SIZE, (1920, 1080), (800, 600)])
def test_display_is_drawn_at_any_size(press, size):
    picture = draw(press.display(), size)
    assert picture.shape == (size[1], size[0], 3)
    # The artwork is there in its colour, #d33, where its plan says.
    red = (picture[:, :, 2].astype(int) - picture[:, :, 0] > 120) & (picture[:, :, 1] < 90)
    assert red.sum() > 40 * size[0] / 1280


def test_art_lies_on_the_plan_where_the_light_puts_it(press):
    press.keys("space")
    display = press.display()
    cross = next(mark for mark in display.plan if isinstance(mark, Crosshair))
    picture = display.picture
    # The pennant's centroid is a third of its width from its left edge: the optical centre.
    centre = picture.platen_from_art.apply(
        [press.station.readiness.ready.choice.placement.artwork.optical_centre.point]
    )[0]
    np.testing.assert_allclose(cross.centre, centre, atol=1e-6)


@pytest.mark.slow
def test_long_words_are_cut_and_troubles_wrapped(press):
    display = replace(
        press.display(), whose="navy, M " * 40, trouble="The projector is gone. " * 12,
        remark="undone: pressed", asked=("Spoiled: why?", "1 scorched"), title="x" * 200,
    )  # fmt: skip
    picture = draw(display)
    assert picture[:, -8:].max() == 0  # nothing runs out of the page


@pytest.mark.slow
def test_operators_window_passes_keys_and_ends(press, monkeypatch):
    """In a process of its own, under the dummy driver: opens, shows, closes."""
    monkeypatch.setattr(display_window, "CLOSING", 120)  # a busy machine starts it slowly
    window = OperatorWindow()
    window.show(press.display())
    got = []
    window.listen(got.append)
    window.close()
    assert not window._process.is_alive()
    assert window._process.exitcode == 0
    window.show(press.display())  # nobody is there any more: nothing happens
    assert got == []


@pytest.mark.slow
def test_one_thread_at_most_stays():
    before = threading.active_count()
    window = OperatorWindow()
    window.listen(lambda happened: None)
    window.close()
    assert threading.active_count() <= before + 1
    assert os.getpid() != window._process.pid


def test_marks_of_the_plan_hold_no_lettering(press):
    assert not any(isinstance(mark, Text) for mark in press.display().plan)
    assert any(isinstance(mark, Stroke) and mark.closed for mark in press.display().plan)


@pytest.mark.slow
def test_the_display_is_the_same_whatever_was_drawn_before(press):
    """What the display keeps between pictures never shows: each is as one drawn afresh."""
    kept, fresh = [], []
    for key in ("space", "left", "left", "x", "escape", "up", "space", "pageup"):
        press.keys(key)
        display = press.display()
        kept.append(draw(display, SIZE, 0.0))
        display_picture._painter.cache_clear()
        display_picture._plan.cache_clear()
        fresh.append(draw(display, SIZE, 0.0))
        draw(display, SIZE, 0.0)[:] = 0  # nobody else's picture
    assert all(np.array_equal(*pair) for pair in zip(kept, fresh, strict=True))
    assert not np.array_equal(kept[0], kept[1])


def test_nothing_on_the_display_runs_into_what_is_wrong(press):
    """Whatever is listed or counted, the boxes at the foot stand free."""
    press.keys("space")
    wrong = "The run sheet order.csv has been edited since this run began: " * 3
    many = tuple((f"navy, M · left chest: pennant {n}.svg", "pressed") for n in range(8))
    display = replace(
        press.display(),
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


def test_a_display_is_a_plain_value_that_travels(press):
    """What a host elsewhere gets is the same as what the station has."""
    press.keys("space")
    display = press.display()
    assert pickle.loads(pickle.dumps(display)) == display == press.display()
    assert hash(display) == hash(press.display())
    before = display_picture._plan.cache_info().hits
    draw(display)
    draw(replace(press.display(), remark="another remark"))
    assert display_picture._plan.cache_info().hits > before  # the plan is the same
    press.keys("left")
    assert press.display() != display


def test_a_command_from_elsewhere_is_recorded_and_shown_as_one_from_a_key(press):
    changes = press.station.changes
    assert press.station.handle(Command(CommandKind.STEP, step=Step.LAY)) == ""
    assert press.display().step is Step.LAY
    assert press.station.changes > changes
    assert press.station.handle(Command(CommandKind.UNDO)) == "undone: a step (2-1/1)"
    with pytest.raises(Refusal, match="has no face"):
        press.station.handle(Command(CommandKind.PRESET, text="left-leg"))
    assert press.progress.location(0) == "left-chest"


def test_a_press_taken_back_from_elsewhere_is_asked_about_again(press):
    press.keys("space", "space", "space", "space", "space")
    assert press.station.dwell is not None  # the second imprint is under the press
    for _ in range(3):
        press.station.handle(Command(CommandKind.UNDO))
    assert press.progress.at == At(0, Step.PRESS)
    assert press.station.dwell is None
    press.keys("space")
    assert "was it pressed?" in press.display().remark
