"""Taps from afar: done once, and only by who saw what they are about."""

from __future__ import annotations

import pytest

from chalkbeam.light.transfer_sign import TransferSign
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.station.taps import Taken, Tap, Taps
from chalkbeam.station.values import Command, CommandKind
from overlay.window.inputs import Key
from tests.support.crew_order import open_run

SPACE = (Key("space"),)


@pytest.fixture
def station(tmp_path):
    return open_run(tmp_path)


@pytest.fixture
def taps():
    at = [100.0]

    def clock():
        at[0] += 1.0
        return at[0]

    return Taps(clock)


def test_a_tap_does_what_its_key_does(station, taps):
    seen = taps.number(station)
    answer = taps.take(station, Tap("one", seen, SPACE))
    assert answer.taken is Taken.DONE
    assert answer.number == taps.number(station) != seen
    assert station.session.progress.at.step is Step.LAY


def test_a_repeat_does_nothing_and_is_told_the_same(station, taps):
    tap = Tap("one", taps.number(station), SPACE)
    first = taps.take(station, tap)
    assert taps.take(station, tap) == first
    assert station.session.progress.at.step is Step.LAY


def test_of_two_who_tap_at_once_one_steps_the_press(station, taps):
    seen = taps.number(station)
    answers = [taps.take(station, Tap(who, seen, SPACE)) for who in ("kit", "marit")]
    assert [answer.taken for answer in answers] == [Taken.DONE, Taken.STALE]
    assert station.session.progress.at.step is Step.LAY


def test_a_key_at_the_window_makes_a_tap_stale(station, taps):
    seen = taps.number(station)
    station.take(Key("space", at=50.0))
    assert taps.take(station, Tap("one", seen, SPACE)).taken is Taken.STALE
    assert station.session.progress.at.step is Step.LAY


def test_what_the_camera_says_makes_no_tap_stale_but_what_it_does_and_asks_does(station, taps):
    seen, shown = taps.number(station), station.changes
    station.say(eye="Move it along the arrow.", sign=TransferSign(False, (4.0, 0.0)))
    assert station.changes > shown
    assert taps.number(station) == seen
    for changes in ({"moving": Shift(2.0, 1.0)}, {"said": "was it pressed?", "sure": True}):
        seen = taps.number(station)
        station.say(**changes)
        assert taps.take(station, Tap(str(changes), seen, SPACE)).taken is Taken.STALE
    seen = taps.number(station)
    station.handle(Command(CommandKind.STEP, step=Step.LAY))
    assert taps.take(station, Tap("late", seen, SPACE)).taken is Taken.STALE


def test_numbers_of_another_run_of_the_program_are_stale(station, taps):
    assert taps.take(station, Tap("one", Taps().number(station), SPACE)).taken is Taken.STALE


def test_a_typed_piece_is_gone_to_in_one_tap(station, taps):
    keys = (Key("j"), Key("2", text="2"), Key("return"))
    assert taps.take(station, Tap("one", taps.number(station), keys)).taken is Taken.DONE
    assert station.session.progress.number(station.session.progress.stop) == 2
