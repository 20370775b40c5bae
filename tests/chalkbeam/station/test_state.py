"""The loop at the press: pure, from keys to the operator's state and commands."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.progress import At, Outcome, Progress
from chalkbeam.station.scene import question
from chalkbeam.station.state import BOUNCE
from chalkbeam.station.values import (
    Asking,
    Command,
    CommandKind,
    Showing,
    run_locations,
)
from overlay.window.inputs import Key, Tick
from tests.support.hand import Hand


def test_the_pedal_works_through_the_order(hand):
    seen = []
    for _ in range(40):
        if hand.progress.stop is None:
            break
        seen.append((hand.progress.stop.imprint.id, hand.progress.at.step))
        hand.press("page down", wait=20.0)  # longer than any dwell
    assert seen == [
        ("2-1/1", Step.LOAD), ("2-1/1", Step.LAY), ("2-1/1", Step.PRESS),
        ("3-1/1", Step.LOAD), ("3-1/1", Step.LAY), ("3-1/1", Step.PRESS),
        ("3-1/2", Step.LOAD), ("3-1/2", Step.LAY), ("3-1/2", Step.PRESS),
        ("4-1/1", Step.LOAD), ("4-1/1", Step.LAY), ("4-1/1", Step.PRESS),
        ("4-1/2", Step.LAY), ("4-1/2", Step.PRESS),  # the garment stays on the platen
    ]  # fmt: skip
    assert hand.progress.pressed() == 5
    hand.press("space")
    assert "finished" in hand.state.said
    assert not hand.state.over


def test_a_bouncing_pedal_steps_once(hand):
    hand.press("space").press("space", wait=BOUNCE / 2)
    assert hand.progress.at.step is Step.LAY
    hand.press("space", wait=BOUNCE * 1.1)
    assert hand.progress.at.step is Step.PRESS


def test_a_foot_resting_on_the_pedal_steps_once(hand):
    hand.press("space").press("space", repeated=True)
    assert hand.progress.at.step is Step.LAY


def test_a_dwell_that_is_not_over_is_asked_about_once(hand):
    hand.press("space", "space", wait=1.0).press("space", wait=3.0)
    assert hand.progress.at.step is Step.PRESS
    assert hand.state.said == "7 s of the dwell left: once more if it is done"
    hand.press("space")
    assert hand.progress.outcomes == {"2-1/1": Outcome.PRESSED}


def test_a_dwell_that_is_over_is_not_asked_about(hand):
    hand.press("space", "space").press("space", wait=10.0)
    assert hand.progress.pressed() == 1


def test_without_a_dwell_nothing_is_asked(hand):
    hand.press("j", "4", "-", "1", "return", "space", "space", "space")
    assert hand.progress.outcomes == {"4-1/1": Outcome.PRESSED}


def test_back_goes_back_a_step_but_never_undoes(hand):
    hand.press("space", "space", "page up")
    assert hand.progress.at.step is Step.LAY
    hand.press("backspace")
    assert hand.progress.at.step is Step.LOAD
    hand.press("page up")
    assert hand.progress.at.step is Step.LOAD
    assert "U takes the last act back" in hand.state.said


def test_arrows_nudge_in_the_lay_step_only(hand):
    hand.press("left")
    assert hand.done == []
    assert "lay step" in hand.state.said
    hand.press("space", "left").press("up", shift=True)
    assert hand.progress.nudge(0) == Shift(-1.0, 0.1)
    hand.press("0")
    assert hand.progress.nudge(0).length == pytest.approx(0)
    hand.press("0")
    assert hand.state.said == "nothing was moved here"


def test_nudges_for_the_rest_of_the_batch(hand):
    hand.press("space", "right", "right").press("return", shift=True)
    assert hand.progress.nudge(0) == Shift(2, 0)
    assert hand.progress.nudge(1) == Shift(2, 0)  # same style, location and loading
    assert hand.progress.nudge(2) == Shift()  # another location
    hand.press("return", shift=True)
    assert hand.state.said == "nothing was moved here"
    assert hand.progress.nudge(1) == Shift(2, 0)


def test_the_collar_is_moved_and_kept_for_the_piece(hand):
    hand.press("g", "right", "up").press("l")
    assert hand.state.moving is not None
    assert hand.done == []  # nothing is recorded until it is kept
    hand.press("return")
    assert hand.state.moving is None
    (command,) = hand.done
    assert command.kind is CommandKind.COLLAR
    assert (command.shift.x, command.shift.y) == (1, 1)
    assert hand.progress.collar(0) == command.shift
    assert hand.progress.collar(1) is None
    hand.press("g")
    assert hand.state.moving == command.shift  # goes on from where it was kept


def test_the_collar_is_kept_for_the_batch_or_left(hand):
    hand.press("g", "down").press("return", shift=True)
    assert hand.progress.collar(1) == Shift(0, -1)
    hand.press("g", "down", "escape")
    assert hand.state.moving is None
    assert not hand.state.leaving
    assert hand.progress.collar(0) == Shift(0, -1)
    hand.press("g", "0", "x")
    assert hand.state.moving == Shift()
    assert "first keep the collar" in hand.state.said
    hand.press("g")
    assert hand.state.moving is None


def test_a_location_the_piece_has_nothing_for_is_asked_about(hand):
    hand.press("space", "2")
    assert hand.done[1:] == [Command(CommandKind.TRY, text="nape")]
    assert question(hand.state, hand.state.asking) == (
        "Put pennant at nape in place of left chest?", "1  yes", "2  no",
    )  # fmt: skip
    for refusing in ("2", "escape"):
        hand.press(refusing)
        assert hand.state.asking is None
        assert (hand.progress.location(0), hand.progress.at.step) == ("left-chest", Step.LAY)
        hand.press("2")
    hand.press("space", "7")  # neither the pedal nor another key answers
    assert hand.progress.location(0) == "left-chest"
    hand.press("1")
    assert hand.done[-1] == Command(CommandKind.PRESET, text="nape")
    assert hand.progress.location(0) == "nape"
    assert hand.progress.at == At(0, Step.LOAD)  # the garment is loaded again
    done = len(hand.done)
    hand.press("2", "8")
    assert len(hand.done) == done  # it is in force already; and there is no eighth
    assert "no location 8" in hand.state.said
    hand.press("u")
    assert hand.progress.location(0) == "left-chest"
    assert hand.progress.at == At(0, Step.LAY)


def test_a_location_of_the_piece_that_is_to_do_is_gone_to(hand):
    hand.press("j", "2", "return", "space")
    assert hand.progress.stop.imprint.id == "3-1/1"
    hand.press("2")
    assert hand.done[-1] == Command(CommandKind.JUMP, index=2)
    assert hand.state.asking is None
    assert hand.progress.at == At(2, Step.LOAD)
    hand.press("space", "space").press("space", wait=20.0)
    assert hand.progress.outcomes == {"3-1/2": Outcome.PRESSED}
    assert [hand.progress.location(index) for index in (1, 2)] == ["left-chest", "nape"]
    # What was left is to do still; what is pressed already is asked about.
    hand.press("j", "3", "-", "1", "return", "2")
    assert hand.progress.at == At(1, Step.LOAD)
    assert hand.state.asking is Asking.PLACE


def test_no_to_another_location_leaves_the_dwell_running(hand):
    hand.press("space", "space", "2", "2")
    since = hand.state.pressing_since
    assert since is not None
    hand.press("space")
    assert "of the dwell left" in hand.state.said


def test_a_garment_laid_elsewhere_is_loaded_again_for_what_would_have_stayed(hand):
    hand.press("j", "3", "return", "1", "1", "space", "space", "space", wait=20.0)
    assert hand.progress.outcomes == {"4-1/1": Outcome.PRESSED}
    assert hand.progress.at == At(4, Step.LOAD)


def test_records_from_before_stay_in_the_step_they_were_in(stops):
    progress = Progress(stops)
    progress.apply(Event(new_id(), Kind.STEPPED, "2-1/1", Step.LAY))
    progress.apply(Event(new_id(), Kind.PRESET, "2-1/1", None, {"location": "nape"}))
    assert progress.at == At(0, Step.LAY)


def test_a_press_that_was_not_seen_is_asked_about_by_its_name(hand):
    hand.press("j", "3", "return", "space", "space", "space", "u", "space")
    assert question(hand.state, hand.state.asking) == (
        "piece 4-1, navy, M, MARIT 7, player name: MARIT: was it pressed?",
        "1  yes",
        "2  no",
    )


@pytest.mark.parametrize(
    ("answer", "pressed", "left"),
    [("1", 1, 1), ("space", 1, 1), ("2", 0, 0), ("page up", 0, 0)],
)
def test_who_jumps_away_from_under_the_press_says_whether_it_was_closed(
    hand, answer, pressed, left
):
    hand.press("space", "space", "j", "3", "return")
    assert hand.progress.at == At(0, Step.PRESS)
    assert question(hand.state, hand.state.asking)[0].endswith("pennant: was it pressed?")
    hand.press(answer)
    assert hand.progress.at == At(3, Step.LOAD)
    assert hand.progress.pressed() == pressed
    # What was left comes back in order, once the piece jumped to is done.
    hand.press(*["space"] * 5, wait=20.0)
    assert hand.progress.at == At(left, Step.LOAD)


def test_escape_stays_under_the_press(hand):
    hand.press("space", "space", "j", "3", "return", "escape")
    assert hand.progress.at == At(0, Step.PRESS)
    assert hand.state.asking is None
    hand.press("space", wait=20.0)
    assert hand.progress.at == At(1, Step.LOAD)


def test_a_location_key_under_the_press_asks_the_same(hand):
    hand.press("j", "3", "-", "1", "return", "space", "space", wait=20.0)
    nape = run_locations([stop.imprint.location for stop in hand.progress.stops]).index("nape")
    hand.press(str(nape + 1))
    assert hand.state.asking is Asking.PRESSED
    hand.press("1")
    assert hand.progress.outcomes == {"3-1/1": Outcome.PRESSED}
    assert hand.progress.at == At(2, Step.LOAD)


def test_what_is_left_comes_back_in_order_after_jumps(hand):
    hand.press("j", "4", "-", "1", "return")
    hand.press(*["space"] * 5, wait=20.0)  # its name and its number
    assert hand.progress.at.index == 0
    hand.press("j", "3", "-", "1", "return", "u")
    assert hand.progress.at.index == 0
    hand.press(*["space"] * 3, wait=20.0)
    assert hand.progress.at.index == 1


def test_views_come_and_go_without_a_step(hand):
    hand.press("h")
    assert hand.state.showing is Showing.HELP
    hand.press("space")
    assert (hand.state.showing, hand.progress.at.step) == (Showing.WORK, Step.LOAD)
    hand.press("c", "c", "b")
    assert hand.state.dark
    hand.press("space")
    assert (hand.state.dark, hand.progress.at.step) == (False, Step.LOAD)


def test_what_cannot_be_lit_cannot_be_pressed(hand):
    hand.ready = False
    hand.press("space", "g")
    assert hand.progress.at.step is Step.LOAD
    assert hand.state.moving is None
    hand.press("s", "2")
    assert hand.progress.outcomes == {"2-1/1": Outcome.SKIPPED}


NAMES = ["space", "page up", "left", "up", "l", "0", "1", "2", "7", "b", "c", "h", "g", "return",
         "s", "x", "u", "j", "p", "escape", "backspace", "-", "f3"]  # fmt: skip


@pytest.mark.slow
@given(
    st.lists(
        st.tuples(st.sampled_from(NAMES), st.booleans(), st.sampled_from([0.01, 0.1, 1.0, 20.0])),
        max_size=60,
    )
)
def test_whatever_is_pressed_nothing_is_counted_twice(stops, keys):
    hand = Hand(stops)
    for name, shift, wait in keys:
        hand.at += wait
        hand.give(Tick(hand.at))
        text = name if len(name) == 1 else ""
        hand.give(Key(name, shift=shift, at=hand.at, text=text))
        if hand.state.over:
            break
    pressed = sum(outcome is Outcome.PRESSED for outcome in hand.progress.outcomes.values())
    orders = [command.kind for command in hand.done]
    assert pressed <= orders.count(CommandKind.PRESS) + orders.count(CommandKind.REDO)
    assert hand.progress.at.step in Step
    # A state can always be left.
    hand.state = replace(hand.state, held=())
    hand.press("q", control=True) if hand.state.asking is None else hand.press("escape", "escape")
    if not hand.state.over:
        hand.press("escape", "escape", "escape")
    assert hand.state.over


def test_locations_most_used_first():
    assert run_locations(["nape", "left-chest", "left-chest", "hem"]) == (
        "left-chest", "nape", "hem",
    )  # fmt: skip
    assert len(run_locations([f"place-{n}" for n in range(20)])) == 9
