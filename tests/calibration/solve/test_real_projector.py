"""A real projector's light on real boards: what one photo tells, against OpenCV's two planes.

Captures 3 and 4 of the sample data of kamino410/procam-calibration (MIT): Gray code by a
1024 x 768 projector on a paper chessboard of 7 x 9 corners, two poses, one camera (see NOTE.md
beside them). The paper's own corners miss their grid by 0.2 mm, neighbours alike (a camera pixel is
0.9 mm there): so light is compared with where the camera sees the paper, too.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.model.uncertainty import bound, landing_covariance
from calibration.observations import Corner, PhotoObservation
from calibration.solve.acceptance import examine
from calibration.solve.fit import Solution, solve_plans
from calibration.solve.models import KEYSTONED
from calibration.solve.values import CardPlan, Stated

CAPTURES = Path(os.environ.get("CHALKBEAM_REAL_PHOTOS", "real-photos")) / "projector_graycode"
pytestmark = pytest.mark.skipif(
    not CAPTURES.exists(), reason="CHALKBEAM_REAL_PHOTOS names no folder of real photos"
)
SQUARE = 75.0  # mm, nominal
SIZE = (1024, 768)
GRID = np.array([[k % 7, k // 7] for k in range(63)], float) * SQUARE - SQUARE * np.array([3, 4])
NAMES = ("front-left", "front-right", "back-left", "back-right")


def decoded(capture: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grey of the white frame, contrast, and the projector's column and row at every pixel."""

    def frame(number: int) -> np.ndarray:
        place = CAPTURES / f"capture_{capture}" / f"graycode_{number:02d}.png"
        return cv2.imread(str(place), cv2.IMREAD_GRAYSCALE).astype(float)

    white, black = frame(40), frame(41)
    numbers = []
    for first in (0, 20):
        number, bit = np.zeros(white.shape, int), np.zeros(white.shape, bool)
        for k in range(10):
            bit = bit ^ (frame(first + 2 * k) > (white + black) / 2)
            number = 2 * number + bit
        numbers.append(number)
    return white, white - black, np.dstack(numbers)


def lit_by(at: np.ndarray, contrast: np.ndarray, code: np.ndarray, reach: int) -> np.ndarray:
    """The projector's px at camera px, by a homography of the code around each; nan if dark."""
    found = []
    for x, y in at:
        ys, xs = np.mgrid[round(y) - reach : round(y) + reach + 1,
                          round(x) - reach : round(x) + reach + 1]  # fmt: skip
        lit = contrast[ys, xs] > 15
        if lit.sum() < 150:
            found.append((np.nan, np.nan))
            continue
        here = np.column_stack([xs[lit], ys[lit]]).astype(float)
        local, _ = cv2.findHomography(here, code[ys, xs][lit].astype(float), cv2.RANSAC, 1.5)
        found.append(cv2.perspectiveTransform(np.array([[[x, y]]]), local)[0, 0])
    return np.array(found)


class Capture:
    """One pose of the board: where its corners are on it, in the camera and in the projector."""

    def __init__(self, number: int):
        white, contrast, code = decoded(number)
        found, rough = cv2.findChessboardCorners(white.astype(np.uint8), (7, 9))
        assert found
        ends = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 40, 1e-3)
        fine = cv2.cornerSubPix(white.astype(np.uint8), rough, (5, 5), (-1, -1), ends)
        self.seen = fine.reshape(-1, 2).astype(float)
        self.board = GRID
        view = cv2.findHomography(GRID, self.seen)[0]
        if np.linalg.det(view) > 0:  # y runs away from the operator
            self.board = GRID * [1, -1]
            view = cv2.findHomography(self.board, self.seen)[0]
        self.lit = lit_by(self.seen, contrast, code, 22)
        spots = (
            self.board.reshape(9, 7, 2)[:-1, :-1] + self.board.reshape(9, 7, 2)[1:, 1:]
        ).reshape(-1, 1, 2) / 2 + 0.22 * SQUARE * np.array([[-1, -1], [1, -1], [-1, 1], [1, 1]])
        at = cv2.perspectiveTransform(spots.reshape(1, -1, 2), view)[0]
        shown = lit_by(at, contrast, code, 12)
        bright = np.isfinite(shown).all(axis=1)
        self.spots, self.shown = at[bright], shown[bright]


