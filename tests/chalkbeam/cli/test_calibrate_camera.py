"""`chalkbeam calibrate --camera`: recordings played to the command, and cameras that fail."""

from __future__ import annotations

import io
import itertools
import threading
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from calibration.refusal import Refusal
from calibration.rig.file import load
from chalkbeam.cli.app import app
from chalkbeam.cli.commands import calibrate_camera
from chalkbeam.setup.camera import source, take
from chalkbeam.setup.camera.run_while_shown import run_while_shown
from chalkbeam.setup.camera.source import open_source
from chalkbeam.simulator.demo import over_platen
from overlay.window.displays import Screen
from tests.support import live_camera
from tests.support.live_camera import SPACER


def calibrate(*options):
    words = ["calibrate", "--platen", "406.4x508mm", "--size", "1920x1080", *map(str, options)]
    return CliRunner().invoke(app, words)


@pytest.fixture(scope="module")
def truth():
    return live_camera.watched_rig()


@pytest.fixture(scope="module")
def views():
    return list(live_camera.watched_views().values())


@pytest.fixture(scope="module")
def recording(views, tmp_path_factory):
    """A video in which somebody carries a camera around, at five pictures a second."""
    path = tmp_path_factory.mktemp("recording") / "carried.avi"
    size = (views[0].shape[1], views[0].shape[0])
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 5.0, size)
    writer.set(cv2.VIDEOWRITER_PROP_QUALITY, 97)
    for n, view in enumerate(views):
        writer.write(live_camera.smeared(view, 15))
        for k in range(6):
            writer.write(live_camera.noisy(view, 10 * n + k))
    writer.release()
    return path


@pytest.mark.proof
def test_a_recording_becomes_a_true_rig(truth, recording, tmp_path):
    out = tmp_path / "rig.json"
    result = calibrate("--camera", recording, "--raised", f"{SPACER:g}mm", "--out", out)
    assert result.exit_code == 0, result.output
    rig = load(out)
    # Source of the truth: the virtual rig, checked against OpenCV in test_virtual_rig.py.
    for height in (0.0, 4.0):
        assert over_platen(truth, rig.projector, height).worst < rig.stated.tolerance
    saved = sorted(path.name for path in tmp_path.glob("rig-photos/*/*"))
    assert saved == ["flat-1.png", "flat-2.png", "flat-3.png", f"raised-{SPACER:g}mm.png"]
    lines = result.stderr.splitlines()
    assert lines[0].startswith("Show the pattern for 1920x1080 on the projector")
    assert "Photo 1 of 4 | Good: hold the camera still." in lines
    assert sum("is taken. Saved as" in line for line in lines) == 4
    assert all(one != other for one, other in itertools.pairwise(lines))


@pytest.mark.proof
@pytest.mark.slow
def test_a_set_that_is_not_sure_enough_gets_more_photos(truth, recording, tmp_path):
    """One photo alone leaves height too open here; the photos taken are saved and added to."""
    out = tmp_path / "rig.json"
    result = calibrate("--camera", recording, "--views", 1, "--up-to", "7mm", "--out", out)
    assert result.exit_code == 0, result.output
    lines = result.stderr.splitlines()
    refused = [line for line in lines if line.startswith("Not sure enough yet, photo 2 is needed")]
    assert len(refused) == 1
    assert "Light could land" in refused[0]
    rig = load(out)
    assert len(rig.photos) > 1
    for height in (0.0, 10.0):
        assert over_platen(truth, rig.projector, height).worst < rig.stated.tolerance


@pytest.mark.proof
def test_a_recording_that_ends_before_a_set_is_sure_says_why(views, tmp_path):
    for k in range(4):
        cv2.imwrite(str(tmp_path / f"view-{k:02d}.jpg"), views[0])
    result = calibrate(
        *("--camera", tmp_path / "view-%02d.jpg", "--views", 1),
        *("--tolerance", "0.3mm", "--out", tmp_path / "rig.json"),
    )
    assert isinstance(result.exception, Refusal)
    assert str(result.exception).startswith("Light could land")
    assert "The photos taken are saved in" in result.stderr
    assert [path.name for path in tmp_path.glob("rig-photos/*/*")] == ["flat-1.png"]


def test_a_recording_that_ends_too_soon_keeps_what_was_taken(views, tmp_path):
    for k in range(4):
        cv2.imwrite(str(tmp_path / f"view-{k:02d}.jpg"), views[0])
    out = tmp_path / "rig.json"
    result = calibrate("--camera", tmp_path / "view-%02d.jpg", "--out", out)
    assert isinstance(result.exception, Refusal)
    assert str(result.exception).startswith("view-%02d.jpg ends before photo 2 of 3")
    assert not out.exists()
    (saved,) = tmp_path.glob("rig-photos/*/*")
    assert saved.name == "flat-1.png"
    # The very picture: PNG holds every level of it.
    assert np.array_equal(cv2.imread(str(saved)), cv2.imread(str(tmp_path / "view-00.jpg")))


class Capture:
    """A camera as OpenCV hands it out; brings `pictures`, None where one is missed."""

    def __init__(self, pictures, opened=True):
        self.pictures, self.opened, self.released = list(pictures), opened, False

    def isOpened(self):  # noqa: N802, OpenCV's name
        return self.opened

    def set(self, *_):
        return True

    def grab(self):
        return True

    def read(self):
        picture = self.pictures.pop(0) if self.pictures else None
        if isinstance(picture, BaseException):
            raise picture
        return picture is not None, picture

    def release(self):
        self.released = True


