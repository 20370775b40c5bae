"""The stand-in for the hardware must itself be true; OpenCV is the outside reference."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.geometry import Isometry
from chalkbeam.simulator.rig import (
    DEFAULT_FACE,
    LaidPrint,
    Lamp,
    Lens,
    PressScene,
    Projector,
    Sensor,
    light_frame,
    look_at,
    radiance,
    random_rig,
    render_photo,
)
from chalkbeam.simulator.rig.optics import F32

CLEAN = Sensor(blur=0.8, vignette=0.0, cross_talk=((1, 0, 0), (0, 1, 0), (0, 0, 1)))


def overhead(width: int = 1000, height: int = 1000, focal: float = 1400.0) -> Lens:
    position = (60.0, -150.0, 780.0)
    return Lens(
        size=(width, height),
        focal=focal,
        centre=(width / 2 - 0.5, height / 2 - 0.5),
        turn=look_at(position, (0.0, 0.0, 0.0), roll=0.2),
        position=position,
        k1=-0.12,
        k2=0.02,
    )


def chessboard(squares: int, square: float, density: int) -> LaidPrint:
    side = int(square * density)
    tile = np.indices((squares, squares)).sum(axis=0) % 2
    image = np.kron(tile, np.ones((side, side))).astype(np.uint8) * 255
    return LaidPrint(image, squares * square, squares * square, Isometry(20.0, -15.0, 0.3))


def inner_corners(sheet: LaidPrint, squares: int, square: float) -> np.ndarray:
    line = (np.arange(1, squares) - squares / 2) * square
    x, y = np.meshgrid(line, line)
    return sheet.pose.apply(np.column_stack([x.ravel(), y.ravel()]))


def refined(picture: np.ndarray, start: np.ndarray, window: int = 5) -> np.ndarray:
    corners = start.astype(np.float32).reshape(-1, 1, 2)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    cv2.cornerSubPix(picture, corners, (window, window), (-1, -1), criteria)
    return corners.reshape(-1, 2).astype(np.float64)


def as_opencv(view: Lens, points: np.ndarray) -> np.ndarray:
    matrix = np.array([[view.focal, 0, view.centre[0]], [0, view.focal, view.centre[1]], [0, 0, 1]])
    shift = -view.rotation @ np.array(view.position)
    bent = np.array([view.k1, view.k2, 0.0, 0.0])
    projected, _ = cv2.projectPoints(points, np.array(view.turn), shift, matrix, bent)
    return projected.reshape(-1, 2)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_projection_agrees_with_opencv(seed: int) -> None:
    # Source: cv2.projectPoints (OpenCV), an independent implementation of the same model.
    rig = random_rig(seed, "webcam")
    rng = np.random.default_rng(seed)
    points = np.column_stack([rng.uniform(-200, 200, (50, 2)), rng.uniform(0, 20, 50)])
    for view in (rig.projector.view, rig.photos[0].view):
        np.testing.assert_allclose(view.pixels(points), as_opencv(view, points), atol=1e-8)


def test_hit_undoes_pixels() -> None:
    view = overhead()
    points = np.array([[0.0, 0.0], [180.0, 230.0], [-190.0, 100.0]])
    heights = np.array([0.0, 12.0, 3.0])
    pixels = view.pixels(np.column_stack([points, heights]))
    np.testing.assert_allclose(view.hit(pixels, heights), points, atol=1e-9)


def test_whole_picture_rays_agree_with_single_rays() -> None:
    view = random_rig(5, "webcam").photos[0].view
    x, y, z = view.ray_strip(0, 1080)
    pixels = np.array([[0, 0], [1919, 0], [960, 540], [1900, 1070]])
    exact = view.rays(pixels)
    fast = np.array([[plane[v, u] for plane in (x, y, z)] for u, v in pixels], np.float64)
    assert np.abs(fast - exact).max() * view.focal < 0.005  # px


def test_printed_corners_lie_where_the_lens_puts_them() -> None:
    # Source of the positions: cv2.projectPoints; of the measurement: cv2.cornerSubPix.
    view = overhead()
    sheet = chessboard(8, 40.0, 10)
    scene = PressScene(DEFAULT_FACE, prints=(sheet,), spacer=7.0)
    picture = cv2.cvtColor(render_photo(scene, view, CLEAN, seed=None), cv2.COLOR_BGR2GRAY)
    corners = inner_corners(sheet, 8, 40.0)
    truth = as_opencv(view, np.column_stack([corners, np.full(len(corners), 7.0)]))
    off = refined(picture, truth) - truth
    assert np.abs(off.mean(axis=0)).max() < 0.01
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.03


def test_projected_corners_land_where_the_projector_puts_them() -> None:
    # Source of the positions: cv2.projectPoints for the camera; the projector's ray is
    # followed to the surface by Lens.hit, checked above against the same.
    rig = random_rig(11)
    side, view, height = 60, overhead(), 4.0
    tile = np.indices((18, 32)).sum(axis=0) % 2
    frame = cv2.merge([np.kron(tile, np.ones((side, side))).astype(np.uint8) * 255] * 3)
    scene = PressScene(DEFAULT_FACE, spacer=height)
    lamp = Lamp(brightness=5.0, black=0.0)
    projector = Projector(rig.projector.view, lamp)
    picture = render_photo(scene, view, CLEAN, projector, light_frame(frame, lamp), seed=None)
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    u, v = np.meshgrid(np.arange(2, 31) * side - 0.5, np.arange(2, 17) * side - 0.5)
    landed = rig.platen_from_projector(np.column_stack([u.ravel(), v.ravel()]), height)
    inside = (np.abs(landed) < [185, 235]).all(axis=1)
    spots = landed[inside]
    truth = as_opencv(view, np.column_stack([spots, np.full(len(spots), height)]))
    assert len(truth) > 60
    off = refined(grey, truth, window=4) - truth
    assert np.abs(off.mean(axis=0)).max() < 0.02
    assert np.sqrt((off**2).sum(axis=1).mean()) < 0.06


def test_light_adds() -> None:
    """Room light alone plus projector alone is both together: light is linear."""
    rig = random_rig(4, scale=0.08)
    view = rig.photos[0].view
    scene = PressScene(DEFAULT_FACE, room=rig.room)
    frame = np.full((1080, 1920, 3), 180, np.uint8)
    lit = light_frame(frame, rig.projector.lamp)
    both = radiance(scene, view, rig.projector, lit)
    room: F32 = radiance(scene, view, None, None)
    dark = PressScene(DEFAULT_FACE, room=type(rig.room)(level=0.0))
    beam = radiance(dark, view, rig.projector, lit)
    np.testing.assert_allclose(both, room + beam, atol=1e-5)
    assert beam.max() > 0.05


def test_same_seed_same_rig() -> None:
    first, second = random_rig(9), random_rig(9)
    assert first.projector == second.projector
    assert first.photos == second.photos
    assert random_rig(10).projector != first.projector


@pytest.mark.parametrize("seed", range(20))
def test_random_rigs_keep_their_stated_ranges(seed: int) -> None:
    rig = random_rig(seed, "webcam" if seed % 2 else "phone", photos=3, raised=1)
    position = np.array(rig.projector.view.position)
    tilt = np.degrees(np.arccos(position[2] / np.linalg.norm(position)))
    assert 20 <= tilt <= 45
    assert (rig.projector_from_platen(rig.face.outline()) >= 0).all()
    assert (rig.projector_from_platen(rig.face.outline()) < rig.projector.view.size).all()
    assert [planned.spacer for planned in rig.photos] == [0.0, 0.0, 0.0, 10.0]
    for index, planned in enumerate(rig.photos):
        seen = rig.camera_from_platen(index, rig.face.outline(), planned.spacer)
        assert (seen >= 0).all()
        assert (seen < planned.view.size).all()
