"""The surface in mm against outside triangulation and against known shapes; colour; drift."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.model.eye import Eye
from calibration.refusal import Refusal
from calibration.solve.values import frozen_matrix
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.colour import PAPER, measure_colour, measure_platen, ratios
from chalkbeam.eye.drift import check_dots
from chalkbeam.eye.flashes import COLOURS, burst_frames
from chalkbeam.eye.read import read_press
from chalkbeam.eye.surface import measure_surface, triangulate
from overlay.colour.colorimetry import ciede2000, lab_from_linear
from tests.support.eye_scene import BENCH, EyeScene, camera
from tests.support.rigs import demo_rig

SIZE = (960, 540)
PLATEN = (0.35, 0.36, 0.33)
CLOTH = (0.08, 0.14, 0.32)


def with_true_eye(lens=None):
    """Return the demo's rig with an eye that is exactly known."""
    zero = frozen_matrix(np.zeros((15, 15))), frozen_matrix(np.zeros((15, 20)))
    seen = camera(SIZE, azimuth=0.4, tilt=0.6) if lens is None else lens
    return replace(demo_rig(), eye=Eye(seen, SIZE, *zero, 0.1, 100, 100, (), PLATEN))


def waves(x, y):
    """Cloth 3 mm high with folds, and a pad 12 mm high at the left."""
    pad = 12 / (1 + np.exp(np.clip((np.hypot(x + 90, y) - 50) / 3, -50, 50)))
    return 3 + 1.5 * np.sin(x / 22) * np.cos(y / 30) + pad


@pytest.fixture(scope="module")
def rig():
    return with_true_eye()


@pytest.fixture(scope="module")
def bare(rig):
    return EyeScene(rig.projector, rig.face, rig.eye.camera, SIZE, reflectance=PLATEN, fine=1)


@pytest.fixture(scope="module")
def empty(rig, bare):
    return Burst("empty", bare.burst(f for f in burst_frames(rig) if f.name != "pattern"))


@pytest.fixture(scope="module")
def loaded(rig, bare):
    scene = bare.with_(height=waves, reflectance=CLOTH, seed=2)
    return Burst("loaded", scene.burst(f for f in burst_frames(rig) if f.name != "pattern"))


def test_triangulation_agrees_with_opencv() -> None:
    """Against cv2.triangulatePoints, which solves Hartley and Zisserman's 12.2 linearly.

    With exact data of two distortion-free pinholes the two meet in the same point.
    """
    rig = demo_rig()
    plain = dict.fromkeys(("k1", "k2", "p1", "p2"), 0.0)
    projector = replace(rig.projector, pinhole=replace(rig.projector.pinhole, **plain))
    eye = camera(k1=0.0)
    points = np.random.default_rng(4).uniform((-200, -250, -150), (200, 250, 40), (200, 3))
    pixels, light = eye.project(points), projector.pinhole.project(points)
    theirs = cv2.triangulatePoints(eye.matrix, projector.pinhole.matrix, pixels.T, light.T)
    theirs = (theirs[:3] / theirs[3]).T
    for axis in (0, 1):
        ours = triangulate(projector, eye, pixels, light[:, axis], axis)
        met = np.isfinite(ours).all(axis=1)
        assert met.mean() > 0.95
        np.testing.assert_allclose(ours[met], theirs[met], atol=1e-4)


def test_heights_with_folds_and_a_pad(rig, loaded) -> None:
    surface = measure_surface(rig, loaded)
    on = (np.abs(surface.points[:, 0]) < 195) & (np.abs(surface.points[:, 1]) < 245)
    points = surface.points[on]
    off = points[:, 2] - waves(points[:, 0], points[:, 1])
    assert len(points) > 15_000
    assert np.sqrt(np.mean(off**2)) < 0.6  # every single point
    x, y = np.meshgrid(np.arange(-190, 191, 5.0), np.arange(-240, 241, 5.0))
    grid = np.column_stack([x.ravel(), y.ravel()])
    seen = surface.height_at(grid)
    known = np.isfinite(seen)
    assert known.mean() > 0.97
    rms = np.sqrt(np.mean((seen - waves(*grid.T))[known] ** 2))
    assert rms < 0.3
    assert np.isnan(surface.height_at([(300.0, 0.0)])).all()


def test_the_bench_is_seen_where_light_falls_on_it(rig, loaded) -> None:
    surface = measure_surface(rig, loaded)
    beside = np.abs(surface.points[:, 1]) > rig.face.depth / 2 + 15
    assert beside.sum() > 300
    assert np.abs(np.median(surface.points[beside, 2]) - BENCH) < 0.5


