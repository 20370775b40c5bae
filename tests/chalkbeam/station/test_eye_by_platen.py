"""The press's camera while platens are changed: each has an eye of its own, made when it is on."""

import pytest

from chalkbeam.station.eye_by_platen import EyeByPlaten
from tests.chalkbeam.station.test_platens_at_press import sleeves, station
from tests.support.press import Press


class Eye:
    """Keeps what it is told, by its platen."""

    def __init__(self, rig, told):
        self.rig, self.told = rig, told
        self._tell("made")

    def _tell(self, what):
        self.told.append((self.rig.platen, what))

    def leave(self):
        self._tell("left")

    def notice(self, at):
        self._tell("notice")

    def look(self, picture, at):
        self._tell("look")


@pytest.fixture
def watched(tmp_path):
    press, told = Press(station(tmp_path, sleeves(tmp_path))), []
    rigs = press.station.readiness._preparer.rigs
    return press, EyeByPlaten(press.station, rigs, lambda rig: Eye(rig, told)), told


def test_an_eye_is_made_for_a_platen_once_somebody_says_that_it_is_on(watched):
    press, eyes, told = watched
    press.keys("1", *["space"] * 6)
    assert press.progress.to_fit(press.progress.at) == "long one"
    told.clear()
    eyes.notice(1.0)
    eyes.look(None, 1.1)
    assert told == [("16x20in", "notice"), ("16x20in", "look")]  # still that of the platen there
    press.keys("1")
    eyes.notice(2.0)
    eyes.look(None, 2.1)
    assert told[2:] == [
        ("16x20in", "left"), ("long one", "made"), ("long one", "notice"), ("long one", "look"),
    ]  # fmt: skip
    press.keys("space")
    eyes.notice(3.0)
    assert told[-1] == ("long one", "notice")
    assert eyes.eye.rig.platen == "long one"


def test_another_presss_imprints_are_left_to_the_keys(tmp_path):
    press, told = Press(station(tmp_path, sleeves(tmp_path))), []
    first = press.station.readiness._preparer.rigs[:1]
    eyes = EyeByPlaten(press.station, first, lambda rig: Eye(rig, told))
    press.keys("1", *["space"] * 6, "1")
    eyes.notice(2.0)
    assert told[-1] == ("16x20in", "notice")
