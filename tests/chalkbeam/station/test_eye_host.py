"""A camera's pictures on their way into the window's thread."""

import threading
import time

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.eye.live_camera import LivePicture
from chalkbeam.station.eye_host import EyeInWindow, EyeSource
from overlay.window.inputs import Tick, Told

PICTURE = np.zeros((9, 16, 3), np.uint8)


class Camera:
    """Brings pictures while it is plugged in."""

    words = ""

    def __init__(self):
        self.plugged, self.lights = True, []

    def lit(self, frame, at):
        self.lights.append(frame)

    def read(self):
        if not self.plugged:
            raise Refusal("Camera 0 brings no pictures.")
        return LivePicture(PICTURE, time.monotonic())


class Eye:
    """Keeps what it is told."""

    def __init__(self):
        self.told, self.shown_frames = [], []

    def look(self, picture, at):
        self.told.append("picture")

    def failed(self, why, at):
        self.told.append(why)

    def back(self):
        self.told.append("back")

    def notice(self, at):
        self.told.append("notice")

    def frame(self, scene):
        return scene()

    def shown(self, frame, at):
        self.shown_frames.append(frame)


@pytest.fixture
def hosted():
    camera, eye, inputs, came = Camera(), Eye(), [], threading.Event()
    host = EyeInWindow(EyeSource(camera, lambda controller, post: eye))

    def post(happened):
        inputs.append(happened)
        came.set()

    host.listen(post)
    host.begin(None)
    yield host, camera, eye, inputs, came
    host.close()


def test_one_picture_is_on_its_way_at_a_time(hosted):
    host, _, eye, inputs, came = hosted
    assert came.wait(5.0)
    time.sleep(0.05)
    assert len(inputs) == 1  # the next one waits until this one is taken
    came.clear()
    assert host.take(inputs[0])
    assert eye.told == ["picture"]
    assert came.wait(5.0)


def test_a_camera_that_fails_and_comes_back_is_told_in_order(hosted):
    host, _, eye, _, _ = hosted
    picture = Told(LivePicture(PICTURE, 1.0))
    for happened in (picture, Told(Refusal("gone")), Told(Refusal("gone")), picture, picture):
        assert host.take(happened)
    assert eye.told == ["picture", "gone", "gone", "back", "picture", "picture"]


def test_other_inputs_are_left_to_the_station(hosted):
    host, _, eye, _, _ = hosted
    assert not host.take(Tick(1.0))
    assert not host.take(Told("words"))
    assert eye.told == []


def test_eye_and_camera_hear_what_is_lit(hosted):
    host, camera, eye, _, _ = hosted
    frame = host.frame(lambda: PICTURE)
    host.shown()
    assert camera.lights[-1] is frame is eye.shown_frames[-1]
