"""A live camera: what its driver holds, how late pictures come, and bursts in the right light."""

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.eye.camera import UNSEEN, BurstTaker, DelayTimer, Lag, banded, platen_cells
from chalkbeam.eye.flashes import BurstFrame
from chalkbeam.eye.live_camera import LiveCamera, hold
from chalkbeam.simulator.press.live import with_simulated_eye
from tests.support.rigs import make_rig

RNG = np.random.default_rng(3)


class Driver:
    """A camera's driver that honours some settings only."""

    def __init__(self, honours, manual=1.0, pictures=()):
        self.honours, self.manual, self.pictures = honours, manual, list(pictures)
        self.values = {cv2.CAP_PROP_AUTO_EXPOSURE: 3.0, cv2.CAP_PROP_EXPOSURE: 156.0,
                       cv2.CAP_PROP_AUTO_WB: 1.0}  # fmt: skip

    def set(self, prop, value):
        if prop not in self.honours:
            return False
        if prop == cv2.CAP_PROP_AUTO_EXPOSURE and value != self.manual:
            return False
        self.values[prop] = value
        return True

    def get(self, prop):
        return self.values.get(prop, 0.0)

    def read(self):
        picture = self.pictures.pop(0) if self.pictures else None
        return picture is not None, picture

    def release(self):
        self.released = True


BOTH = {cv2.CAP_PROP_AUTO_EXPOSURE, cv2.CAP_PROP_EXPOSURE, cv2.CAP_PROP_AUTO_WB}


@pytest.mark.parametrize("manual", [1.0, 0.25])
def test_what_the_driver_holds_is_read_back(manual):
    held = hold(Driver(BOTH, manual))
    assert held.exposure
    assert held.white_balance
    assert held.words == ""


def test_a_driver_that_holds_nothing_is_told():
    held = hold(Driver(set()))
    assert "exposure and white balance" in held.words


def test_a_camera_without_pictures_is_refused_in_one_sentence():
    with pytest.raises(Refusal, match="brings no pictures"):
        LiveCamera("Camera 0", lambda: Driver(BOTH), (160, 90))


def test_a_camera_that_was_unplugged_comes_back_and_is_held_again():
    plugged = [Driver(BOTH, pictures=[noisy(90)]), None, Driver(BOTH, pictures=[noisy(90)] * 2)]
    drivers = list(plugged)
    camera = LiveCamera("Camera 0", lambda: drivers.pop(0), (160, 90))
    with pytest.raises(Refusal, match="goes on by itself"):
        camera.read()
    assert plugged[0].released
    with pytest.raises(Refusal, match="cannot be opened"):
        camera.read()
    assert camera.read().image.shape == (90, 160, 3)
    assert camera.held.exposure
    assert plugged[2].values[cv2.CAP_PROP_AUTO_WB] == 0.0


def test_a_camera_of_another_size_is_refused():
    with pytest.raises(Refusal, match="160 x 90 and the rig's eye was fitted with 1280 x 720"):
        LiveCamera("Camera 0", lambda: Driver(BOTH, pictures=[noisy(90)]), (1280, 720))


def noisy(level):
    return np.clip(RNG.normal(level, 2.0, (90, 160, 3)), 0, 255).astype(np.uint8)


class Bench:
    """A projector and a camera whose pictures come late by a lag, some more, some less."""

    def __init__(self, lag, fps=30.0, jitter=0.0, exposed=1.0):
        self.lag, self.step, self.jitter = lag, 1 / fps, jitter
        self.exposed = exposed * self.step  # all the while, or less
        self.at, self.lights = 0.0, [(-10.0, "room")]

    def show(self, light):
        if self.lights[-1][1] != light:
            self.lights.append((self.at, light))

    def next(self):
        """Return which light the next picture shows (two while it changed), and when it came."""
        self.at += self.step
        end = self.at - self.lag - self.jitter * RNG.random()
        start = end - self.exposed
        during = [light for up, light in self.lights if up <= end]
        before = [light for up, light in self.lights if up <= start]
        return (before[-1], during[-1]), self.at


@pytest.mark.parametrize(("lag", "fps"), [(0.05, 30), (0.12, 30), (0.21, 15)])
def test_the_delay_is_measured_by_flashes_and_never_too_short(lag, fps):
    bench, timer = Bench(lag, fps), DelayTimer()
    for _ in range(400):
        bench.show(timer.white)
        timer.shown(bench.at)
        (one, other), at = bench.next()
        share = (one is True) / 2 + (other is True) / 2
        timer.take(noisy(40 + 80 * share), at)
        if timer.done:
            break
    assert timer.lag is not None
    exposed = lag + bench.step  # then a picture shows the new light alone
    assert exposed - 1e-6 <= timer.lag.late <= exposed + 2 * bench.step + 1e-6
    assert timer.lag.early <= lag


