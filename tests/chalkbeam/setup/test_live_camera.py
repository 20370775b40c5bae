"""Guiding a camera by what its pictures show: the virtual rig carried around as a fake source."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.detect.observe import observe
from calibration.geometry import PlatenFace
from calibration.photo.read import Photo
from calibration.photo.sharpness import edge_blur
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern
from chalkbeam.setup.camera.advice import APART, Want, Watch, advise
from chalkbeam.setup.camera.quick_look import Exposure, QuickLook, movement, quick_look
from chalkbeam.setup.camera.take import CaptureProgress, Wanted, lift, take_photos
from chalkbeam.setup.camera.until_accepted import take_until_sure
from tests.support import live_camera
from tests.support.live_camera import BOARD, PLACES, Reel


@pytest.fixture(scope="module")
def truth():
    return live_camera.watched_rig()


@pytest.fixture(scope="module")
def cards(truth):
    return layout(truth.face)


@pytest.fixture(scope="module")
def views():
    return live_camera.watched_views()


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
        *still["board"],
    ]


def test_photos_are_taken_from_three_sides_and_on_the_board(views, truth, cards):
    told: list[CaptureProgress] = []
    kept = {}

    def keep(name, image):
        kept[name] = image
        return name

    wanted = Wanted(truth.face, truth.projector.view.size, 3, BOARD)
    shots = take_photos(Reel(story(views, truth, cards)), wanted, keep, told.append)
    assert [(str(s.path), s.raised) for s in shots] == [
        ("flat-1", 0.0),
        ("flat-2", 0.0),
        ("flat-3", 0.0),
        ("raised-10mm", BOARD),
    ]
    for name, place in zip(kept, PLACES, strict=True):  # each photo shows what it should
        assert np.abs(kept[name].astype(int) - views[place]).mean() < 3
    said = " ".join(progress.sentence for progress in told)
    steps = [
        "Too dark", "closer", "Blurred", "back-right card", "hold the camera still",
        "Photo 1 is taken", "Next from another side", "Photo 2 is taken", "Photo 3 is taken",
        "lay the flat board of 10 mm", "No cards", "Photo 4 is taken",
    ]  # fmt: skip
    at = 0
    for step in steps:
        at = said.index(step, at)
    # Nothing is said to be taken before it is kept.
    assert [str(p.kept) for p in told if p.kept] == list(kept)


def until_sure(views, places, answers, count=2, board=0.0):
    """Take photos until an answer is None; return the sets judged and what is told."""
    answers, judged, told = list(answers), [], []

    def solve(shots, at_every_height):
        judged.append(([str(shot.path) for shot in shots], at_every_height))
        if (answer := answers.pop(0)) is not None:
            raise answer
        return "a rig"

    truth = live_camera.watched_rig()
    wanted = Wanted(truth.face, truth.projector.view.size, count, board)
    reel = Reel([views[place] for place in places for _ in range(4)])
    names = take_until_sure(
        reel, wanted, lambda name, image: Path(f"{name}.png"), told.append, solve
    )
    assert names == "a rig"
    return judged, told


ONE, TWO, THREE = "flat-1.png", "flat-2.png", "flat-3.png"


def refusal(said, kind, value=""):
    return Refusal(f"{said}: ", Remedy(kind, "do that", value), ".")


WIDE = refusal("Light could land 1.3 mm off", RemedyKind.ONE_MORE)
BLURRED = refusal(f"Corners in {ONE} scatter by 0.50 mm", RemedyKind.AGAIN, ONE)
MOVED = refusal("The projector has moved between the photos", RemedyKind.SINCE_MOVED)
LAY = refusal("The front-left card lies 4.0 mm to the right of its place", RemedyKind.ALL_AGAIN)
LAY_ON_BOARD = refusal("The front-left card on the board lies wrong", RemedyKind.SPACER_AGAIN)
HEIGHT = refusal("Light could land 1.3 mm off, 4 mm up", RemedyKind.ON_SPACER)
MEASURE = refusal("The cards look 1.5 % larger than drawn", RemedyKind.BAR)


@pytest.mark.parametrize(
    ("refused", "then"),
    [
        (WIDE, [ONE, TWO, THREE]),
        (BLURRED, [TWO, THREE]),
        (MOVED, [TWO, THREE]),
        # Whatever the sentence says: the remedy alone counts.
        (
            refusal(f"{ONE} and the photos again, the keystone", RemedyKind.ONE_MORE),
            [ONE, TWO, THREE],
        ),
    ],
)
def test_good_photos_stay_when_a_set_is_refused(views, refused, then):
    judged, told = until_sure(views, ["front", "left", "right"], [refused, None])
    assert judged == [([ONE, TWO], True), (then, True)]
    (said,) = [progress for progress in told if progress.refused]
    assert said.sentence == str(refused)
    assert (said.number, said.count) == (len(then), len(then))


def test_what_is_to_be_laid_again_begins_anew(views):
    judged, _ = until_sure(views, ["front", "left", "front", "right"], [LAY, None])
    assert judged == [([ONE, TWO], True), ([THREE, "flat-4.png"], True)]


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_side_asked_for_is_the_one_advised(views, side):
    wide = refusal("Light could land 1.3 mm off", RemedyKind.ONE_MORE, side)
    _, told = until_sure(views, ["front", "front", "left"], [wide, None], count=1)
    after = " ".join(p.sentence for p in told[[p.refused for p in told].index(True) :])
    assert f"Next from another side: move the camera to your {side}" in after


def test_the_bare_platen_is_judged_before_a_board_is_asked_for(views):
    places = ["front", "left", "board"]
    judged, _ = until_sure(views, places, [WIDE, None, None], count=1, board=BOARD)
    assert judged == [
        ([ONE], False),
        ([ONE, TWO], False),
        ([ONE, TWO, "raised-10mm.png"], True),
    ]


RAISED, RAISED_AGAIN = "raised-10mm.png", "raised-10mm-2.png"


@pytest.mark.parametrize("refused", [LAY, MOVED, BLURRED])
def test_what_the_board_shows_of_the_bare_platen_begins_anew(views, refused):
    # The board still lies there when the bare platen is asked for: that is told, not taken.
    places = ["front", "board", "board", "left", "board"]
    answers = [None, refused, None, None]
    judged, told = until_sure(views, places, answers, count=1, board=BOARD)
    assert judged == [
        ([ONE], False),
        ([ONE, RAISED], True),
        ([TWO], False),
        ([TWO, RAISED_AGAIN], True),
    ]
    (said,) = [progress for progress in told if progress.refused]
    assert said.sentence.startswith(str(refused))
    assert "Take the board away" in said.sentence
    assert (said.number, said.raised) == (1, 0.0)
    after = told[told.index(said) + 1 :]
    assert any("Now take the board away" in progress.sentence for progress in after)


def test_beginning_anew_is_done_once_and_says_why_it_was(views):
    places = ["front", "board", "left", "board", "right"]
    with pytest.raises(Refusal, match="front-left card lies"):
        until_sure(views, places, [None, LAY, None, LAY, None], count=1, board=BOARD)
    with pytest.raises(Refusal, match="front-left card lies"):  # the recording ends
        until_sure(views, places[:2], [None, LAY, None], count=1, board=BOARD)


def test_a_card_laid_wrong_on_the_board_leaves_the_bare_platen_as_it_was(views):
    answers = [None, LAY_ON_BOARD, None]
    judged, _ = until_sure(views, ["front", "board", "board"], answers, count=1, board=BOARD)
    assert judged[1:] == [([ONE, RAISED], True), ([ONE, RAISED_AGAIN], True)]


def test_height_in_doubt_is_not_photographed_for_ever(views):
    places = ["front", "left", "right"]
    with pytest.raises(Refusal, match="4 mm up"):
        until_sure(views, places, [HEIGHT, HEIGHT, HEIGHT, None], count=1)
    judged, _ = until_sure(views, places, [HEIGHT, HEIGHT, None], count=1)
    assert judged[-1] == ([ONE, TWO, THREE], True)


def test_no_photo_cures_a_wrong_measure(views):
    with pytest.raises(Refusal, match="larger than drawn"):
        until_sure(views, ["front", "left", "right"], [MEASURE, None])
    with pytest.raises(Refusal, match="larger than drawn"):
        until_sure(views, ["front", "board", "left"], [None, MEASURE, None], count=1, board=BOARD)
    with pytest.raises(Refusal, match="disk is full"):  # nor what says nothing of photos
        until_sure(views, ["front", "left", "right"], [Refusal("The disk is full."), None])
    with pytest.raises(Refusal, match="could land"):  # the recording ends: why more were wanted
        until_sure(views, ["front", "left"], [WIDE, None])


def test_the_light_tells_a_board_from_the_bare_platen(views, truth, cards):
    pattern = Pattern(truth.projector.view.size)
    front, right, board = (
        observe(Photo(name, views[name], "test"), cards, pattern)
        for name in ("front", "right", "board")
    )
    x, y, z = truth.projector.view.position
    expected = (BOARD + truth.spacer_error) * math.hypot(x, y) / z  # in the platen's middle
    assert lift(front, right, cards) < 0.06 * BOARD
    assert lift(front, board, cards) == pytest.approx(expected, rel=0.25)


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
        taken(Reel([front]), truth, board=3.0)


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
