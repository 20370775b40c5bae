"""Every way in which a photo can be bad: used correctly, or refused with one sentence."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.detect.cards import find_cards
from calibration.detect.observe import observe
from calibration.geometry import PlatenFace
from calibration.photo.sharpness import is_blurred
from calibration.refusal import Refusal
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern
from tests.support.corner_errors import card_errors, pattern_errors, rms
from tests.support.render_photos import Bench

FACE = PlatenFace(406.0, 508.0)
CARDS = layout(FACE)
PATTERN = Pattern((1920, 1080))


def rough(**changes):
    """A bench that is quick to render: refusals need no fine edges."""
    return Bench(size=(1120, 840), supersample=1, **changes)


def refusal(photo, face=FACE, pattern=PATTERN):
    with pytest.raises(Refusal) as caught:
        observe(photo, layout(face), pattern)
    sentence = str(caught.value).replace(photo.name, "PHOTO")
    assert sentence.endswith(".")
    assert sentence.count(". ") == 0  # one sentence
    assert "PHOTO" in sentence
    assert ":" in sentence  # and what to do
    return sentence


def moved(index, **changes):
    return tuple(replace(c, **changes) if k == index else c for k, c in enumerate(CARDS))


def placed(*order):
    """Card k lies where card order[k] belongs."""
    return tuple(
        replace(c, centre=CARDS[place].centre) for c, place in zip(CARDS, order, strict=True)
    )


def spot(x, y, radius, strength):
    """A lamp mirrored in the platen: white light added."""

    def shine(light):
        v, u = np.mgrid[: light.shape[0], : light.shape[1]]
        glow = np.exp(-((u - x) ** 2 + (v - y) ** 2) / (2 * radius**2))
        return light + (strength * glow[..., None]).astype(np.float32)

    return shine


def skin(*polygon):
    def cover(image):
        return cv2.fillPoly(image, [np.int32(polygon)], (120, 150, 200))

    return cover


@pytest.fixture(scope="module")
def bench():
    return Bench()


# Refused


@pytest.mark.parametrize(
    ("cards", "words"),
    [
        ((), "No cards are seen"),
        (CARDS[:3], "The back-right card is missing"),
        ((CARDS[0], CARDS[3]), "The front-right and back-left cards are not seen"),
        (placed(1, 0, 2, 3), "front-left and the front-right card are swapped"),
        (placed(3, 1, 2, 0), "front-left and the back-right card are swapped"),
        (placed(1, 3, 0, 2), "in the wrong corners"),
        (placed(3, 2, 1, 0), "in the wrong corners"),
        (moved(2, angle=math.pi), "The back-left card is turned (half a turn)"),
        (moved(1, angle=math.pi / 2), "The front-right card is turned (a quarter turn)"),
        (moved(3, centre=(120.0, 200.0)), "back-right card lies about 29 mm from its place"),
        (
            (*CARDS[:3], replace(CARDS[0], name="back-right", centre=CARDS[3].centre)),
            "two front-left cards and no back-right card",
        ),
    ],
)
def test_cards_missing_swapped_turned_or_off(cards, words):
    assert words.lower() in refusal(rough(cards=cards).photo()).lower()


def test_the_wrong_platen_size_is_told_with_the_true_one():
    sentence = refusal(rough(face=PlatenFace(406, 406)).photo())
    assert "platen of about 406 mm x 406 mm, not 406 mm x 508 mm" in sentence
    turned = refusal(rough(face=PlatenFace(508, 406)).photo())
    assert "platen of about 508 mm x 406 mm" in turned


def test_cards_of_another_platen_are_told_by_their_ids():
    sentence = refusal(rough(face=PlatenFace(381, 381)).photo())
    assert "the 90 mm ones, but this platen needs those of 108 mm" in sentence
    # The same figure at half the size: no distance tells, the ids do.
    small = PlatenFace(203, 254)
    cards = layout(small)
    twice = tuple(
        replace(c, centre=(2 * c.centre[0], 2 * c.centre[1]), size=2 * c.size) for c in cards
    )
    assert twice[0].square != CARDS[0].square
    assert "but this platen needs those of" in refusal(rough(face=small).photo())


def test_a_card_half_out_of_the_frame(bench):
    photo = bench.photo(finish=lambda image: np.ascontiguousarray(image[:, 330:]))
    assert "front-left card is cut off by the edge" in refusal(photo)


def test_glare_on_a_card(bench):
    assert "Glare hides the back-right card" in refusal(bench.photo(linear=spot(990, 160, 60, 6)))


def test_a_hand_over_a_card(bench):
    hand = skin((1279, 600), (900, 200), (900, 60), (1100, 60), (1279, 300))
    assert "back-right card is missing, covered or bent" in refusal(bench.photo(finish=hand))


def test_two_cards_half_out_of_the_frame(bench):
    photo = bench.photo(finish=lambda image: np.ascontiguousarray(image[:620]))
    assert "front-left and front-right cards are cut off by the edge" in refusal(photo)


@pytest.mark.parametrize("length", [7, 9])
def test_smeared_so_little_that_some_cards_are_seen(bench, length):
    photo = bench.photo(linear=lambda light: cv2.blur(light, (length, 1)))
    found = find_cards(photo.image, CARDS).found
    assert 0 < len(found) < 4
    assert "is blurred" in refusal(photo)


def test_a_smear_is_told_without_any_card_and_a_sharp_picture_is_not(bench):
    image = bench.photo().image[:, :, 1]
    assert not is_blurred(image)
    assert not is_blurred(cv2.resize(image, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA))
    for kernel in ((11, 1), (1, 11)):
        assert is_blurred(cv2.blur(image, kernel))
    assert not is_blurred(cv2.blur(image, (3, 1)))


@pytest.mark.parametrize(
    ("kernel", "words"), [((31, 1), "is blurred"), ((1, 31), "is blurred"), ((25, 25), "blurred")]
)
def test_motion_and_defocus(bench, kernel, words):
    assert words in refusal(bench.photo(linear=lambda light: cv2.blur(light, kernel)))


def test_dark_and_washed_out(bench):
    dark = bench.photo(finish=lambda image: (image * 0.12).astype(np.uint8))
    assert "too dark" in refusal(dark)
    bright = bench.photo(finish=lambda image: cv2.convertScaleAbs(image, alpha=2.4))
    assert "washed out" in refusal(bright)


def test_a_pattern_that_drowns_is_told_by_what_drowns_it(bench):
    """The cards can still be read; what is wrong is the light, not where the projector reaches."""

    def pale(image):
        full = np.full_like(image[..., 0], 255)
        return np.dstack([full, full, image[..., 2]])

    photo = bench.photo(finish=pale)
    assert len(find_cards(photo.image, CARDS).found) == 4
    assert "is washed out: lower the exposure" in refusal(photo)
    dim = bench.photo(finish=lambda image: np.minimum(image, 55))
    assert "is too dark: put on the room light" in refusal(dim)


def test_far_cards_seen_from_too_low_are_too_small():
    sentence = refusal(rough(tilt=math.radians(66)).photo())
    assert "The back-left and back-right cards are too small in PHOTO: go nearer" in sentence


def test_a_mirrored_photo(bench):
    photo = bench.photo(finish=lambda image: np.ascontiguousarray(image[:, ::-1]))
    assert "is mirrored left to right" in refusal(photo)


def test_a_panorama_of_ordinary_shape(bench):
    y, x = np.mgrid[: bench.size[1], : bench.size[0]].astype(np.float32)
    bent = (x + 25 * np.sin(x / 150), y + 20 * np.sin(x / 110))
    photo = bench.photo(finish=lambda image: cv2.remap(image, *bent, cv2.INTER_LINEAR))
    assert "no panorama and not edited" in refusal(photo)


@pytest.mark.proof
def test_no_pattern_and_a_mirrored_pattern():
    dark = np.zeros((1080, 1920, 3), np.uint8)
    dark[..., 2] = 255
    assert "No pattern is seen on the platen" in refusal(rough(light=dark).photo())
    mirrored = np.ascontiguousarray(PATTERN.draw()[:, ::-1])
    assert "The pattern in PHOTO is mirrored" in refusal(rough(light=mirrored).photo())


@pytest.mark.parametrize("fine", [False, True])
def test_the_pattern_of_another_resolution_is_named(fine):
    other = cv2.resize(Pattern((1280, 720)).draw(fine), (1920, 1080), interpolation=cv2.INTER_AREA)
    sentence = refusal(rough(light=other).photo())
    assert "shows the pattern for 1280 x 720 pixels, not for 1920 x 1080" in sentence


def test_a_pattern_of_no_known_resolution():
    odd = cv2.resize(Pattern((1500, 900)).draw(), (1920, 1080), interpolation=cv2.INTER_AREA)
    assert "not made for 1920 x 1080 pixels" in refusal(rough(light=odd).photo())


def test_a_pattern_that_reaches_a_part_of_the_platen_only():
    light = PATTERN.draw()
    light[:, : 1920 * 6 // 10] = 0
    sentence = refusal(rough(light=light).photo())
    assert "The pattern is not seen at the platen's" in sentence


def test_too_few_corners_on_a_small_platen_under_a_large_picture():
    bench = rough(face=PlatenFace(127, 127))
    # The projector of a large platen: the small one gets a few squares only.
    bench.projector = Bench().projector
    sentence = refusal(bench.photo(), face=bench.face)
    assert "points of the pattern are seen" in sentence
    assert "fine pattern" in sentence


# Used, and used correctly


@pytest.mark.parametrize(
    "hooks",
    [
        {"finish": skin((1250, 500), (940, 150), (970, 130), (1279, 450))},
        {"linear": spot(640, 400, 60, 6)},
        {"linear": lambda light: cv2.blur(light, (3, 1))},
    ],
    ids=["a finger over markers", "glare beside the cards", "slight motion"],
)
def test_what_disturbs_a_part_corrupts_nothing(bench, hooks):
    seen = observe(bench.photo(**hooks), CARDS, PATTERN)
    assert len(seen.cards) >= 32
    assert rms(card_errors(bench, seen)) < 0.08
    assert np.abs(card_errors(bench, seen)).max() < 0.3
    assert rms(pattern_errors(bench, seen)) < 0.05
    assert np.abs(pattern_errors(bench, seen)).max() < 0.3


def test_bands_of_a_colour_wheel(bench):
    def bands(light):
        rows = np.arange(light.shape[0])
        waves = [1 + 0.5 * np.sin(rows / (40 + 7 * k) + k) for k in range(3)]
        return light * np.stack(waves, axis=-1)[:, None].astype(np.float32)

    seen = observe(bench.photo(linear=bands), CARDS, PATTERN)
    assert rms(card_errors(bench, seen)) < 0.1
    assert rms(pattern_errors(bench, seen)) < 0.06


def test_a_reflection_of_the_pattern(bench):
    """A glossy platen mirrors a second, dimmer pattern beside the first."""

    def ghost(light):
        return light + 0.12 * np.roll(light[:, ::-1], (37, 21), axis=(0, 1))

    seen = observe(bench.photo(linear=ghost), CARDS, PATTERN)
    assert rms(card_errors(bench, seen)) < 0.15
    assert rms(pattern_errors(bench, seen)) < 0.1
    assert np.abs(pattern_errors(bench, seen)).max() < 0.6


@pytest.mark.proof
def test_a_poor_jpeg():
    bench = Bench(quality=30)
    seen = observe(bench.photo(), CARDS, PATTERN)
    assert rms(card_errors(bench, seen)) < 0.15
    assert rms(pattern_errors(bench, seen)) < 0.05


def test_a_card_a_few_millimetres_off_is_for_the_solver_to_weigh():
    laid = moved(3, centre=(CARDS[3].centre[0] - 3.0, CARDS[3].centre[1]))
    bench = rough(cards=laid)
    seen = observe(bench.photo(), CARDS, PATTERN)
    assert rms(card_errors(bench, seen)) < 0.1
