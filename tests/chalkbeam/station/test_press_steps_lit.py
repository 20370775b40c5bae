"""The press's own steps with light, record and camera: what is lit when, and gone on with later."""

from dataclasses import replace

import pytest

from chalkbeam.eye.sights import TakeStep
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import PressSettings
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.progress import At
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.eye_at_press import PREPRESS, EyeAtPress
from chalkbeam.station.eye_work import run_at
from chalkbeam.station.values import Command, CommandKind
from tests.support.crew_order import crew, station_on
from tests.support.filmed_press import rig_with_eye
from tests.support.press import Press

WARM = PressSettings(
    "300 F", "10 s", "", "warm", "3 s", 10.0, 3.0, "5 s, parchment", 5.0, "", "15 s", 15.0
)
COLD = replace(WARM, peel="cold", cooling="60 s", cooling_wait=60.0, second="", second_dwell=None)


def press_on(folder, settings, pieces=None, rigs=None):
    """A station whose record runs by the clock of the hand at its keys."""
    store = Store(folder / "record.db")
    made = [
        replace(piece, imprints=tuple(replace(each, press=settings) for each in piece.imprints))
        for piece in crew(folder)[slice(pieces)]
    ]
    run = store.latest() or store.begin(
        plan(made, Times(), fit_on_press, as_listed=True),
        title="crew", sheet=folder / "crew.csv", digest="",
    )  # fmt: skip
    box = []
    session = open_session(store, run, clock=lambda: box[0].at if box else 100.0)
    box.append(Press(station_on(session, rigs, counting=True)))
    return box[0]


@pytest.fixture
def press(tmp_path):
    return press_on(tmp_path, WARM).keys("space")  # the press is set


@pytest.mark.trade("smooth")
def test_light_is_off_under_the_head_and_tells_what_to_do_when_it_opens(press):
    press.keys("space")
    assert press.progress.at.step is Step.PREPRESS
    assert press.marks() is None
    press.at += 3.0
    said = " ".join(mark.text for mark in lit_at(press) if hasattr(mark, "text"))
    assert "lift it, smooth it, let the steam out" in said.replace("\n", " ")
    assert len(lit_at(press)) > 5  # with the lines to lay it to again
    press.keys("space", "space", wait=4.0)
    assert press.marks() is None
    press.keys("space", wait=10.0)
    assert press.progress.at.step is Step.PEEL
    assert "let it cool the carrier on 14 s" in words(press)
    press.at += 15.0
    assert "peel it now: warm close for the second press 5 s, parchment" in words(press)
    press.keys("space", wait=1.0)
    assert press.progress.at.step is Step.SECOND
    assert press.marks() is None
    assert press.station.bells == (press.display().dwell_ends,)


def lit_at(press):
    from chalkbeam.station.scene import lit

    return lit(press.station.scene(press.at)) or ()


def words(press):
    from overlay.marks import Text

    return " ".join(m.text.replace("\n", " ") for m in lit_at(press) if isinstance(m, Text))


def test_the_display_tells_steps_times_and_what_cools(tmp_path):
    press = press_on(tmp_path, COLD).keys("space", "space")
    display = press.display()
    assert display.steps == (Step.LOAD, Step.PREPRESS, Step.LAY, Step.PRESS, Step.PEEL)
    assert (display.dwell, display.dwell_ends) == (3.0, press.at - 1 + 3)
    press.keys("space", "space", "space")
    display = press.display()
    assert display.heading == "press 1 of 5 · piece 3-1"  # nothing is counted yet
    assert display.cooling == (("2-1 · navy, M · left chest", press.at - 1 + 60),)
    assert press.station.bells == (press.at - 1 + 60,)
    press.keys("space", "space", "space", "space")  # more than a minute
    assert press.progress.at == At(0, Step.PEEL)


def test_name_and_number_are_peeled_together_and_counted_once_each(tmp_path):
    press = press_on(tmp_path, replace(WARM, prepress=""))
    press.keys("j", "4", "-", "1", "return", "space", "space", "space", "space")
    assert press.progress.at == At(4, Step.PRESS)  # name and number under one head
    press.keys("space", "space", "space")
    pressed = [e for e in press.session._log.store.events(press.session.run)
               if e.kind is Kind.PRESSED]  # fmt: skip
    assert [event.imprint for event in pressed] == ["4-1/1", "4-1/2"]


@pytest.mark.parametrize("at_peel", [False, True])
def test_what_cools_is_gone_on_with_in_another_session(tmp_path, at_peel):
    before = press_on(tmp_path, COLD, pieces=2).keys(*["space"] * 5)
    assert before.progress.at == At(1, Step.LOAD)
    if at_peel:
        before.keys("j", "2", "-", "1", "return")
    later = press_on(tmp_path, COLD, pieces=2)
    assert later.progress.aside() == (() if at_peel else (0,))
    # Nobody knows how long it was: it cools for a whole minute from the start.
    assert later.progress.waits(0).cools_until == 160.0
    if at_peel:
        later.keys("space")
        assert "of the cooling left" in later.display().remark
        return
    later.keys(*["space"] * 5)
    assert later.progress.at == At(0, Step.PEEL)


def test_the_closed_press_of_every_kind_is_asked_about_after_a_restart(tmp_path):
    asked = []
    press = press_on(tmp_path, WARM, pieces=1)
    for keys in (2, 1, 1):
        press.keys(*["space"] * keys)
        press = press_on(tmp_path, WARM, pieces=1)
        asked.append(press.display().asked[0].rpartition(": ")[2])
        press.keys("1", "space")  # yes; and the press is set
    assert asked == [
        "was it pre-pressed?", "was it pressed?", "was it pressed the second time?",
    ]  # fmt: skip
    assert press.progress.pressed() == 1


def test_the_camera_leaves_steps_that_it_does_not_know_to_the_keys(tmp_path):
    rig = rig_with_eye()
    press = press_on(tmp_path, WARM, rigs=[rig]).keys("space")
    eye = EyeAtPress(press.station, rig, lambda work: None)
    eye._grant(TakeStep("lay"), press.at)  # the garment lies
    assert press.progress.at.step is Step.PREPRESS
    assert press.station.state.eye == PREPRESS
    seen = run_at(press.station, rig, None)
    assert (seen.step, seen.idle) == ("load", True)
    press.keys("space")
    assert not run_at(press.station, rig, None).idle
    press.station.handle(Command(CommandKind.STEP, step=Step.PEEL))
    seen = run_at(press.station, rig, None)
    assert (seen.step, seen.idle) == ("press", True)
