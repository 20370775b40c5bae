"""Cloth on the virtual platen: lies true where it is flat, and light meets it where it is."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from calibration.geometry import Isometry
from calibration.photo.read import read_photo
from chalkbeam.garments import garment
from chalkbeam.simulator.rig import (
    DEFAULT_FACE,
    Cloth,
    Lens,
    PressScene,
    Projector,
    RoomLight,
    Sensor,
    drape,
    light_frame,
    look_at,
    paint,
    random_rig,
    render_photo,
    write_photo,
)
from chalkbeam.simulator.rig.cloth import flat_points, sample
from chalkbeam.simulator.rig.garment_picture import NAVY, WHITE

POSE = Isometry(4.0, 225.0, 0.02, mirrored=True)


@pytest.fixture(scope="module")
def tee() -> Cloth:
    piece = garment("crew_tee", "M")
    picture = paint(piece.face("front"), WHITE, piece.thickness, density=1.5)
    return drape(picture, POSE, DEFAULT_FACE, thickness=piece.thickness, support=6.0, seed=3)


def overhead(pixels: int, focal: float) -> Lens:
    position = (30.0, -200.0, 850.0)
    return Lens(
        size=(pixels, pixels),
        focal=focal,
        centre=(pixels / 2 - 0.5, pixels / 2 - 0.5),
        turn=look_at(position, (0.0, 0.0, 0.0)),
        position=position,
    )


def test_cloth_lies_at_its_thickness_and_where_it_was_laid(tee: Cloth) -> None:
    inner = flat_points(tee, DEFAULT_FACE)
    clear = inner[inner[:, 1] < 120]  # away from the collar
    heights = tee.height_at(clear)
    assert abs(np.median(heights) - 6.8) < 0.3
    assert heights.std() < 0.6
    gx, gy = tee.grid(*(clear.astype(np.float32)[:, k] for k in (0, 1)))
    pixel = np.column_stack(
        [sample(field, gx[:, None], gy[:, None]).ravel() for field in tee.texture]
    )
    expected = tee.picture.pixels(POSE.inverse().apply(clear))
    np.testing.assert_allclose(pixel, expected, atol=0.02)


def test_hanging_cloth_keeps_its_length(tee: Cloth) -> None:
    """Down the hanging front, distance along the surface is distance on the garment."""
    y = np.linspace(-DEFAULT_FACE.depth / 2 - 60, -DEFAULT_FACE.depth / 2, 400, dtype=np.float32)
    gx, gy = tee.grid(np.zeros_like(y), y)
    row = sample(tee.texture[1], gx[:, None], gy[:, None]).ravel() / tee.picture.density
    # Without its folds the surface hangs by the same drop at every place of an edge.
    heights = [
        tee.height_at(np.column_stack([np.full(len(y), x), y])) for x in range(-150, 151, 10)
    ]
    mean = np.mean(heights, axis=0)
    on_surface = np.hypot(np.diff(y), np.diff(mean)).sum()
    assert on_surface == pytest.approx(abs(row[-1] - row[0]), rel=0.05)


def test_light_falls_on_the_cloth_at_its_height(tee: Cloth) -> None:
    """A projected disc is seen where its ray meets the height field, found by bisection."""
    rig = random_rig(11)
    view = overhead(700, 900.0)
    spots = rig.projector_from_platen([[0.0, 0.0], [-100.0, 80.0], [110.0, -120.0]], 6.8)
    frame = np.zeros((1080, 1920, 3), np.uint8)
    for spot in np.round(spots).astype(int):
        cv2.circle(frame, (int(spot[0]), int(spot[1])), 12, (255, 255, 255), -1)
    lamp = rig.projector.lamp
    projector = Projector(rig.projector.view, type(lamp)(brightness=3.0, black=0.0))
    scene = PressScene(DEFAULT_FACE, cover=False, cloth=tee, room=RoomLight(level=0.02))
    lit = light_frame(frame, projector.lamp)
    sensor = Sensor(vignette=0.0)
    seen = render_photo(scene, view, sensor, projector, lit, seed=None).astype(float).sum(axis=2)
    for spot in np.round(spots):
        low, high = 0.0, 20.0
        for _ in range(40):
            middle = (low + high) / 2
            at = rig.platen_from_projector(spot, middle)
            low, high = (middle, high) if tee.height_at(at)[0] > middle else (low, middle)
        landed = np.array([[*rig.platen_from_projector(spot, low)[0], low]])
        (u, v) = view.pixels(landed)[0]
        window = 14
        top, left = round(v) - window, round(u) - window
        part = seen[top : top + 2 * window + 1, left : left + 2 * window + 1] ** 2.2
        part = np.clip(part - 0.3 * part.max(), 0, None)
        rows, columns = np.indices(part.shape)
        centroid = np.array([(columns * part).sum(), (rows * part).sum()]) / part.sum()
        assert (
            np.hypot(*np.subtract(np.add(centroid, (left, top)), (u, v))) < 0.35
        )  # px; 1 px is 1 mm here
        flat = view.pixels([[*rig.platen_from_projector(spot, 0.0)[0], 0.0]])[0]
        assert np.hypot(*(flat - (u, v))) > 2.0  # at height 0 it would be seen elsewhere


def test_paint_shows_every_style() -> None:
    for style, size, face in (
        ("pullover_hood", "L", "back"),
        ("placket_shirt", "M", "front"),
        ("zip_hood", "S", "front"),
    ):
        piece = garment(style, size)
        picture = paint(piece.face(face), NAVY, piece.thickness, density=0.8)
        cover = picture.colour[..., 3] > 127
        assert 0.3 < cover.mean() < 0.9
        # The outline is covered and the corners of its box are not.
        inside = picture.pixels(piece.face(face).outline.mean(axis=0)[None])[0].round().astype(int)
        assert cover[inside[1], inside[0]]
        assert not cover[0, 0]


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_photo_files_carry_exif(tmp_path: Path, orientation: int) -> None:
    # Source of the orientation's meaning: Pillow's ImageOps.exif_transpose.
    planned = random_rig(2, scale=0.25).photos[0]
    image = np.zeros((756, 1008, 3), np.uint8)
    image[:100, :200] = (255, 60, 20)
    image[:, 500:] += np.uint8(90)
    path = tmp_path / "photo.jpg"
    write_photo(
        image, path, make="Harbour", model="Tern 4", view=planned.view, orientation=orientation
    )
    upright = np.asarray(ImageOps.exif_transpose(Image.open(path)))
    assert upright.shape == image.shape
    assert upright[50, 100, 2] > 200
    assert not list(tmp_path.glob("*.part"))
    photo = read_photo(path)
    assert photo.size == (1008, 756)
    assert photo.focal_hint == pytest.approx(planned.view.focal, rel=0.03)
    assert "Tern 4" in photo.camera
