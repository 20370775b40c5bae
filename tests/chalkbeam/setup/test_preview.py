"""What the operator sees of the camera: upright, never mirrored, with what is lacking."""

import threading
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.targets.cards import layout
from chalkbeam.setup.camera import preview_window
from chalkbeam.setup.camera.preview import SIZE, draw, reduced
from chalkbeam.setup.camera.quick_look import quick_look
from chalkbeam.setup.camera.take import CaptureProgress
from overlay.window import child_process
from overlay.window.inputs import Closed, Key, Told
from tests.support import live_camera


@pytest.fixture(scope="module")
def front():
    return live_camera.watched_views()["front"]


def seen(image):
    face = live_camera.watched_rig().face
    return quick_look(image, layout(face), face)


def test_however_the_camera_is_held_away_is_up_and_right_is_right(front):
    flat = reduced(front, seen(front))
    assert flat.quarters == 0
    for quarters in (1, 2, 3):
        held = np.ascontiguousarray(np.rot90(front, -quarters))
        view = reduced(held, seen(held))
        assert view.quarters == quarters
        assert view.image.shape == flat.image.shape
        assert np.abs(view.image.astype(int) - flat.image).mean() < 2
        assert np.abs(view.outline - flat.outline).max() < 3
        for name, corners in flat.cards.items():
            assert np.abs(view.cards[name] - corners).max() < 3
    # Front left, front right, back right, back left as on the platen.
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = flat.outline
    assert x0 < x1
    assert x3 < x2
    assert max(y2, y3) < min(y0, y1)


def test_the_turn_stays_while_no_card_is_seen(front):
    blank = np.full_like(front, 60)
    assert reduced(blank, seen(blank), 2).quarters == 2


def test_lines_lie_where_the_cards_and_the_platen_are(front):
    view = reduced(front, seen(front))
    width = view.image.shape[1]
    left = (SIZE[0] - width) // 2
    for progress, colour in (
        (CaptureProgress(1, 4, 0.0, "Good: hold the camera still.", good=True), (110, 220, 120)),
        (CaptureProgress(1, 4, 0.0, "Too far: move the camera closer."), (60, 190, 255)),
    ):
        frame = draw(view, progress)
        assert frame.shape == (SIZE[1], SIZE[0], 3)
        middle = view.outline[:2].mean(axis=0)  # of the front edge
        x, y = round(middle[0] + left), round(middle[1] + 24)
        near = frame[y - 2 : y + 3, x].astype(int)
        assert np.abs(near - colour).sum(axis=1).min() < 30


@pytest.mark.parametrize(
    "progress",
    [
        CaptureProgress(
            1, 4, 0.0, "Blurred: hold the camera still, and let it focus on the cards."
        ),
        CaptureProgress(4, 4, 10.0, "Photo 4 is taken.", saved=Path("raised-10mm.png")),
        CaptureProgress(
            9, 9, 0.0, "Light could land 1.3 mm off: take one more photo. " * 8, refused=True
        ),
    ],
)
def test_words_stay_clear_of_the_picture_and_the_edges(front, progress):
    frame = draw(reduced(front, seen(front)), progress)
    assert frame[-20:].max() == 0
    assert frame[:, :8].max() == 0
    assert frame[:, -8:].max() == 0
    assert frame[SIZE[1] - 176 : SIZE[1] - 172].max() == 0  # below the picture
    words = frame[SIZE[1] - 170 :]
    assert words.max() > 200
    assert draw(None, progress)[: SIZE[1] - 180].max() == 0


def test_one_dot_for_each_photo_full_where_it_is_taken(front):
    def full(progress):
        frame = draw(None, progress)
        green = np.abs(frame.astype(int) - (110, 220, 120)).sum(axis=2) < 20
        return cv2.connectedComponents(green.astype(np.uint8))[0] - 1

    assert full(CaptureProgress(1, 4, 0.0, "Too dark.")) == 0
    assert full(CaptureProgress(3, 4, 0.0, "Too dark.")) == 2
    assert full(CaptureProgress(4, 4, 0.0, "Photo 4 is taken.", saved=Path("x"))) == 4


def test_the_window_is_sent_one_picture_at_a_time(front, monkeypatch):
    """The child's side on a thread, its window replaced by one that shows all it is sent."""
    pictures, ended = [], threading.Event()

    def run(state, screen, *, update, view, done, shown, listen):
        news, inbox = threading.Semaphore(0), []

        def post(happened):
            inbox.append(happened)
            news.release()

        listen(post)
        shown(state)
        while not done(state):
            assert news.acquire(timeout=20)
            state = update(state, inbox.pop(0))
            if view(state) is not None:
                pictures.append(view(state))
            shown(state)
            shown(state)  # as often as the mouse moves: one answer all the same
        ended.set()
        return state

    class Thread(threading.Thread):
        def __init__(self, target, args, daemon):
            super().__init__(target=target, args=args, daemon=daemon)

        def terminate(self):
            pytest.fail("it ends by itself")

    class Context:
        Process = Thread

        def Pipe(self):  # noqa: N802, the library's name
            here, there = child_process.multiprocessing.Pipe()
            there.close = lambda: None  # one process has both ends here
            return here, there

    monkeypatch.setattr(child_process.multiprocessing, "get_context", lambda _: Context())
    monkeypatch.setattr(preview_window.signal, "signal", lambda *_: None)
    monkeypatch.setattr("overlay.window.run.run", run)
    window = preview_window.PreviewWindow()
    taken = CaptureProgress(
        1, 2, 0.0, "Photo 1 is taken.", Path("x"), image=front, seen=seen(front)
    )
    window.show(taken)
    again = CaptureProgress(2, 2, 0.0, "Not yet.", refused=True)  # with the last picture behind it
    window.show(again)
    window.close()
    assert ended.wait(10)
    last = pictures[-1]
    assert len({id(picture) for picture in pictures}) <= 3
    assert last[100, SIZE[0] // 2].max() > 60
    window.show(taken)  # closed: nothing happens


def test_the_window_ends_by_escape_or_its_button():
    state = preview_window._State()
    frame = np.zeros((2, 2, 3), np.uint8)
    assert preview_window._updated(state, Told(frame)).frame is frame
    assert preview_window._updated(state, Key("escape")).over
    assert preview_window._updated(state, Closed()).over
    assert not preview_window._updated(state, Key("space")).over
