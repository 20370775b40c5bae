"""Photos taken from a live camera: when, in which order, and when none is."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from calibration.detect.observe import observe
from calibration.photo.read import Photo
from calibration.refusal import Refusal
from calibration.targets.pattern import Pattern
from chalkbeam.setup.camera.take import CaptureProgress, Wanted, lift, take_photos
from tests.support import live_camera
from tests.support.live_camera import PLACES, SPACER, Reel


def story(views, truth, cards):
    """Return pictures as an operator would bring them about, good ones and bad."""
    still = {name: [live_camera.noisy(image, k) for k in range(4)] for name, image in views.items()}
    front = views["front"]
    return [
        live_camera.dark(front),
        live_camera.zoomed(front, 0.45),
        live_camera.smeared(front, 13),
        live_camera.covered(front, truth, 0, cards[3]),
        *(live_camera.shifted(front, 30 - 10 * k, 0) for k in range(3)),
        *still["front"],
        front,
        *still["left"],
        live_camera.smeared(views["right"], 13),
        *still["right"],
        *[views["right"]] * 5,
        *[np.full_like(front, 60)] * 2,
        *still["spacer"],
    ]


@pytest.mark.proof
def test_photos_are_taken_from_three_sides_and_on_the_spacer(views, truth, cards):
    told: list[CaptureProgress] = []
    saved = {}

    def save(name, image):
        saved[name] = image
        return name

    wanted = Wanted(truth.face, truth.projector.view.size, 3, SPACER)
    photos = take_photos(Reel(story(views, truth, cards)), wanted, save, told.append)
    assert [(str(s.path), s.raised) for s in photos] == [
        ("flat-1", 0.0),
        ("flat-2", 0.0),
        ("flat-3", 0.0),
        ("raised-10mm", SPACER),
    ]
    for name, place in zip(saved, PLACES, strict=True):  # each photo shows what it should
        assert np.abs(saved[name].astype(int) - views[place]).mean() < 3
    said = " ".join(progress.sentence for progress in told)
    steps = [
        "Too dark", "closer", "Blurred", "back-right card", "hold the camera still",
        "Photo 1 is taken", "Next from another side", "Photo 2 is taken", "Photo 3 is taken",
        "lay the flat board of 10 mm", "No cards", "Photo 4 is taken",
    ]  # fmt: skip
    at = 0
    for step in steps:
        at = said.index(step, at)
    # Nothing is said to be taken before it is saved.
    assert [str(p.saved) for p in told if p.saved] == list(saved)


@pytest.mark.slow
def test_the_light_tells_a_spacer_from_the_bare_platen(views, truth, cards):
    pattern = Pattern(truth.projector.view.size)
    front, right, raised = (
        observe(Photo(name, views[name], "test"), cards, pattern)
        for name in ("front", "right", "spacer")
    )
    x, y, z = truth.projector.view.position
    expected = (SPACER + truth.spacer_error) * math.hypot(x, y) / z  # in the platen's middle
    assert lift(front, right, cards) < 0.06 * SPACER
    assert lift(front, raised, cards) == pytest.approx(expected, rel=0.25)


def taken(reel, truth, **options):
    wanted = Wanted(truth.face, truth.projector.view.size, **options)
    return take_photos(reel, wanted, lambda name, image: name, lambda progress: None)


def test_what_no_advice_can_mend_is_refused(views, truth):
    front = views["front"]
    with pytest.raises(Refusal, match=r"too few to read the cards: set it to 1920 x 1080"):
        taken(Reel([cv2.resize(front, (600, 450))]), truth)
    grey = np.full_like(front, 60)
    with pytest.raises(Refusal, match=r"No card was seen for 90 seconds.*lay the four printed"):
        taken(Reel([grey] * 8, step=20.0), truth)
    with pytest.raises(Refusal, match=r"ends before photo 2 of 3 .*Next from another side"):
        taken(Reel([front] * 6), truth)
    with pytest.raises(Refusal, match="too low to be told from the bare platen"):
        taken(Reel([front]), truth, spacer=3.0)


@pytest.mark.proof
def test_a_thorough_look_says_why_no_photo_is_taken(truth, cards):
    """Without the pattern the cards look fine, yet nothing is taken and the cause is told."""
    image = truth.photo(0, np.zeros((1080, 1920, 3), np.uint8))
    with pytest.raises(Refusal, match="No pattern is seen on the platen in this view"):
        taken(Reel([image] * 5), truth)
    mirrored = np.ascontiguousarray(image[:, ::-1])
    with pytest.raises(Refusal, match="This view is mirrored left to right"):
        taken(Reel([mirrored] * 3, step=1.1), truth)


def test_an_operator_who_stops_is_obeyed(views, truth):
    wanted = Wanted(truth.face, truth.projector.view.size)
    with pytest.raises(KeyboardInterrupt):
        take_photos(Reel([views["front"]] * 9), wanted, lambda *_: None, print, lambda: True)
