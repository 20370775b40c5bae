import math

import cv2
import numpy as np
import pytest

from calibration.detect.measure import CLEARANCE
from calibration.detect.observe import observe
from calibration.geometry import PlatenFace
from calibration.photo.read import Photo
from calibration.refusal import Refusal
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern
from tests.support.corner_errors import card_errors, pattern_errors, rms
from tests.support.render_photos import Bench


def watch(bench, **hooks):
    return observe(bench.photo(**hooks), layout(bench.face), Pattern(bench.projector_size))


@pytest.mark.proof
@pytest.mark.parametrize(
    "bench",
    [
        Bench(),
        Bench(size=(1920, 1080), tilt=math.radians(45), azimuth=0.2, k1=-0.2, seed=1),
        Bench(crosstalk=0.25, cover=(0.5, 0.7, 0.8), azimuth=2.0, tilt=0.35, roll=1.2, seed=2),
        Bench(ambient=2.5, azimuth=0.7, seed=4),
        Bench(grey=0.7, seed=5),
    ],
    ids=["plain", "webcam at 45 degrees", "cross-talk on cream", "bright room", "pale"],
)
def test_corners_are_found_to_a_few_hundredths_of_a_pixel(bench):
    seen = watch(bench)
    every = [(card.name, k) for card in bench.cards for k in range(9)]
    found = [(corner.board, corner.index) for corner in seen.cards]
    assert found == [corner for corner in every if corner in found]  # in order
    assert len(found) >= 34
    assert len(seen.pattern) > 150
    assert rms(card_errors(bench, seen)) < 0.06
    assert np.abs(card_errors(bench, seen).mean(axis=0)).max() < 0.02  # no half pixel anywhere
    assert rms(pattern_errors(bench, seen)) < 0.03
    assert np.abs(pattern_errors(bench, seen)).max() < 0.2
    assert np.abs(pattern_errors(bench, seen).mean(axis=0)).max() < 0.01


@pytest.mark.proof
def test_neither_lens_nor_tone_curve_pulls_at_the_cards():
    """A barrel lens bends each patch towards the middle; a tone curve widens bright modules."""
    white = np.full((1080, 1920, 3), 255, np.uint8)
    bench = Bench(k1=-0.3, noise=0.0, quality=98, supersample=3, light=white)
    seen = observe(bench.photo(), layout(bench.face), None)
    places = {card.name: card.corners() for card in bench.cards}
    truth = bench.camera_pixels(np.array([places[c.board][c.index] for c in seen.cards]))
    off = np.array([corner.pixel for corner in seen.cards]) - truth
    outward = (truth - bench.centre) / np.linalg.norm(truth - bench.centre, axis=1)[:, None]
    assert abs(float((off * outward).sum(axis=1).mean())) < 0.01
    assert rms(off) < 0.03  # each card's own homography and plain gain: 0.08


@pytest.mark.proof
def test_a_photo_without_colour_still_serves():
    bench = Bench(grey=1.0)
    seen = watch(bench)
    assert len(seen.cards) == 36
    assert rms(card_errors(bench, seen)) < 0.25
    assert rms(pattern_errors(bench, seen)) < 0.03


@pytest.mark.proof
def test_pattern_corners_keep_clear_of_cards_and_edges_and_are_in_order():
    bench = Bench()
    seen = watch(bench)
    indices = [corner.index for corner in seen.pattern]
    assert indices == sorted(set(indices))
    places = bench.platen_of_projector(Pattern(bench.projector_size).pixels(indices))
    slack = 2.0  # mm: what a single photo tells of the layout is not exact
    assert (np.abs(places[:, 0]) < bench.face.width / 2 - CLEARANCE + slack).all()
    assert (np.abs(places[:, 1]) < bench.face.depth / 2 - CLEARANCE + slack).all()
    for card in bench.cards:
        away = np.abs(places - card.centre).max(axis=1)
        assert away.min() > card.size / 2 + CLEARANCE - slack


@pytest.mark.proof
@pytest.mark.parametrize("size", [(1280, 720), (1024, 768), (3840, 2160), (854, 480)], ids=str)
def test_other_projectors(size):
    bench = Bench(projector_size=size)
    seen = watch(bench)
    assert len(seen.cards) == 36
    assert len(seen.pattern) > 120
    assert rms(pattern_errors(bench, seen)) < 0.03


@pytest.mark.proof
@pytest.mark.parametrize(
    ("face", "fine"),
    [
        (PlatenFace(127, 127), False),
        (PlatenFace(127, 127), True),
        (PlatenFace(89, 165), False),
        (PlatenFace(229, 305), False),
    ],
    ids=str,
)
def test_small_platens_and_the_fine_pattern(face, fine):
    bench = Bench(face=face, fine=fine)
    seen = watch(bench)
    assert len(seen.cards) >= 32
    assert len(seen.pattern) > 80
    assert rms(card_errors(bench, seen)) < 0.06
    assert rms(pattern_errors(bench, seen)) < 0.03