@pytest.fixture
def camera(monkeypatch):
    """Put a camera in the place of the system's."""

    def plug(capture):
        monkeypatch.setattr(source.cv2, "VideoCapture", lambda *_: capture)
        clock = iter(range(10_000))  # a look every third of a second
        monkeypatch.setattr(source.time, "monotonic", lambda: next(clock) / 3)
        return capture

    return plug


def test_ctrl_c_leaves_whole_photos_and_no_rig(views, tmp_path, camera):
    plugged = camera(Capture([*[views[0]] * 4, KeyboardInterrupt()]))
    result = calibrate("--camera", "0", "--out", tmp_path / "rig.json")
    assert result.exit_code == 130
    assert "Ended before there was a rig; the photos taken are saved in" in result.stderr
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert [path.name for path in files] == ["flat-1.png"]
    assert cv2.imread(str(files[0])).shape == views[0].shape
    assert plugged.released


def test_a_camera_that_cannot_be_opened_is_refused(tmp_path, camera):
    camera(Capture([], opened=False))
    result = calibrate("--camera", "3", "--out", tmp_path / "rig.json")
    assert isinstance(result.exception, Refusal)
    assert str(result.exception).startswith("Camera 3 cannot be opened: plug it in")
    assert list(tmp_path.iterdir()) == []


def test_a_camera_unplugged_on_the_way_is_refused(views, tmp_path, camera):
    plugged = camera(Capture([views[0], None, *[views[0]] * 3]))  # one missed picture is nothing
    result = calibrate("--camera", "0", "--out", tmp_path / "rig.json")
    assert isinstance(result.exception, Refusal)
    assert str(result.exception).startswith("Camera 0 brings no pictures: plug it in again")
    assert "Photo 1 is taken" in result.stderr
    assert plugged.released


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ((), "Name the photos to calibrate from, or a camera"),
        (("--camera", "nowhere.mp4"), "There is no camera or recording “nowhere.mp4”"),
        (("--camera", __file__), "cannot be played"),
        (("--camera", "0", "a.jpg"), "Name photos or a camera, not both"),
        (("--camera", "0", "--views", "0"), "0 views cannot be taken"),
        (("--camera", "0", "--raised", "2mm"), "A board of 2 mm is too low"),
        (("a.jpg", "--display", "2"), "--views and --display go with --camera"),
        (("--raised", "10mm"), "No photo follows --raised 10mm"),
    ],
)
def test_what_cannot_be_meant_is_refused(options, sentence, tmp_path, camera, views):
    if "0" in options[:2]:
        camera(Capture([views[0]]))
    result = calibrate(*options, "--out", tmp_path / "rig.json")
    assert isinstance(result.exception, Refusal), result.output
    assert sentence in str(result.exception)
    assert list(tmp_path.iterdir()) == []


def test_a_display_that_is_not_there_is_refused(tmp_path, camera, views):
    camera(Capture([views[0]]))
    result = calibrate("--camera", "0", "--display", "7", "--out", tmp_path / "rig.json")
    assert isinstance(result.exception, Refusal)
    assert "There is no display 7" in str(result.exception)


SMALL = Screen((64, 36))
FRAME = np.full((36, 64, 3), 80, np.uint8)


def test_work_goes_on_beside_the_lit_pattern():
    main = threading.get_ident()

    def work(stopped):
        assert not stopped()
        return threading.get_ident()

    assert run_while_shown(work, FRAME, SMALL) != main


def test_what_goes_wrong_beside_the_window_is_handed_on():
    def work(_):
        raise Refusal("The camera is gone.")

    with pytest.raises(Refusal, match="The camera is gone"):
        run_while_shown(work, FRAME, SMALL)


def test_closing_the_window_ends_the_work():
    import pygame

    ended = threading.Event()

    def work(stopped):
        pygame.event.post(pygame.event.Event(pygame.QUIT))
        for _ in range(1000):
            if stopped():
                ended.set()
                raise KeyboardInterrupt
            threading.Event().wait(0.01)

    with pytest.raises(KeyboardInterrupt):
        run_while_shown(work, FRAME, SMALL)
    assert ended.is_set()


def test_progress_on_a_terminal_is_one_line_kept_up_to_date(monkeypatch):
    """Lines that come and go are erased; those that tell of a photo stay."""
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    written = io.StringIO()
    monkeypatch.setattr("sys.stderr", written)
    with calibrate_camera._Teller() as tell:
        tell(take.CaptureProgress(1, 3, 0.0, "Too dark."))
        tell(take.CaptureProgress(1, 3, 0.0, "Good: hold the camera still."))
        tell(take.CaptureProgress(1, 3, 0.0, "Photo 1 is taken.", Path("flat-1.png")))
    text = written.getvalue()
    assert "\x1b[2K" in text  # ECMA-48, erase in line
    assert "\a" in text
    assert "Photo 1 is taken. Saved as flat-1.png\n" in text


def test_numbered_pictures_play_two_a_second(tmp_path, views):
    for k in range(2):
        cv2.imwrite(str(tmp_path / f"{k}.png"), views[0][:100, :120])
    with open_source(str(tmp_path / "%d.png")) as pictures:
        times = [pictures.read().at, pictures.read().at]
        assert pictures.read() is None
    assert times[1] - times[0] == 0.5
