"""The loop at the press: what is asked, typed and scanned, and how it is left."""

import pytest

from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.station.values import (
    FRESH,
    SCANNED,
    WHY_SKIP,
    WHY_SPOILED,
    Asking,
    Command,
    CommandKind,
)
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Key, Pointer, Tick
from tests.support.hand import Hand


def test_skip_and_spoil_want_a_reason(hand):
    hand.press("s")
    assert hand.state.asking is Asking.SKIP
    hand.press("9")
    assert hand.state.asking is Asking.SKIP
    assert "answer with 1 to 3" in hand.state.said
    hand.press("2")
    assert hand.done == [Command(CommandKind.SKIP, text=WHY_SKIP[1])]
    hand.press("x", "3")
    assert hand.state.asking is Asking.FRESH
    hand.press("1")
    assert hand.done[-1] == Command(CommandKind.SPOIL, text=WHY_SPOILED[2], replaced=True)
    hand.press("x", "1", "2")
    assert hand.done[-1] == Command(CommandKind.SPOIL, text=WHY_SPOILED[0], missing="garment")
    assert FRESH[0] != FRESH[1]


def test_questions_can_be_left(hand):
    hand.press("x", "3", "escape")
    assert hand.state.asking is None
    assert not hand.state.leaving
    assert hand.done == []
    hand.press("s", "space")
    assert hand.progress.at.step is Step.LOAD  # the pedal does not answer


def test_undo_and_redo(hand):
    hand.press("space", "left", "u")
    assert hand.progress.nudge(0) == Shift()
    hand.press("u", shift=True)
    assert hand.progress.nudge(0) == Shift(-1, 0)
    hand.press("z", control=True).press("y", control=True)
    assert hand.progress.nudge(0) == Shift(-1, 0)


def test_jump_by_typing_a_piece(hand):
    hand.press("j", "3", "-", "2")
    assert hand.state.typed == "3-2"
    hand.press("backspace", "1", "return")
    assert hand.progress.stop.imprint.id == "3-1/1"
    hand.press("j", "9", "return")
    assert hand.state.said == "no piece “9” in this order"
    assert hand.progress.stop.imprint.id == "3-1/1"
    hand.press("j", "escape")
    assert hand.state.asking is None


def scan(hand, text, pause=SCANNED / 5):
    hand.at += 1
    for character in text:
        hand.at += pause
        hand.give(Key(character, at=hand.at, text=character))
    hand.at += pause
    return hand.give(Key("return", at=hand.at, text=""))


def test_a_scanned_barcode_picks_the_piece(hand):
    scan(hand, "4-1")
    assert hand.progress.stop.imprint.id == "4-1/1"
    assert hand.done == [Command(CommandKind.JUMP, index=3)]  # its digits chose no location
    scan(hand, "77-1")
    assert hand.state.said == "no piece “77-1” in this order"
    scan(hand, "3-1/2")
    assert hand.progress.stop.imprint.id == "3-1/2"


def test_a_scan_leaves_what_was_being_done(hand):
    hand.press("g", "left")
    scan(hand, "4-1")
    assert hand.state.moving is None
    hand.press("x")
    scan(hand, "3-1")
    assert hand.state.asking is None
    assert hand.progress.stop.piece.id == "3-1"


def test_half_a_scan_does_nothing(hand):
    hand.at += 1
    for character in "12":
        hand.at += 0.01
        hand.give(Key(character, at=hand.at, text=character))
    hand.give(Tick(hand.at + SCANNED / 2))
    assert hand.state.held  # not yet
    assert hand.state.due == pytest.approx(hand.at + SCANNED)
    hand.give(Tick(hand.at + SCANNED))
    assert hand.done == []
    assert "scan again" in hand.state.said


def test_a_lone_character_acts_after_a_moment(hand):
    hand.give(Key("b", at=5.0, text="b"))
    assert not hand.state.dark
    hand.give(Tick(5.0 + SCANNED))
    assert hand.state.dark
    # or at once when another key follows
    hand.give(Key("b", at=6.0, text="b")).give(Key("page down", at=6.2))
    assert not hand.state.dark
    assert hand.progress.at.step is Step.LAY


def test_pause_keeps_everything_still(hand):
    hand.press("space", "p")
    assert hand.progress.paused
    hand.press("left", "x")
    assert hand.progress.nudge(0) == Shift()
    assert hand.state.asking is None
    assert "P goes on" in hand.state.said
    scan(hand, "4-1")
    assert hand.progress.at.index == 0
    hand.press("space")  # the pedal goes on, and does no step with it
    assert not hand.progress.paused
    assert hand.progress.at.step is Step.LAY


def test_leaving_takes_two_escapes_or_one_held_control(hand):
    hand.press("escape")
    assert hand.state.leaving
    assert not hand.state.over
    hand.press("space")
    assert not hand.state.leaving
    assert hand.press("escape", "escape").state.over
    assert hand.press("q", control=True).state.over
    assert Hand(hand.progress.stops).give(Closed()).state.over


def test_display_troubles_are_remembered_until_they_are_over(hand):
    hand.give(DisplayLost("The projector is gone."))
    assert hand.state.trouble.startswith("The projector is gone. No step is taken in the dark")
    hand.give(DisplayBack())
    assert hand.state.trouble == ""
    assert hand.give(Pointer((1, 2))).state == hand.state


def test_no_step_is_taken_in_the_dark(hand):
    hand.press("space", "space")
    hand.give(Key("7", text="7", at=hand.at + 1))  # perhaps the beginning of a scan
    before = hand.progress.at
    hand.give(DisplayLost("The projector is gone."))
    done = len(hand.done)
    for name in ("space", "page up", "u", "s", "x", "j", "2", "right", "p", "1"):
        hand.press(name)
    assert (hand.progress.at, len(hand.done)) == (before, done)
    assert hand.state.asking is None
    hand.press("escape", "space", "escape")
    assert not hand.state.over  # another key in between takes it back
    hand.give(DisplayBack())
    assert not hand.state.leaving
    hand.press("space", wait=20)
    assert hand.progress.pressed() == 1  # the dwell went on meanwhile


def test_in_the_dark_the_run_can_be_left(hand):
    hand.give(DisplayLost("The projector is gone."))
    hand.press("escape", "escape")
    assert hand.state.over


def test_the_order_finished_still_takes_undo_and_jump(hand):
    for _ in range(30):
        hand.press("space", wait=20)
    assert hand.progress.stop is None
    for name in ("left", "s", "x", "g", "1"):
        hand.press(name)
        assert "finished" in hand.state.said
    hand.press("u")
    assert hand.progress.stop.imprint.id == "4-1/2"
