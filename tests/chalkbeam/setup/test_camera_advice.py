"""What a picture of the live camera shows, and what the operator is told of it."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.photo.sharpness import edge_blur
from chalkbeam.setup.camera.advice import APART, Want, Watch, advise
from chalkbeam.setup.camera.quick_look import Exposure, QuickLook, movement, quick_look
from tests.support import live_camera


def look(image, truth, cards, watch=None):
    """Return the advice on a picture that has been at rest for long."""
    watch = watch or Watch(truth.face)
    now = quick_look(image, cards, truth.face, 10.0)
    before = quick_look(image, cards, truth.face, 5.0)
    return advise(now, watch.after(before).after(now))


def test_a_good_picture_is_taken(views, truth, cards):
    for image in views.values():
        assert look(image, truth, cards).take


@pytest.mark.parametrize(
    ("spoil", "want", "words"),
    [
        (live_camera.dark, Want.LIGHT, "Too dark"),
        (live_camera.bright, Want.LIGHT, "Too bright"),
        (lambda image: live_camera.smeared(image, 9), Want.SHARPNESS, "Blurred"),
        (lambda image: live_camera.smeared(image, 7), Want.SHARPNESS, "Blurred"),
        (lambda image: cv2.GaussianBlur(image, (0, 0), 2.5), Want.SHARPNESS, "Blurred"),
        (lambda image: np.full_like(image, 90), Want.CARDS, "No cards"),
        (lambda image: live_camera.zoomed(image, 0.45), Want.DISTANCE, "closer"),
        (lambda image: live_camera.zoomed(image, 1.7), Want.DISTANCE, "farther"),
        # Seen from the front, upright: what lies away from the operator is at the top.
        (lambda image: live_camera.shifted(image, 0, -220), Want.AIM, "away from you"),
        (lambda image: live_camera.shifted(image, 0, 140), Want.AIM, "towards you"),
        (lambda image: live_camera.shifted(image, -350, 0), Want.AIM, "to your left"),
        (lambda image: live_camera.shifted(image, 350, 0), Want.AIM, "to your right"),
    ],
)
def test_each_fault_has_its_advice(views, truth, cards, spoil, want, words):
    advice = look(spoil(views["front"]), truth, cards)
    assert advice.want is want
    assert words in advice.sentence


def test_left_is_the_operators_left_however_the_camera_is_held(views, truth, cards):
    # From the right the camera is held a quarter turn: its picture's sides are others.
    image = views["right"]
    corners = truth.camera_from_platen(2, truth.face.outline())
    left = truth.camera_from_platen(2, [[-200.0, 0.0]])[0] - corners.mean(axis=0)
    push = 330 * left / np.linalg.norm(left)
    advice = look(live_camera.shifted(image, *push), truth, cards)
    assert advice.want is Want.AIM
    assert "to your left" in advice.sentence


def test_a_covered_card_is_named(views, truth, cards):
    for card in cards:
        image = live_camera.covered(views["front"], truth, 0, card)
        advice = look(image, truth, cards)
        assert advice.want is Want.CARDS
        assert f"The {card.name} card" in advice.sentence


def test_directions_are_the_cameras_true_ones(views, truth, cards):
    # Source of the truth: where the virtual camera stands.
    for shot, image in zip(truth.photos, views.values(), strict=True):
        true = np.array(shot.view.position) / np.linalg.norm(shot.view.position)
        seen = quick_look(image, cards, truth.face).towards
        assert math.acos(np.dot(true, seen)) < math.radians(4)


def test_blur_is_measured_in_modules(cards):
    """A Gaussian of known deviation over a drawn card is what comes out."""
    charuco = cards[0].charuco
    module = 12
    drawn = charuco.raster.repeat(module, 0).repeat(module, 1)
    drawn = np.pad(drawn, 40, constant_values=255)
    matrix = np.array([[module, 0, 39.5], [0, module, 39.5], [0, 0, 1.0]])
    for deviation in (0.2, 0.3, 0.4):
        view = cv2.GaussianBlur(drawn, (0, 0), deviation * module)
        assert edge_blur(view, matrix, charuco) == pytest.approx(deviation, rel=0.1)
        oneway = cv2.GaussianBlur(drawn, (0, 0), sigmaX=deviation * module, sigmaY=0.1)
        assert edge_blur(oneway, matrix, charuco) == pytest.approx(deviation, rel=0.1)
    assert edge_blur(np.full_like(drawn, 128), matrix, charuco) == math.inf


def seen_from(x, y, at=0.0, shift=0.0):
    """Return a flawless quick look from a direction, without any picture."""
    towards = np.array([x, y, 1.0]) / math.sqrt(x * x + y * y + 1)
    ring = np.array([[100.0, 900.0], [700, 900], [700, 100], [100, 100]]) + shift
    corners = dict.fromkeys(("front-left", "front-right", "back-left", "back-right"), ring)
    return QuickLook(at, (1000, 1000), Exposure.FAIR, corners, 4.0, 0.2, ring, tuple(towards))


FACE = PlatenFace(400, 500)


def test_the_next_photo_comes_from_another_side():
    front = seen_from(0.0, -0.3)
    watch = Watch(FACE).with_photo(front.towards)
    assert advise(front, watch.after(front)).want is Want.DIRECTION
    near = seen_from(0.0, -0.3 + math.tan(APART) / 3)
    assert advise(near, watch.after(near)).want is Want.DIRECTION
    left = seen_from(-0.5, 0.0)
    assert advise(left, watch.after(left)).want is Want.STILLNESS
    both = watch.with_photo(left.towards)
    assert "to your right" in advise(front, both.after(front)).sentence
    flat = seen_from(1.6, 0.0)
    assert "higher" in advise(flat, both.after(flat)).sentence


def test_a_narrow_platen_is_turned_along_the_picture():
    sleeve = PlatenFace(100, 400)
    across = np.array([[560.0, 690.0], [720, 690], [720, 50], [560, 50]])
    now = replace(seen_from(0, 0), size=(1280, 720), module=2.1, outline=across)
    advice = advise(now, Watch(sleeve).after(now))
    assert "turn the camera by a quarter" in advice.sentence
    far = replace(now, outline=across / 2 + 200)
    assert "closer, until" in advise(far, Watch(sleeve).after(far)).sentence


def test_a_moving_camera_is_asked_to_hold_still():
    watch = Watch(FACE)
    for k in range(20):  # 5 px every tenth of a second
        now = seen_from(0, 0, 0.1 * k, 5.0 * k)
        watch = watch.after(now)
        assert advise(now, watch).want is Want.STILLNESS
    for k in range(20, 28):
        watch = watch.after(now := seen_from(0, 0, 0.1 * k, 5.0 * 19))
    assert advise(now, watch).take
    assert movement(seen_from(0, 0), seen_from(0, 0, shift=3.0)) == pytest.approx(math.hypot(3, 3))


def test_no_photo_is_asked_for_twice_at_rest():
    now = seen_from(0, 0, 9.0)
    watch = Watch(FACE).after(seen_from(0, 0, 1.0)).after(now).with_photo(None).after(now)
    assert advise(now, watch).want is Want.STILLNESS
