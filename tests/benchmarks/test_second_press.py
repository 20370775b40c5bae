"""The second press, which the eye is measured against, held against other people's figures."""

from __future__ import annotations

import csv
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.optimize import brentq
from skimage.color import rgb2lab

from benchmarks._second_press import drape, press, scene, shirt
from benchmarks._second_press.lens import looking, of_plain
from benchmarks._second_press.scene import burst

DATA = Path(__file__).parent.parent / "data"
LENS = looking(
    (1280, 720), np.array([250.0, 300.0, 900.0]), np.array([10.0, 30.0, 0.0]), 1250.0, 0.05,
    bend=(-0.1, 0.03, 0.0006, -0.0004),
)  # fmt: skip


def test_its_lens_is_opencvs() -> None:
    """OpenCV 4's projectPoints."""
    rng = np.random.default_rng(1)
    points = rng.uniform((-300, -300, -100), (300, 300, 30), (50, 3))
    matrix = np.array([[1250.0, 0, LENS.cx], [0, 1250.0, LENS.cy], [0, 0, 1]])
    turn = cv2.Rodrigues(LENS.turn)[0]
    want = cv2.projectPoints(points, turn, LENS.shift, matrix, np.array(LENS.bend))[0]
    np.testing.assert_allclose(LENS.see(points)[0], want[:, 0], atol=1e-3)
    plain = LENS.plain()
    again = of_plain(tuple(plain.pop("size")), plain)
    np.testing.assert_allclose(again.see(points)[0], want[:, 0], atol=1e-3)


def test_its_rays_go_where_its_lens_sees() -> None:
    rays = LENS.rays()[::90, ::160].reshape(-1, 3)
    seen = LENS.see(LENS.at + 800 * rays)[0]
    v, u = np.mgrid[0:720:90, 0:1280:160]
    np.testing.assert_allclose(seen, np.column_stack([u.ravel(), v.ravel()]), atol=0.01)


def test_a_thread_held_at_its_ends_hangs_in_a_catenary() -> None:
    """Leibniz, Huygens and Johann Bernoulli 1691: y = a cosh(x / a), from any textbook."""
    long, span, count = 500.0, 400.0, 41
    rest = np.zeros((1, count, 3))
    rest[0, :, 0] = np.linspace(0, long, count)
    start = rest.copy()
    start[0, :, 0] *= span / long
    held = np.zeros((1, count), bool)
    held[0, [0, -1]] = True
    hangs = drape.relax(
        rest, np.ones_like(held), held, stiff=0.0, steps=2000, weight=0.004, start=start
    )[0]
    a = brentq(lambda a: 2 * a * np.sinh(span / 2 / a) - long, 50, 1000)
    want = a * np.cosh((hangs[:, 0] - span / 2) / a) - a * np.cosh(span / 2 / a)
    sag = -want.min()
    assert sag > 120
    np.testing.assert_allclose(hangs[:, 2], want, atol=0.02 * sag)


def test_cloth_stays_off_the_plate_and_keeps_its_threads() -> None:
    plate = drape.Plate(200, 200, 15, 12, 100)
    x = np.arange(-140, 141, 14.0)
    rest = np.zeros((len(x), len(x), 3))
    rest[..., :2] = np.stack(np.meshgrid(x, x), axis=-1)
    rest[..., 2] = 1.0
    held = plate.inside(rest[..., 0], rest[..., 1]) > 6
    net = drape.relax(rest, np.ones_like(held), held, plate, 1.0, 0.8, weight=0.05)
    np.testing.assert_array_equal(net[held], rest[held])
    assert net[..., 2].min() < -15
    assert net[..., 2].min() >= -99.1
    along = np.linalg.norm(np.diff(net, axis=0), axis=-1)
    assert np.percentile(np.abs(along - 14), 95) < 0.01 * 14
    over = plate.inside(net[..., 0], net[..., 1]) > 1
    assert net[over & (net[..., 2] > -10), 2].min() > 0.5


def test_pits_grow_with_the_chest_as_a_published_block_does() -> None:
    """The block “teagan”, tests/data/tee_block_landmarks.csv; boxy blanks: within a third."""
    lines = (DATA / "tee_block_landmarks.csv").read_text().splitlines()
    rows = [r for r in csv.DictReader(x for x in lines if x[0] != "#") if r["body"] == "male"]
    chest = [float(r["chest_half_width_flat"]) for r in rows]
    pit = [float(r["armhole_depth_from_hps"]) for r in rows]
    small, large = shirt.cut_of("S"), shirt.cut_of("2XL")
    ours = (large.pit - small.pit) / (large.chest - small.chest)
    assert ours == pytest.approx(np.polyfit(chest, pit, 1)[0], rel=1 / 3)


@pytest.mark.slow
def test_a_spot_of_light_is_seen_where_both_lenses_say() -> None:
    bare = scene(4010, "empty", scale=0.5)
    point = np.array([[60.0, -80.0, 0.0]])
    spot = bare.press.projector.see(point)[0][0]
    width, height = bare.press.projector.size
    y, x = np.mgrid[0:height, 0:width]
    shown = np.exp(-((x - spot[0]) ** 2 + (y - spot[1]) ** 2) / 2 / 5**2) ** (1 / 2.2)
    grey = np.round(255 * shown).astype(np.uint8)
    photos = burst(bare, {"dark": np.zeros_like(grey), "spot": grey})
    light = np.clip(photos["spot"].astype(float).sum(2) - photos["dark"].sum(2) - 60, 0, None)
    light **= 2
    v, u = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    seen = np.array([(light * u).sum(), (light * v).sum()]) / light.sum()
    np.testing.assert_allclose(seen, bare.camera.see(point)[0][0], atol=0.3)


@pytest.mark.slow
def test_what_is_said_to_be_true_is_what_is_seen() -> None:
    laid = scene(4021, "plain", scale=0.5, face="front", colour="red")
    view, true = laid.view, laid.truth
    linear = np.array(true["colour"]["linear"])
    curve = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(true["colour"]["lab"], rgb2lab(curve), atol=0.1)  # scikit-image
    grid = true["height"]
    mm = np.array([[np.nan if v is None else v for v in row] for row in grid["mm"]])
    row, column = mm.shape[0] // 2, mm.shape[1] // 2
    at = np.array(grid["origin_mm"]) + grid["step_mm"] * np.array([column, row])
    u, v = np.round(laid.camera.see(np.array([*at, mm[row, column]]))[0]).astype(int)
    assert view.kind[v, u] == 4
    np.testing.assert_allclose(view.points[v, u], [*at, mm[row, column]], atol=1.5)
    assert true["garment"]["neck_mm"][1] > true["garment"]["lower_mm"][1] + 290


def test_presses_differ_and_stay_the_same_by_number() -> None:
    assert press(7).camera.plain() == press(7).camera.plain()
    assert press(7).camera.plain() != press(8).camera.plain()
    for number in range(12):
        one = press(number)
        assert 40 <= abs(one.round_from_projector) <= 95
        corners = np.array([[x, y, 0] for x in (-1, 1) for y in (-1, 1)]) * np.array(
            [one.plate.width / 2 - 20, one.plate.depth / 2 - 20, 0]
        )
        for lens in (one.camera, one.projector):
            seen = lens.see(corners)[0]
            assert (seen > 0).all()
            assert (seen < lens.size).all()
