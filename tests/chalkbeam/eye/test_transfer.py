"""A laid transfer is found by its ink or its sheet, and nothing is guessed where neither shows."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from calibration.geometry import Isometry
from chalkbeam.artwork import Box
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.edges import PER_MM, Shape, field, search
from chalkbeam.eye.transfer import Target, find_transfer
from chalkbeam.eye.view import View, merged
from tests.support.laid_sheet import Scene, camera, words

WHITE_INK = (0.85, 0.85, 0.85)
GOAL = Isometry(12.0, 20.0, math.radians(2.0), mirrored=True)
MASK = words("TERN", 110.0, "HARBOUR")
MARGIN = (10.0, 14.0)


def _target(sheet=False):
    height, width = (side / 8 for side in MASK.shape)
    box = Box(-width / 2, -height / 2, width / 2, height / 2)
    edges = Box(
        box.left - MARGIN[0], box.top - MARGIN[1], box.right + MARGIN[0], box.bottom + MARGIN[1]
    )
    return Target("tern", MASK, (width, height), edges if sheet else None, GOAL)


def _seen(off=(0.0, 0.0, 0.0), sheet=False, mask=MASK, bare=False, **scene):
    eye = camera((960, 540), np.random.default_rng(5000))
    pose = GOAL.x + off[0], GOAL.y + off[1], GOAL.angle + math.radians(off[2])
    laid = Scene(eye, mask, None if bare else pose, margin=MARGIN, seed=5000, **scene)
    return find_transfer(Burst("here", laid.pictures()), eye, _target(sheet), laid.height)


@pytest.mark.proof
@pytest.mark.parametrize(
    "scene",
    [
        {"sheet": "clear", "cloth": "white"},
        {"sheet": "matte", "cloth": "heather"},
        {"sheet": "clear", "cloth": "navy", "ink": WHITE_INK},
    ],
    ids=["dark on white", "matte on heather", "white on navy"],
)
def test_ink_is_found_where_it_lies(scene):
    off = 3.1, -2.4, 1.8
    eye = camera((960, 540), np.random.default_rng(5001))
    pose = GOAL.x + off[0], GOAL.y + off[1], GOAL.angle + math.radians(off[2])
    laid = Scene(eye, MASK, pose, seed=5001, height=1.5, **scene)
    found = find_transfer(Burst("here", laid.pictures()), eye, _target(), laid.height)
    assert found.sure
    assert found.verdict == "move"
    assert math.dist(found.off, off[:2]) < 0.7
    assert math.degrees(found.turned) == pytest.approx(off[2], abs=0.4)
    assert "to the left" in found.why
    assert "away from you" in found.why
    assert "degrees right" in found.why


@pytest.mark.slow
def test_good_within_the_tolerance_and_never_at_two_millimetres():
    assert _seen((0.6, -0.5, 0.2)).verdict == "good"
    assert _seen((1.42, -1.42, 0.0)).verdict == "move"


@pytest.mark.slow
def test_paper_is_found_by_its_edges():
    laid = _seen_on("paper", "black", (-2.0, 3.0, -1.5), sheet=True)
    assert laid.sure
    assert math.dist(laid.off, (-2.0, 3.0)) < 0.7
    assert math.degrees(laid.turned) == pytest.approx(-1.5, abs=0.4)
    assert "sheet" in laid.why


def _seen_on(kind, cloth, off, sheet):
    eye = camera((960, 540), np.random.default_rng(5002))
    pose = GOAL.x + off[0], GOAL.y + off[1], GOAL.angle + math.radians(off[2])
    laid = Scene(eye, MASK, pose, sheet=kind, cloth=cloth, margin=MARGIN, seed=5002)
    return find_transfer(Burst("here", laid.pictures()), eye, _target(sheet), laid.height)


@pytest.mark.proof
def test_paper_of_unknown_size_is_found_by_its_four_sides():
    laid = _seen_on("paper", "navy", (2.0, 1.0, 1.5), sheet=False)
    assert laid.sure
    assert math.dist(laid.off, (2.0, 1.0)) < 0.7
    assert math.degrees(laid.turned) == pytest.approx(1.5, abs=0.4)


@pytest.mark.proof
def test_white_ink_on_white_cloth_and_bare_cloth_cannot_be_seen():
    for found in (_seen((0.0, 0.0, 0.0), ink=WHITE_INK), _seen(bare=True, cloth="heather")):
        assert found.verdict == "cannot see"
        assert not found.sure
        assert found.off is None


@pytest.mark.proof
def test_wrong_way_round_is_told():
    turned = _seen((1.0, 0.5, 1.0), mask=MASK[::-1, ::-1])
    assert turned.verdict == "move"
    assert "turned half round" in turned.why
    mirrored = _seen((1.0, 0.5, 1.0), mask=MASK[:, ::-1])
    assert mirrored.verdict == "move"
    assert "mirrored" in mirrored.why


@pytest.mark.proof
def test_another_name_is_never_good():
    other = cv2.resize(
        words("SAILING", 110.0, "SCHOOL").astype(np.uint8), MASK.shape[::-1], interpolation=0
    )
    found = _seen(mask=other.astype(bool))
    assert found.verdict == "cannot see"
    assert not found.sure


@pytest.mark.proof
def test_a_name_that_differs_by_one_letter_is_never_good():
    """Of five letters four are where they should be: nearly all edges agree."""
    eye = camera((960, 540), np.random.default_rng(5003))
    laid = words("HARTS", 120.0)
    for name, verdict in (("HARTS", "good"), ("HARTE", "wrong")):
        mask = words(name, 120.0 * (1.0 if name == "HARTS" else 1.003))
        height, width = (side / 8 for side in mask.shape)
        target = Target(name, mask, (width, height), None, GOAL)
        scene = Scene(eye, laid, (GOAL.x, GOAL.y, GOAL.angle), seed=5003)
        found = find_transfer(Burst("here", scene.pictures()), eye, target, scene.height)
        assert found.verdict == verdict
    assert "right artwork and name" in found.why


@pytest.mark.slow
def test_the_turn_of_a_round_ink_is_not_told():
    """A crest that looks alike all round lies right however it is turned; words never do."""
    across = np.hypot(*np.mgrid[-1:1:640j, -1:1:640j])
    crest = (across < 1) & ~((across > 0.6) & (across < 0.75))
    eye = camera((960, 540), np.random.default_rng(5004))
    target = Target("crest", crest, (80.0, 80.0), None, GOAL)
    pose = GOAL.x + 1.0, GOAL.y, GOAL.angle + math.radians(4.5)
    scene = Scene(eye, crest, pose, seed=5004)
    found = find_transfer(Burst("here", scene.pictures()), eye, target, scene.height)
    assert (found.verdict, found.turned) == ("good", None)
    assert math.dist(found.off, (1.0, 0.0)) < 0.7


def test_registration_agrees_with_opencv_s_own():
    """`cv2.findTransformECC` (Evangelidis and Psarakis 2008) on the same picture."""
    shape = Shape.of_mask(MASK, 110.0, MASK.shape[0] / 8)
    height, width = shape.cover.shape
    size = width + 60, height + 60
    turn, x, y = math.radians(1.7), (width - 1) / 2 + 33.3, (height - 1) / 2 + 27.8
    c, s = math.cos(turn), math.sin(turn)
    matrix = np.array([[c, -s], [s, c]])
    shift = np.array([x, y]) - matrix @ [(width - 1) / 2, (height - 1) / 2]
    seen = cv2.warpAffine(shape.cover, np.column_stack([matrix, shift]), size)
    seen = 0.7 - 0.5 * seen + np.random.default_rng(5).normal(0, 0.02, seen.shape)
    edges = field(seen.astype(np.float32))
    about = (size[0] - 1) / 2, (size[1] - 1) / 2, 0.0
    mine = shape.refined(edges, search(edges, shape, about, 10.0, math.radians(6)).pose)
    start = np.array([[1, 0, 30], [0, 1, 30]], np.float32)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-7)
    _, theirs = cv2.findTransformECC(
        cv2.GaussianBlur(0.7 - 0.5 * shape.cover, (0, 0), 1.2),
        cv2.GaussianBlur(seen.astype(np.float32), (0, 0), 1.2),
        start, cv2.MOTION_EUCLIDEAN, stop, None, 1,
    )  # fmt: skip
    middle = theirs @ [(width - 1) / 2, (height - 1) / 2, 1]
    assert math.dist(mine.pose[:2], middle) < 0.1 * PER_MM
    assert mine.pose[2] == pytest.approx(math.atan2(theirs[1, 0], theirs[0, 0]), abs=0.001)
    assert math.dist(mine.pose[:2], (x, y)) < 0.1 * PER_MM
    assert max(mine.apart) < 0.2


def test_two_exposures_are_one_picture():
    rng = np.random.default_rng(1)
    true = rng.uniform(0.02, 1.8, (240, 320, 3))

    def code(light):
        light = np.clip(light, 0, 1)
        curve = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
        return np.rint(255 * curve).astype(np.uint8)

    pictures = {"dark": code(0 * true), "white": code(true), "dim": code(0.21 * true + 0.02)}
    whole = merged(Burst("here", pictures))
    assert np.abs(whole / true - 1)[true.max(axis=2) > 0.3].mean() < 0.03


def test_the_view_s_poses_go_there_and_back():
    view = View(np.zeros((4, 4, 3), np.float32), (-30.0, 50.0))
    back = view.to_platen(*view.from_platen(GOAL))
    assert (back.x, back.y, back.angle, back.mirrored) == pytest.approx(
        (GOAL.x, GOAL.y, GOAL.angle, True)
    )
    corner = np.array([[10.0, -5.0]])  # art frame: right of the middle and above it
    x, y, turn = view.from_platen(GOAL)
    turned = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    there = turned @ corner[0] * PER_MM + (x, y)
    assert there == pytest.approx(view.pixels(GOAL.apply(corner))[0])