def solved(capture: Capture, fitted: np.ndarray, hint: float) -> Solution:
    """The calibration from the corners `fitted`, as four cards, and the light between them."""
    quarter = (capture.board[:, 0] > 1).astype(int) + 2 * (capture.board[:, 1] > 1).astype(int)
    plans, corners = [], []
    for k, name in enumerate(NAMES):
        mine = np.flatnonzero((quarter == k) & fitted)
        points = capture.board[mine]
        every = np.vstack([points, np.repeat(points[-1:], 30 - len(points), 0)])
        out = SQUARE * np.array([3.5, 4.5]) * [1 if k % 2 else -1, 1 if k >= 2 else -1]
        middle = points.mean(axis=0)
        plans.append(
            CardPlan(
                name,
                (middle[0], middle[1]),
                (out[0], out[1]),
                tuple((x, y) for x, y in every),
            )
        )
        corners += [Corner(name, n, tuple(capture.seen[j])) for n, j in enumerate(mine)]
    light = tuple(Corner("pattern", n, tuple(p)) for n, p in enumerate(capture.spots))
    photo = PhotoObservation("board", (1280, 1024), "camera", hint, 0.0, tuple(corners), light)
    return solve_plans([photo], plans, capture.shown, SIZE, Stated(bar=100.0))


def opencv(captures: list[Capture], points: list[np.ndarray], size: tuple[int, int]) -> np.ndarray:
    """The lens matrix that OpenCV fits to both poses: one focal length, centre, k1."""
    boards = [np.column_stack([c.board, np.zeros(63)]).astype(np.float32) for c in captures]
    start = np.array([[2.0 * size[0], 0, size[0] / 2], [0, 2.0 * size[0], size[1] / 2], [0, 0, 1]])
    flags = (
        cv2.CALIB_USE_INTRINSIC_GUESS
        | cv2.CALIB_FIX_ASPECT_RATIO
        | cv2.CALIB_ZERO_TANGENT_DIST
        | cv2.CALIB_FIX_K2
        | cv2.CALIB_FIX_K3
    )
    views = [each.astype(np.float32).reshape(-1, 1, 2) for each in points]
    error, matrix = cv2.calibrateCamera(boards, views, size, start, np.zeros(5), flags=flags)[:2]
    assert error < 0.2
    return np.asarray(matrix)


def test_one_photo_of_a_real_projector_agrees_with_two_planes() -> None:
    captures = [Capture(3), Capture(4)]
    true = opencv(captures, [c.lit for c in captures], SIZE)
    camera = opencv(captures, [c.seen for c in captures], (1280, 1024))
    solution = solved(captures[1], np.arange(63) % 2 == 0, float(camera[0, 0]))
    assert solution.fit.model != KEYSTONED
    lens = solution.map.pinhole
    assert lens.focal / SIZE[0] == pytest.approx(true[0, 0] / SIZE[0], abs=0.25)
    assert lens.cx / SIZE[0] == pytest.approx(true[0, 2] / SIZE[0], abs=0.03)
    assert lens.cy / SIZE[1] == pytest.approx(true[1, 2] / SIZE[1], abs=0.12)
    examine(replace(solution, stated=replace(solution.stated, heights=(0.0,))),
            PlatenFace(6 * SQUARE, 8 * SQUARE))  # fmt: skip


def test_corners_that_took_no_part_are_within_the_bound() -> None:
    for number in (3, 4):
        capture = Capture(number)
        for half in (0, 1):
            fitted = np.arange(63) % 2 == half
            solution = solved(capture, fitted, 3500.0)
            board, lit = capture.board[~fitted], capture.lit[~fitted]
            landed = solution.map.platen_from_projector(lit)
            spread = landing_covariance(solution.map, solution.fit.matrix, board)
            limits = bound(spread, solution.fit.freedom)
            assert np.mean(np.hypot(*(landed - board).T) < limits) > 0.93
            rise = solution.map.bow.at(board)[:, 2]
            seen = solution.camera(0).unproject(capture.seen[~fitted], rise)
            assert np.sqrt(np.mean(np.sum((landed - seen) ** 2, axis=1))) < 0.15