@pytest.mark.proof
def test_a_sleeve_platen_lengthways():
    bench = Bench(face=PlatenFace(102, 406), azimuth=0.2)
    seen = watch(bench)
    assert len(seen.cards) >= 32
    assert len(seen.pattern) > 40


def test_opencv_s_own_detector_sees_the_same_corners():
    # Reference: cv2.aruco.CharucoDetector, plain light, no cross-talk.
    bench = Bench(light=np.full((1080, 1920, 3), 255, np.uint8), crosstalk=0.0)
    photo = bench.photo()
    seen = observe(photo, layout(bench.face), None)
    for card in bench.cards:
        charuco = card.charuco
        # That class wants every white square filled: give the numbered one an unused id.
        ids = np.array([29 if k is None else k for k in charuco.ids], np.int32)
        reference = cv2.aruco.CharucoBoard((4, 4), 8.0, 6.0, charuco.family.dictionary, ids)
        detector = cv2.aruco.CharucoDetector(reference)
        corners, indices, _, _ = detector.detectBoard(photo.image)
        theirs = dict(zip(np.ravel(indices), np.reshape(corners, (-1, 2)), strict=True))
        ours = {c.index: c.pixel for c in seen.cards if c.board == card.name}
        both = sorted(set(theirs) & set(ours))
        assert len(both) >= 6
        apart = [math.dist(theirs[k], ours[k]) for k in both]
        assert np.median(apart) < 0.3


def test_a_photo_of_cards_only_needs_no_pattern():
    bench = Bench(light=np.full((1080, 1920, 3), 255, np.uint8))
    seen = observe(bench.photo(), layout(bench.face), None, raised=10.0)
    assert len(seen.cards) == 36
    assert seen.pattern == ()
    assert seen.raised == 10.0
    assert seen.size == bench.size


@pytest.mark.proof
def test_cards_and_pattern_in_two_photos_from_one_place():
    plain = Bench(light=np.full((1080, 1920, 3), 255, np.uint8), ambient=0.4)
    lit = Bench(ambient=0.02)
    pattern = Pattern(plain.projector_size)
    seen = observe(plain.photo(), layout(plain.face), pattern, pattern_photo=lit.photo())
    assert rms(card_errors(plain, seen)) < 0.06
    assert rms(pattern_errors(lit, seen)) < 0.03
    other = Photo("small.jpg", np.zeros((600, 800, 3), np.uint8), "bench")
    with pytest.raises(Refusal, match="differ in size"):
        observe(plain.photo(), layout(plain.face), pattern, pattern_photo=other)


@pytest.mark.proof
def test_two_photos_between_which_the_camera_moved_are_refused():
    plain = Bench(light=np.full((1080, 1920, 3), 255, np.uint8), ambient=0.4).photo()
    cards, pattern = layout(Bench().face), Pattern(Bench().projector_size)
    lit = Bench(ambient=0.02).photo().image

    def pair(image):
        return observe(plain, cards, pattern, pattern_photo=Photo("lit", image, "bench"))

    aside = np.roll(lit, 1, axis=1)  # a pixel is half a millimetre in the middle
    with pytest.raises(Refusal, match=r"moved between bench.jpg and lit \(by 0.[3-8] mm at the"):
        pair(aside)
    no_cards = lit // 3 + 20
    no_cards[:330] = no_cards[-330:] = 20
    with pytest.raises(Refusal, match="Too little of the cards is seen in lit"):
        pair(no_cards)


@pytest.mark.proof
def test_the_same_photo_upside_down_gives_the_same_corners():
    bench = Bench()
    photo = bench.photo()
    turned = Photo("turned", np.ascontiguousarray(photo.image[::-1, ::-1]), "bench")
    pattern = Pattern(bench.projector_size)
    straight, upside = (observe(p, layout(bench.face), pattern) for p in (photo, turned))
    assert straight == observe(photo, layout(bench.face), pattern)  # the same every time
    edge = np.array(bench.size) - 1
    for one, other in (
        (straight.cards, upside.cards),
        (straight.pattern, upside.pattern),
    ):
        first = {(c.board, c.index): np.array(c.pixel) for c in one}
        second = {(c.board, c.index): edge - c.pixel for c in other}
        both = set(first) & set(second)
        assert len(both) > 0.9 * len(first)
        assert max(np.abs(first[k] - second[k]).max() for k in both) < 0.1
