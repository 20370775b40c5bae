"""The operator's window: as large as the operator makes it, and never dark while it waits."""

import pytest

from chalkbeam.station import display_picture, display_window
from chalkbeam.station.display import GettingReady, display_of
from chalkbeam.station.display_picture import SIZE, draw
from overlay.marks import Text
from overlay.window import run as window
from overlay.window.inputs import Resized, Told
from tests.support.crew_order import open_run


class Served:
    """The window's side of the pipe, with the test in place of what opens windows."""

    def __init__(self, monkeypatch):
        monkeypatch.setattr(window, "run", self.run)
        display_window._serve(None, None)

    def run(self, state, screen, *, update, view, listen, **others):
        self.state, self.screen, self.update, self.view = state, screen, update, view

    def told(self, *happened):
        for each in happened:
            self.state = self.update(self.state, each)
        return self.view(self.state)


@pytest.fixture
def served(monkeypatch):
    monkeypatch.setattr(display_window, "told_over", lambda connection: None)
    return Served(monkeypatch)


@pytest.fixture
def display(tmp_path):
    station = open_run(tmp_path)
    return display_of(station.view(), station.state)


def test_what_is_got_ready_is_shown_from_the_first_picture_on(served, display):
    first = served.view(served.state)
    assert first.any()
    frames = [served.told(Told(GettingReady("regatta", done, 59))) for done in (0, 37, 58)]
    for one, other in zip([first, *frames], [*frames, draw(display)], strict=True):
        assert (one != other).any()
    assert (served.told(Told(display)) == draw(display)).all()


def test_how_far_it_is_stands_there_in_words():
    marks = display_picture._getting_ready(GettingReady("regatta", 37, 59))
    words = [mark.text for mark in marks if isinstance(mark, Text)]
    assert words == ["getting ready …", "regatta", "37 of 59 pieces placed"]


def test_the_window_may_be_made_larger_and_is_drawn_anew(served, display):
    assert served.screen.resizable
    usual = served.told(Told(display))
    assert usual.shape == (SIZE[1], SIZE[0], 3)
    larger = served.told(Resized((2560, 1440)))
    assert larger.shape == (1440, 2560, 3)
    assert (larger == draw(display, (2560, 1440))).all()
    # Drawn, not scaled up: what is twice as large is not the same for each two pixels.
    blocks = larger.reshape(720, 2, 1280, 2, 3)
    assert (blocks[:, 0] != blocks[:, 1]).mean() > 0.001


@pytest.mark.parametrize("size", [(1600, 720), (1280, 1000), (500, 700), (40, 30), (9, 9), (1, 1)])
def test_the_page_is_as_large_as_fits_and_in_the_middle(display, size):
    for shown in (display, GettingReady("regatta", 1, 2)):
        picture = draw(shown, size)
        assert picture.shape == (size[1], size[0], 3)
        wide, high = (round(min(size[0] / 16, size[1] / 9) * side) for side in (16, 9))
        left, top = (size[0] - wide) // 2, (size[1] - high) // 2
        picture[top : top + max(1, high), left : left + max(1, wide)] = 0
        assert not picture.any()
