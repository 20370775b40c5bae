"""At each change of settings the press is set before the next garment is loaded."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import PressSettings
from chalkbeam.orders.settings import Degrees, Setting
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.values import Command, CommandKind
from overlay.window.inputs import Key, Tick
from tests.support.crew_order import crew, station_on
from tests.support.hand import Hand
from tests.support.press import Press

HOT = PressSettings("305 F", "12 s", "firm", "hot", dwell=12.0)
COLD = PressSettings("280 F", "10 s", "medium", "cold", dwell=10.0)
ON = ("space",)


def pieces(folder):
    """Two shirts: hot; then hot on the chest and cold on the nape."""
    return [
        replace(
            piece,
            imprints=tuple(
                replace(each, press=COLD if each.location == "nape" else HOT)
                for each in piece.imprints
            ),
        )
        for piece in crew(folder)[:2]
    ]


@pytest.fixture(scope="module")
def stops(tmp_path_factory):
    folder = tmp_path_factory.mktemp("set")
    return plan(pieces(folder), Times(), fit_on_press, as_listed=True).stops


@pytest.fixture
def press(tmp_path):
    return Press(station(tmp_path))


def station(folder, **options):
    store = Store(folder / "record.db")
    run = store.latest() or store.begin(
        plan(pieces(folder), Times(), fit_on_press, as_listed=True),
        title="crew", sheet=folder / "crew.csv", digest="",
    )  # fmt: skip
    return station_on(open_session(store, run), **options)


def test_each_change_is_acknowledged_before_the_load(press, tmp_path):
    assert "SET PRESS 305 °F, firm hot peel 12 s 1 it is set" in press.words()
    assert press.display().asked == ("SET PRESS 305 °F, firm · hot peel · 12 s", "1  it is set")
    press.keys("space")
    assert press.progress.at.step is Step.LOAD
    assert press.progress.press.set_to == Setting.of(HOT)
    assert press.display().asked == ()
    press.keys("space", "space", "space")
    assert press.progress.at.index == 1
    assert "SET PRESS" not in press.words()  # the same setting
    press.keys("space", "space", "space")
    assert press.progress.at.index == 2
    assert "SET PRESS 280 °F, medium cold peel 10 s" in press.words()
    with Store(tmp_path / "record.db") as store:
        events = store.events(store.latest())
    said = [event.data["setting"] for event in events if event.kind is Kind.SET]
    assert said == ["305 °F, firm · hot peel · 12 s"]


def test_the_answers_number_does_it_too_and_nothing_else(press):
    press.keys("left", "g", "2", "return")
    assert press.progress.press.set_to is None
    assert press.station.state.moving is None
    press.keys("1")
    assert press.progress.press.set_to == Setting.of(HOT)


def test_a_pedal_pressed_twice_does_not_say_that_the_press_is_set(press):
    press.keys("space", "j", "2", "return", "space", "space")
    press.keys("space").keys("space", wait=-0.5)  # half a second after the last
    assert press.progress.at.index == 2
    assert press.progress.press.set_to == Setting.of(HOT)
    assert "first set the press" in press.words()
    press.keys("space")
    assert press.progress.press.set_to == Setting.of(COLD)


def test_what_is_taken_back_is_asked_again(press):
    press.keys("space", "u")
    assert press.progress.press.set_to is None
    assert "SET PRESS 305" in press.words()


def test_another_session_asks_again(tmp_path):
    Press(station(tmp_path)).keys("space", "space")
    later = Press(station(tmp_path))
    assert later.progress.at.step is Step.LAY
    assert "SET PRESS 305" in later.words()
    later.keys("space")
    assert later.progress.at.step is Step.LAY


def test_nothing_steps_past_it(press):
    with pytest.raises(Refusal, match="set first"):
        press.station.handle(Command(CommandKind.STEP, step=Step.LAY))


def test_in_the_shops_own_degrees(tmp_path):
    press = Press(station(tmp_path, degrees=Degrees.CELSIUS))
    assert "SET PRESS 152 °C" in press.words()
    assert press.display().settings.startswith("152 °C, 12 s, firm")
    assert press.display().coming[1][1].startswith("set the press: 138 °C")


NAMES = ["space", "page up", "0", "1", "2", "g", "return", "s", "x", "u", "j", "p", "escape", "-"]


@given(st.lists(st.tuples(st.sampled_from(NAMES), st.booleans(), st.sampled_from([0.2, 2.0, 20.0])),
                max_size=50))  # fmt: skip
def test_whatever_is_pressed_no_press_closes_on_another_setting(stops, keys):
    hand = Hand(stops)
    for name, shift, wait in keys:
        hand.at += wait
        hand.give(Tick(hand.at))
        before = hand.progress.at
        hand.give(Key(name, shift=shift, at=hand.at, text=name if len(name) == 1 else ""))
        at = hand.progress.at
        forward = before.step is not Step.PRESS and at.step is Step.PRESS
        if forward and hand.done[-1].kind is CommandKind.STEP:
            wanted = Setting.of(hand.progress.stops[at.index].imprint.press)
            assert wanted is None or hand.progress.press.set_to == wanted
        if hand.state.over:
            break
