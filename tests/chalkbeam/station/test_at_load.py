"""Where the shop asks for it, nothing is laid on a garment whose label nobody has looked at."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.refusal import Refusal
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.values import Asking, Command, CommandKind
from overlay.window.inputs import Key, Tick
from tests.support.crew_order import open_run, station_on
from tests.support.hand import Hand
from tests.support.press import Press

ASKED = "Piece 2-1: look at the label. Is it M, navy?"


@pytest.fixture
def press(tmp_path):
    return Press(open_run(tmp_path, confirms=True))


def scan(press, code):
    """What a scanner types, five milliseconds a character."""
    press.at += 20.0
    for name in (*code, "return"):
        press.at += 0.005
        text = name if len(name) == 1 else ""
        press.station.take(Key(name, at=press.at, text=text))


def confirmed(folder):
    with Store(folder / "record.db") as store:
        events = store.events(store.latest())
    return [
        (event.imprint, event.data["by"], event.data["size"], event.data["colour"])
        for event in events
        if event.kind is Kind.CONFIRMED
    ]


def test_the_label_is_asked_for_in_light_and_on_the_display(press, tmp_path):
    assert "look at the label" not in press.words()  # the load lines first
    press.keys("space")
    assert f"{ASKED} 1 size label and colour are right 2 no: take another one" in press.words()
    assert press.display().asked[0] == ASKED
    assert press.progress.at.step is Step.LOAD
    press.keys("1")
    assert press.progress.at.step is Step.LAY
    assert confirmed(tmp_path) == [("2-1/1", "key", "M", "navy")]


def test_another_garment_is_taken(press):
    press.keys("space", "2")
    assert press.station.state.asking is None
    assert press.progress.at.step is Step.LOAD
    press.keys("space", "page up")
    assert press.progress.at.step is Step.LOAD


def test_a_pedal_pressed_twice_has_not_looked(press):
    press.keys("space").keys("space", wait=-0.5)
    assert press.progress.at.step is Step.LOAD
    assert "look at the label, then 1" in press.words()
    press.keys("space")
    assert press.progress.at.step is Step.LAY


def test_the_scanned_ticket_of_the_piece_does_it_and_no_other(press, tmp_path):
    scan(press, "3-1")
    assert press.progress.stop.piece.id == "3-1"
    assert confirmed(tmp_path) == []
    scan(press, "3-1")
    assert confirmed(tmp_path) == [("3-1/1", "scan", "L", "navy")]
    assert press.progress.at.step is Step.LOAD
    press.keys("space")
    assert press.progress.at.step is Step.LAY


def test_asked_for_by_key_answered_by_the_scanner(press, tmp_path):
    press.keys("space")
    scan(press, "2-1")
    assert press.progress.at.step is Step.LAY
    assert confirmed(tmp_path) == [("2-1/1", "scan", "M", "navy")]


def test_once_a_garment_and_again_for_a_fresh_one(press):
    press.keys("space", "1", "space", "space")  # 2-1 pressed
    press.keys("space", "1", "space", "space")  # 3-1: its first print
    assert press.progress.at.index == 2
    press.keys("x", "3", "1")  # scorched: a fresh garment takes its place
    assert press.progress.at.step is Step.LOAD
    press.keys("space")
    assert press.station.state.asking is Asking.GARMENT


def test_it_is_taken_back_and_kept_over_sessions(press, tmp_path):
    press.keys("space", "1", "u", "u")
    press.keys("space")
    assert press.station.state.asking is Asking.GARMENT
    press.keys("1", "page up")
    with Store(tmp_path / "record.db") as store:
        later = Press(station_on(open_session(store, store.latest()), confirms=True))
        later.keys("space")
        assert later.progress.at.step is Step.LAY


def test_nothing_steps_past_it(press):
    with pytest.raises(Refusal, match="label is to be looked at first"):
        press.station.handle(Command(CommandKind.STEP, step=Step.LAY))


def test_a_shop_that_does_not_ask_is_not_asked(tmp_path):
    press = Press(open_run(tmp_path))
    press.keys("space")
    assert press.progress.at.step is Step.LAY


NAMES = ["space", "page up", "1", "2", "3", "g", "return", "s", "x", "u", "j", "p", "escape", "-"]


@given(st.lists(st.tuples(st.sampled_from(NAMES), st.booleans(), st.sampled_from([0.2, 2.0, 20.0])),
                max_size=50))  # fmt: skip
def test_whatever_is_pressed_no_press_closes_on_a_garment_not_looked_at(stops, keys):
    hand = Hand(stops, confirms=True)
    for name, shift, wait in keys:
        hand.at += wait
        hand.give(Tick(hand.at))
        hand.give(Key(name, shift=shift, at=hand.at, text=name if len(name) == 1 else ""))
        at, stop = hand.progress.at, hand.progress.stop
        if at.step is Step.PRESS:
            assert stop.piece.id in hand.progress.confirmed
        if hand.state.over:
            break
