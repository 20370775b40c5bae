"""Least squares and its covariance against certified values, SciPy and OpenCV."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from scipy.optimize import curve_fit

from calibration.model.pinhole import PARAMETERS, Pinhole
from calibration.observations import Corner, PhotoObservation
from calibration.solve.initial import first_vector
from calibration.solve.least_squares import FitProblem, covariance, minimise, noise_by_group
from calibration.solve.priors import PROJECTOR_FREE, projector_places
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import CardPlan, Cross
from tests.support import synthetic_rig

# NIST Statistical Reference Datasets, linear regression, "Norris" (US National Institute of
# Standards and Technology): 36 observations and certified results, from memory. A slip of
# memory in the data would show against the certified digits.
NORRIS = np.fromstring(
    """0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3
    449.1 448.6 778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0
    448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3
    0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3
    228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5""",
    sep=" ",
).reshape(-1, 2)
NORRIS_COEFFICIENTS = (-0.262323073774029, 1.00211681802045)
NORRIS_ERRORS = (0.232818234301152, 0.429796848199937e-03)
NORRIS_SPREAD = 0.884796396144373


def test_line_of_the_norris_data() -> None:
    y, x = NORRIS.T
    line = SimpleNamespace(
        groups=np.zeros(len(x), dtype=np.intp),
        residuals=lambda v: v[0] + v[1] * x - y,
        at=lambda v: SimpleNamespace(
            vector=v,
            residuals=v[0] + v[1] * x - y,
            jacobian=np.column_stack([np.ones_like(x), x]),
        ),
    )
    far = 300.0  # so that all robust weights are 1 to 5e-6: the certified fit is not robust
    problem = FitProblem(line, (), np.array([True, True]), np.array([NORRIS_SPREAD * far]))
    vector = minimise(problem, np.zeros(2)).vector
    np.testing.assert_allclose(vector, NORRIS_COEFFICIENTS, rtol=2e-5)
    errors = np.sqrt(np.diag(covariance(problem, vector))) / far
    np.testing.assert_allclose(errors, NORRIS_ERRORS, rtol=2e-5)
    np.testing.assert_allclose(noise_by_group(problem, vector), NORRIS_SPREAD, rtol=2e-5)


def test_covariance_of_a_projector_agrees_with_scipy() -> None:
    """`scipy.optimize.curve_fit` on the same crosses, with numerical slopes of its own."""
    rng = np.random.default_rng(8)
    bench = synthetic_rig.bench(rng)
    true = synthetic_rig.pinhole(bench.projector)
    points = rng.uniform((-200, -250), (200, 250), (60, 2))
    heights = np.repeat([0.0, 15.0, 30.0], 20)
    pixels = true.project(np.column_stack([points, heights]))
    crosses = [
        Cross(tuple(p), tuple(q), h) for p, q, h in zip(points, pixels, heights, strict=True)
    ]
    model = ResidualModel.of((), (), np.zeros((0, 2)), bench.projector.size, crosses)
    place = model.layout.projector
    start = np.zeros(model.layout.size)
    start[place] = true.vector
    problem = FitProblem(model, (), projector_places(model, PROJECTOR_FREE), np.array([0.25]))
    ours = covariance(problem, start)[place, place]

    free = [PARAMETERS.index(name) for name in PROJECTOR_FREE]

    def landing(_: object, *values: float) -> np.ndarray:
        vector = true.vector
        vector[free] = values
        return Pinhole.from_vector(vector).unproject(pixels, heights).ravel()

    _, theirs = curve_fit(
        landing,
        None,
        points.ravel(),
        p0=true.vector[free],
        sigma=np.full(points.size, 0.25),
        absolute_sigma=True,
        method="trf",
        x_scale=np.abs(true.vector[free]),
    )
    ours = ours[np.ix_(free, free)]
    size = np.sqrt(np.outer(np.diag(theirs), np.diag(theirs)))
    np.testing.assert_allclose(ours / size, theirs / size, atol=2e-3)


CHESSBOARD = json.loads(
    (Path(__file__).parents[2] / "data" / "chessboard_corners.json").read_text("utf-8")
)


@pytest.fixture(scope="module")
def chessboard() -> tuple[np.ndarray, list[np.ndarray]]:
    """Corners of OpenCV's sample photos of a chessboard: source and licence are in the file."""
    columns, rows, square = (CHESSBOARD[k] for k in ("columns", "rows", "square_mm"))
    board = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), -1).reshape(-1, 2) * square
    return board, [np.array(view["corners_px"]) for view in CHESSBOARD["views"]]


def test_camera_agrees_with_opencv_on_real_photos(
    chessboard: tuple[np.ndarray, list[np.ndarray]],
) -> None:
    """The joint fit of 13 real photos against `cv2.calibrateCamera` on the same corners."""
    board, views = chessboard
    size = tuple(CHESSBOARD["size_px"])
    # The platen's frame has y up: mirrored, the board is seen from above.
    plan = CardPlan("board", (0.0, 0.0), (0.0, 0.0), tuple(map(tuple, board * [1, -1])))
    photos = tuple(
        PhotoObservation(
            f"{k}", size, "one", None, 0.0,
            tuple(Corner("board", j, (x, y)) for j, (x, y) in enumerate(view)), (),
        )
        for k, view in enumerate(views)
    )  # fmt: skip
    model = ResidualModel.of(photos, (plan,), np.zeros((0, 2)), (1920, 1080))
    layout = model.layout
    free = np.zeros(layout.size, dtype=bool)
    free[layout.camera(0)][:7] = True
    for k in range(len(photos)):
        free[layout.pose(k)] = True
    problem = FitProblem(model, (), free, np.full(2 * len(photos) + 1, 1.0))
    ours = minimise(problem, first_vector(model, photos)).vector[layout.camera(0)]

    points = np.column_stack([board * [1, -1], np.zeros(len(board))]).astype(np.float32)
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3 | cv2.CALIB_USE_INTRINSIC_GUESS
    guess = np.array([[600.0, 0, 319.5], [0, 600.0, 239.5], [0, 0, 1]])
    rms, matrix, lens, *_ = cv2.calibrateCamera(
        [points] * len(views),
        [view.astype(np.float32) for view in views],
        size,
        guess,
        np.zeros(5),
        flags=flags,
    )
    theirs = [matrix[0, 0], matrix[0, 2], matrix[1, 2], *lens.ravel()[:4]]
    # The robust loss weighs the farthest corners a little less: agreement is within a
    # third of the standard errors (focal length 0.45 px).
    np.testing.assert_allclose(ours[:3], theirs[:3], atol=0.15)
    for mine, other, near in zip(ours[3:7], theirs[3:], (3e-3, 2e-2, 1e-4, 1e-4), strict=True):
        assert mine == pytest.approx(other, abs=near)
    assert rms < 0.2

    published = CHESSBOARD["published"]
    assert ours[0] == pytest.approx(published["fx"], rel=0.01)
    np.testing.assert_allclose(ours[1:3], [published["cx"], published["cy"]], atol=3.0)