def test_a_camera_that_does_not_see_the_light_is_told():
    timer, at = DelayTimer(), 0.0
    while not timer.done and at < 20:
        timer.shown(at)
        at += 1 / 15
        timer.take(noisy(40), at)
    assert timer.trouble == UNSEEN


def test_the_light_is_looked_for_where_a_small_platen_lies():
    # A sleeve platen fills a tenth of the picture: a quarter of it never becomes brighter.
    rig = with_simulated_eye(make_rig(face=PlatenFace(127.0, 457.2, 15.0)))
    cells = platen_cells(rig)
    assert 0.02 < cells.mean() < 0.2
    left, right = np.flatnonzero(cells.any(axis=0))[[0, -1]]
    assert left > 0
    assert right < 63
    timer, at = DelayTimer(cells), 0.0
    while not timer.done and at < 20:
        timer.shown(at)
        at += 1 / 15
        lit = np.full((36, 64, 3), 40, np.uint8)
        lit[cells] += np.uint8(60 * timer.white)
        timer.take(lit, at)
    assert timer.trouble == ""
    assert timer.lag is not None


@pytest.mark.parametrize("jitter", [0.0, 0.02])
def test_each_picture_of_a_burst_shows_its_own_light_alone(jitter):
    names = ("dark", "white", "dim", "red", "green")
    frames = [BurstFrame(name, np.full((2, 2, 3), k, np.uint8)) for k, name in enumerate(names)]
    bench = Bench(0.1, jitter=jitter)
    taker = BurstTaker(frames, Lag(0.1, 0.1001 + jitter + bench.step, bench.step),
                       lambda one, other: False)  # fmt: skip
    shows = {}
    for _ in range(200):
        bench.show(int(taker.frame[0, 0, 0]))
        taker.shown(bench.at)
        lights, at = bench.next()
        picture = np.zeros((1, 1, 3), np.uint8)
        shows[id(picture)] = (lights, picture)
        taker.take(picture, at)
        if taker.whole:
            break
    assert taker.whole
    burst = taker.coming
    for k, name in enumerate(names):
        assert shows[id(burst.picture(name))][0] == (k, k)
    assert bench.at < 2.0


@pytest.mark.parametrize("lag", [0.04, 0.11, 0.117, 0.19])
@pytest.mark.parametrize(("exposed", "jitter"), [(0.1, 0.0), (0.5, 0.002), (1.0, 0.0), (1.0, 0.01)])
def test_a_burst_at_the_measured_delay_mixes_no_lights_and_takes_three_pictures_a_light(
    lag, exposed, jitter
):
    bench, timer = Bench(lag, 30.0, jitter, exposed), DelayTimer()
    while not timer.done:
        bench.show(timer.white)
        timer.shown(bench.at)
        lights, at = bench.next()
        timer.take(noisy(40 + 40 * sum(each is True for each in lights)), at)
    frames = [BurstFrame(f"{k}", np.full((2, 2, 3), k, np.uint8)) for k in range(12)]
    taker = BurstTaker(frames, timer.lag, lambda one, other: False)
    shows, began = {}, bench.at
    while not taker.whole:
        bench.show(int(taker.frame[0, 0, 0]))
        taker.shown(bench.at)
        lights, at = bench.next()
        picture = np.zeros((1, 1, 3), np.uint8)
        shows[id(picture)] = (lights, picture)
        taker.take(picture, at)
    for k in range(12):
        assert shows[id(taker.coming.picture(f"{k}"))][0] == (k, k)
    lights = len(frames) + 1
    if not jitter:
        assert bench.at - began <= lights * 3 * bench.step + lag + 2 * bench.step


def test_a_burst_in_which_something_moved_is_none():
    frames = [BurstFrame(name, np.zeros((2, 2, 3), np.uint8)) for name in ("dark", "white")]
    bench = Bench(0.05)
    taker = BurstTaker(frames, Lag(0.05, 0.1, bench.step), lambda one, other: True)
    for _ in range(60):
        taker.shown(bench.at)
        _, at = bench.next()
        taker.take(noisy(9), at)
    assert taker.stopped
    assert not taker.whole


def test_a_colour_wheel_shows_as_bands_and_noise_does_not():
    rows = np.arange(90)[:, None, None]
    phase = np.array([0.0, 2.1, 4.2])

    def picture(turn, strength):
        level = 120 * (1 + strength * np.sin(rows / 6 + phase + turn))
        return np.clip(RNG.normal(level, 2.0, (90, 160, 3)), 0, 255).astype(np.uint8)

    assert banded(picture(0.0, 0.15), picture(1.5, 0.15))
    assert not banded(picture(0.0, 0.0), picture(1.5, 0.0))
