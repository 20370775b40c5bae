import math

import pytest

from chalkbeam.station.keys import Act, Action, action_for, keys_for
from overlay.window.inputs import Key


@pytest.mark.parametrize(
    ("key", "action"),
    [
        (Key("space"), Action(Act.ON)),
        (Key("page down"), Action(Act.ON)),
        (Key("page up"), Action(Act.BACK)),
        (Key("backspace"), Action(Act.BACK)),
        (Key("left"), Action(Act.NUDGE, x=-1.0)),
        (Key("up"), Action(Act.NUDGE, y=1.0)),
        (Key("down", shift=True), Action(Act.NUDGE, y=-0.1)),
        (Key("right", shift=True), Action(Act.NUDGE, x=0.1)),
        (Key("l"), Action(Act.TURN, angle=math.radians(0.5))),
        (Key("r", shift=True), Action(Act.TURN, angle=-math.radians(0.1))),
        (Key("7"), Action(Act.PRESET, number=7)),
        (Key("0"), Action(Act.AS_PLANNED)),
        (Key("b"), Action(Act.DARK)),
        (Key("escape"), Action(Act.LEAVE)),
        (Key("q", control=True), Action(Act.LEAVE_NOW)),
        (Key("u"), Action(Act.UNDO)),
        (Key("u", shift=True), Action(Act.REDO)),
        (Key("z", control=True), Action(Act.UNDO)),
        (Key("return", shift=True), Action(Act.KEEP_FOR_BATCH)),
        (Key("q"), None),
        (Key("s", control=True), None),
        (Key("f12"), None),
        (Key(""), None),
    ],
)
def test_keys_ask_for(key, action):
    assert action_for(key) == action


@pytest.mark.parametrize("name", ["space", "page down", "page up", "3", "b", "escape", "return"])
def test_a_key_held_down_acts_once(name):
    """A foot resting on the pedal must not run through the order."""
    assert action_for(Key(name)) is not None
    assert action_for(Key(name, repeated=True)) is None


@pytest.mark.parametrize("name", ["left", "l"])
def test_moving_repeats(name):
    assert action_for(Key(name, repeated=True)) == action_for(Key(name))


def test_every_act_has_a_key():
    for act in Act:
        assert keys_for(act), act
    assert keys_for(Act.ON) == ("Space", "Page Down")
    assert keys_for(Act.REDO) == ("Shift U", "Ctrl Y")
