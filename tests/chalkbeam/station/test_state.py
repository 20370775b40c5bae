"""The press-controller loop: pure, from keys to the state and commands."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.progress import At, Outcome, Progress
from chalkbeam.station.scene import question
from chalkbeam.station.state import BOUNCE, advance
from chalkbeam.station.values import (
    FRESH,
    SCANNED,
    WHY_SKIP,
    WHY_SPOILED,
    Asking,
    Command,
    CommandKind,
    OperatorState,
    RunView,
    Showing,
    run_locations,
)
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Key, Pointer, Tick
from tests.support.crew_order import crew

LOCATIONS = ("left-chest", "nape", "player-name")


@pytest.fixture(scope="module")
def stops(tmp_path_factory):
    folder = tmp_path_factory.mktemp("crew")
    return plan(crew(folder), Times(), fit_on_press, as_listed=True).stops


class Hand:
    """An operator at a state; commands take effect on a progress without a record."""

    def __init__(self, stops):
        self.progress = Progress(stops)
        self.state = OperatorState()
        self.at = 100.0
        self.ready = True
        self.done = []

    def give(self, happened):
        view = RunView(self.progress, LOCATIONS, self.ready)
        self.state, commands = advance(self.state, view, happened)
        for command in commands:
            self.done.append(command)
            self.carry_out(command)
        return self

    def press(self, *names, wait=1.0, **more):
        """Press keys, each long enough after the last that it is no scan and no bounce."""
        for name in names:
            self.at += wait
            text = name if len(name) == 1 else ""
            self.give(Key(name, at=self.at, text=text, **more))
            if self.state.held:
                self.at += wait
                self.give(Tick(self.at))
        return self

    def carry_out(self, command):
        index = self.progress.at.index
        stop = self.progress.stop
        imprint = stop.imprint.id if stop else ""
        batch = stop.batch if stop else ""

        def apply(kind, step=None, **data):
            self.progress.apply(Event(new_id(), kind, imprint, step, data))

        match command.kind:
            case CommandKind.STEP:
                apply(Kind.STEPPED, command.step)
            case CommandKind.PRESS:
                apply(Kind.PRESSED)
            case CommandKind.NUDGE:
                apply(Kind.NUDGED, batch="", **command.shift.data())
            case CommandKind.NUDGE_BATCH:
                apply(Kind.NUDGED, batch=batch, **command.shift.data())
            case CommandKind.COLLAR:
                apply(Kind.COLLARED, batch="", **command.shift.data())
            case CommandKind.COLLAR_BATCH:
                apply(Kind.COLLARED, batch=batch, **command.shift.data())
            case CommandKind.PRESET:
                apply(Kind.PRESET, Step.LOAD, location=command.text)
            case CommandKind.SKIP:
                apply(Kind.SKIPPED, reason=command.text)
            case CommandKind.SPOIL:
                apply(Kind.SPOILED, reason=command.text, replaced=command.replaced)
            case CommandKind.UNDO:
                if self.progress.undoable:
                    apply(Kind.UNDONE, event=self.progress.undoable.id)
            case CommandKind.REDO:
                if self.progress.redoable:
                    apply(Kind.REDONE, event=self.progress.redoable.id)
            case CommandKind.JUMP:
                target = self.progress.stops[command.index].imprint.id
                self.progress.apply(Event(new_id(), Kind.STEPPED, target, Step.LOAD))
            case CommandKind.PAUSE:
                apply(Kind.WENT_ON if self.progress.paused else Kind.PAUSED)
        assert index is None or command.kind is not None


@pytest.fixture
def hand(stops):
    return Hand(stops)


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
    assert hand.progress.at == At(0, Step.LOAD)  # the garment is laid anew
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
    assert hand.state.said == (
        "piece 3 of 3, navy, M, MARIT 7, player name: MARIT: "
        "was it pressed? space: yes, page up: no"
    )


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
    assert hand.done[-1] == Command(CommandKind.SPOIL, text=WHY_SPOILED[0], replaced=False)
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


NAMES = ["space", "page up", "left", "up", "l", "0", "1", "2", "7", "b", "c", "h", "g", "return",
         "s", "x", "u", "j", "p", "escape", "backspace", "-", "f3"]  # fmt: skip


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
