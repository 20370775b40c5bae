"""A window that is up before what it shows is ready: leaving early, and a display that goes."""

import threading
import time

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.station import run_when_ready
from overlay.window.displays import Screen
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Key
from tests.support.until import PATIENCE

SIZE = (64, 36)
WAITING = np.full((36, 64, 3), 80, np.uint8)


class Opened:
    """Opens a window that collects what it is told; `post` reaches it from any thread."""

    def __init__(self):
        self.post, self.thread = None, None

    def run(self, prepare, shown=lambda state: None):
        def listen(post):
            self.post = post

        def prepared():
            self.thread = threading.current_thread()
            return prepare()

        return run_when_ready.run_when_ready(
            prepared,
            Screen(SIZE, title="light"),
            waiting=WAITING,
            update=lambda told, happened: (*told, happened),
            view=lambda told: None,
            done=lambda told: any(isinstance(each, Closed) for each in told),
            shown=shown,
            listen=listen,
        )


@pytest.fixture
def window():
    return Opened()


@pytest.mark.parametrize("leaving", [Key("escape"), Closed()])
def test_what_is_prepared_is_not_begun_once_the_operator_has_left(window, leaving):
    begun, left = [], threading.Event()

    def prepare():
        window.post(leaving)
        assert left.wait(PATIENCE)
        return lambda: begun.append("begun") or ()

    assert window.run(prepare) is None
    left.set()
    window.thread.join(PATIENCE)
    assert not window.thread.is_alive()
    assert begun == []


def test_the_work_begins_in_the_windows_own_thread(window):
    def prepare():
        assert threading.current_thread() is not threading.main_thread()
        return begin

    def begin():
        window.post(Closed())
        return (threading.current_thread(),)

    assert window.run(prepare)[0] is threading.main_thread()


def test_what_cannot_be_begun_is_raised_once_the_window_is_closed(window):
    def begin():
        raise Refusal("The record cannot be written.")

    with pytest.raises(Refusal, match="record cannot be written"):
        window.run(lambda: begin)
    with pytest.raises(Refusal, match="record cannot be written"):
        window.run(begin)


LOST, BACK = DisplayLost("The projector is gone."), DisplayBack()


@pytest.mark.parametrize("told", [(LOST,), (LOST, BACK)])
def test_a_display_that_goes_while_nothing_is_ready_is_told_once_something_is(window, told):
    def prepare():
        for each in told:
            window.post(each)
        return begin

    def begin():
        window.post(Closed())
        return ("begun",)

    state = window.run(prepare)
    assert state[:-1] == ("begun", told[-1])


def test_a_key_typed_while_the_work_begins_does_nothing(window, monkeypatch):
    """Also where what follows the first picture takes longer than keys need to settle."""
    import pygame

    real, passed = time.monotonic, [0.0]
    monkeypatch.setattr(time, "monotonic", lambda: real() + passed[0])
    monkeypatch.setattr(run_when_ready, "SETTLING", 30.0)

    def begin():
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pygame.K_SPACE, mod=0, unicode=""))
        return ()

    def shown(told):
        if not told:
            passed[0] += 60.0
            window.post(Closed())

    told = window.run(lambda: begin, shown)
    assert [type(each) for each in told] == [Closed]