def test_a_misread_code_is_no_surface(rig, loaded) -> None:
    rng = np.random.default_rng(8)
    pictures = dict(loaded.pictures)
    for name in pictures:
        if name.startswith(("across-", "down-")) and not name.endswith("lines"):
            pictures[name] = pictures[name].copy()
            spot = pictures[name][240:300, 440:520]
            lit = pictures["white"][240:300, 440:520]
            spot[:] = np.where(rng.random(spot.shape[:2])[..., None] < 0.5, lit, 0)
    surface = measure_surface(rig, Burst("noisy", pictures))
    x, y = surface.pixels.T
    there = (x > 445) & (x < 515) & (y > 245) & (y < 295)
    before = measure_surface(rig, loaded).pixels
    x, y = before.T
    assert there.sum() < 0.05 * ((x > 445) & (x < 515) & (y > 245) & (y < 295)).sum()


def test_the_empty_platen_is_measured_once(rig, empty, loaded) -> None:
    assert read_press(rig, loaded, empty).bare is read_press(rig, loaded, empty).bare


def test_without_an_eye_or_lines_it_is_refused(rig, empty, loaded) -> None:
    with pytest.raises(Refusal, match="knows of no camera"):
        measure_surface(demo_rig(), loaded)
    few = {name: empty.picture(name) for name in ("dark", "white")}
    with pytest.raises(Refusal, match="lacks lines"):
        measure_surface(rig, Burst("few", few))
    other = replace(rig, eye=replace(rig.eye, size=(1280, 720)))
    with pytest.raises(Refusal, match="960 x 540"):
        measure_surface(other, loaded)


def test_mixing_of_channels_cancels() -> None:
    """S diag(r) P against S diag(r0) P: the eigenvalues are r / r0 (Strang, 6.2)."""
    mixing = np.array([[0.9, 0.2, 0.05], [0.15, 0.8, 0.2], [0.02, 0.25, 0.85]])
    light = np.array([[1.0, 0.1, 0.0], [0.05, 0.9, 0.1], [0.0, 0.1, 0.7]])
    r, r0 = np.array([0.1, 0.5, 0.3]), np.array([0.6, 0.55, 0.5])
    seen = ratios(mixing @ np.diag(r) @ light, mixing @ np.diag(r0) @ light)
    # The projector's own mixing stays; it is small.
    np.testing.assert_allclose(seen, r / r0, rtol=1e-9)


def test_colour_of_the_cloth(rig, loaded, empty) -> None:
    found = measure_colour(rig, loaded, empty)
    true = lab_from_linear(np.array([CLOTH]))
    assert ciede2000(np.array([found.lab]), true)[0] < 3
    assert "known" in found.against
    unknown = replace(rig, eye=replace(rig.eye, reflectance=None))
    assert "taken for mid grey" in measure_colour(unknown, loaded, empty).against


def test_the_platen_against_white_paper(rig, empty) -> None:
    """A sheet of the reflectance that paper is taken for: the platen's own comes out."""
    names = {"dark", "white", "dim", *COLOURS}
    lens = rig.eye.camera
    scene = EyeScene(rig.projector, rig.face, lens, SIZE, reflectance=(PAPER,) * 3, fine=1)
    paper = Burst("paper", scene.burst(f for f in burst_frames(rig) if f.name in names))
    found = measure_platen(rig, empty, paper)
    assert ciede2000(*(lab_from_linear(np.array([each])) for each in (found, PLATEN)))[0] < 2
    assert measure_platen(rig, empty, empty) is None  # no paper lies there


def test_nothing_moved(rig, empty) -> None:
    seen = check_dots(rig, empty)
    assert seen.verdict == "unchanged"
    assert seen.moved < 0.3


@pytest.mark.parametrize("way", [(1.0, 0.0), (0.0, 1.0), (0.7, -0.7)])
def test_a_millimetre_is_told(rig, empty, way) -> None:
    """The camera is taken to stand a millimetre from where it does."""
    lens = rig.eye.camera
    shift = lens.rotation @ np.array([*way, 0.0])
    moved = replace(lens, tx=lens.tx + shift[0], ty=lens.ty + shift[1], tz=lens.tz + shift[2])
    seen = check_dots(replace(rig, eye=replace(rig.eye, camera=moved)), empty)
    assert seen.verdict == "moved"
    assert seen.moved == pytest.approx(1.0, abs=0.25)


def test_no_dots_no_verdict(rig, empty) -> None:
    dark = {**empty.pictures, "dots": empty.pictures["dark"]}
    assert check_dots(rig, Burst("dark", dark)).verdict == "cannot see"


def test_all_that_is_told_of_the_press(rig, loaded, empty) -> None:
    seen = read_press(rig, loaded, empty)
    flat = seen.bare.grid[np.isfinite(seen.bare.grid)]
    assert np.sqrt(np.mean(flat**2)) < 0.3
    assert seen.rig.verdict == "unchanged"
    assert seen.surface.seen.plain()["step_mm"] == 5.0
    small = Burst("small", {name: picture[:300] for name, picture in empty.pictures.items()})
    with pytest.raises(Refusal, match="take both with one setting"):
        read_press(rig, loaded, small)
