"""The operator's display: a plain value."""

import pickle

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.record.events import Step
from chalkbeam.record.progress import At
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
    assert (display.heading, display.step, display.total) == (
        "press 1 of 5 · piece 2-1",
        Step.LOAD,
        5,
    )
    assert (display.where, display.art) == ("left chest", "pennant.png")
    assert display.steps == (Step.LOAD, Step.LAY, Step.PRESS)
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


def test_marks_of_the_plan_hold_no_lettering(press):
    assert not any(isinstance(mark, Text) for mark in press.display().plan)
    assert any(isinstance(mark, Stroke) and mark.closed for mark in press.display().plan)


def test_a_display_is_a_plain_value_that_travels(press):
    """What a host elsewhere gets is the same as what the station has."""
    press.keys("space")
    display = press.display()
    assert pickle.loads(pickle.dumps(display)) == display == press.display()
    assert hash(display) == hash(press.display())
    press.keys("left")
    assert press.display() != display


def test_a_command_from_elsewhere_is_recorded_and_shown_as_one_from_a_key(press):
    changes = press.station.changes
    assert press.station.handle(Command(CommandKind.STEP, step=Step.LAY)) == ""
    assert press.display().step is Step.LAY
    assert press.station.changes > changes
    assert press.station.handle(Command(CommandKind.UNDO)) == "undone: a step, piece 2-1"
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
    assert "was it pressed?" in press.display().asked[0]
