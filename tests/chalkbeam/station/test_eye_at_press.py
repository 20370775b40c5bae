"""A piece worked before the camera with no key pressed."""

import numpy as np
import pytest

from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.record.events import Kind
from chalkbeam.record.pictures import PictureFolder
from chalkbeam.simulator.press.habits import Habits
from chalkbeam.simulator.press.reader import StageReader, StatedError
from chalkbeam.simulator.press.rehearsal import Rehearsal
from chalkbeam.simulator.press.work import PressWorker
from chalkbeam.station.eye_at_press import EyeOptions
from chalkbeam.station.eye_work import run_at
from overlay.window.inputs import Key
from tests.support.crew_order import open_run
from tests.support.filmed_press import film, rig_with_eye

CAREFUL = Habits((9.0, 2.0), (0.4, 0.2), 0.0, 0.0, 0.0, 0.0)
SURE = StatedError(sure=1.0, seconds=(0.3, 0.3))


@pytest.mark.slow
def test_a_piece_is_pressed_and_counted_with_no_key(tmp_path):
    rig = rig_with_eye()
    station = open_run(tmp_path, [rig])
    worker = PressWorker(station, station.take, np.random.default_rng(5), CAREFUL)
    pictures = PictureFolder(tmp_path / "pictures")
    shift = Rehearsal(
        station, station.output, film(size=(320, 180)), rig, worker,
        options=EyeOptions(pictures=pictures),
        reader=lambda stage: StageReader(stage, np.random.default_rng(1), SURE),
    )  # fmt: skip
    first = station.session.progress.stop.imprint.id
    while not worker.finished and shift.at < 90:
        shift.run(1.0)
    assert list(station.session.progress.outcomes) == [first]
    assert worker.keys == 0
    assert shift.eye.questions == 0
    events = station.session._log.store.events(station.session.run)
    seen = next(e.data["seen"] for e in events if e.kind is Kind.PRESSED)
    assert seen["garment"]["sure"]
    assert seen["transfer"]["verdict"] == "good"
    assert seen["closed_s"] >= 9.0
    assert (pictures.folder / seen["picture"]).is_file()
    shift_of = next(e.data for e in events if e.kind is Kind.COLLARED)
    laid = worker.laid[0]
    assert shift_of["x"] == pytest.approx(laid.x, abs=3.0)  # the stated error is 0.8 mm
    assert shift_of["y"] == pytest.approx(laid.y, abs=3.0)


def name_and_number(**press):
    """Return a piece with a number under its name, at which the garment stays."""
    settings = PressSettings(time="9 s", dwell=9.0, **press)
    name, number = Art(ArtKind.NAME, "MARIT"), Art(ArtKind.NUMBER, "7")
    first = Imprint("2-1/1", "player-name", name, press=settings)
    second = Imprint("2-1/2", "player-number", number, follows="2-1/1", press=settings)
    return Piece("2-1", 2, 1, 1, "crew_tee", "L", "navy", (first, second))


@pytest.mark.slow
def test_name_and_number_are_laid_one_after_the_other_and_pressed_once(tmp_path):
    rig = rig_with_eye()
    station = open_run(tmp_path, [rig], pieces=[name_and_number()])
    worker = PressWorker(station, station.take, np.random.default_rng(5), CAREFUL)
    closings = []
    worker._closes = lambda *a, closes=worker._closes: closings.append(a) or closes(*a)
    shift = Rehearsal(
        station, station.output, film(size=(320, 180)), rig, worker,
        reader=lambda stage: StageReader(stage, np.random.default_rng(1), SURE),
    )  # fmt: skip
    while not worker.finished and shift.at < 90:
        shift.run(1.0)
    assert list(station.session.progress.outcomes) == ["2-1/1", "2-1/2"]
    assert len(closings) == 1
    assert worker.keys == 0
    assert shift.eye.questions == 0


def test_the_eye_waits_until_the_press_is_set(tmp_path):
    rig = rig_with_eye()
    station = open_run(tmp_path, [rig], pieces=[name_and_number(temperature="150 C")])
    assert run_at(station, rig, None).idle
    station.take(Key("1", at=10.0))
    assert not run_at(station, rig, None).idle
