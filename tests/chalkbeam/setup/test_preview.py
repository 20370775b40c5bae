"""What the operator sees of the camera: upright, never mirrored, with what is lacking."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.targets.cards import layout
from chalkbeam.setup.camera.preview import SIZE, Preview, drawn, reduced
from chalkbeam.setup.camera.quick_look import quick_look
from chalkbeam.setup.camera.take import CaptureProgress
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
    for good, colour in ((True, (110, 220, 120)), (False, (60, 190, 255))):
        picture = drawn(view, good)
        x, y = view.outline[:2].mean(axis=0).round().astype(int)  # of the front edge
        near = picture[y - 2 : y + 3, x].astype(int)
        assert np.abs(near - colour).sum(axis=1).min() < 30


def test_pictures_come_no_faster_than_they_are_looked_at_but_a_photo_is_always_told(front):
    now = [0.0]
    preview = Preview(lambda: now[0])
    looking = CaptureProgress(1, 3, 0.0, "Too far.", image=front, seen=seen(front))
    first = preview.jpeg(looking)
    size = cv2.imdecode(np.frombuffer(first, np.uint8), cv2.IMREAD_COLOR).shape[1::-1]
    assert size[0] <= SIZE[0]
    assert size[1] <= SIZE[1]
    assert preview.jpeg(looking) is None
    assert preview.jpeg(replace(looking, saved=Path("flat-1.png"))) is not None
    assert preview.jpeg(CaptureProgress(2, 3, 0.0, "Not yet.", refused=True)) is not None
    now[0] = 1.0
    assert preview.jpeg(looking) is not None
