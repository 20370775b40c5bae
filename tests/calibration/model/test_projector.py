"""The map from platen to projector: its inverse, heights, and how light walks with height."""

from __future__ import annotations

import numpy as np

from calibration.model.pinhole import Pinhole
from calibration.model.platen_surface import Bow
from calibration.model.projector import ProjectorMap

# A projector 1.1 m away whose axis leans about 30 degrees, lens shifted half a picture.
LEANING = ProjectorMap(
    (1920, 1080),
    Pinhole(
        2400.0, 965.0, 1100.0, -0.03, 0.01, rx=2.6, ry=0.05, rz=-0.04, tx=10.0, ty=-260.0, tz=1100.0
    ),
)
GRID = np.stack(np.meshgrid(np.linspace(-200, 200, 9), np.linspace(-250, 250, 11)), -1).reshape(
    -1, 2
)


def test_there_and_back() -> None:
    for height in (0.0, 0.7, 10.0, 20.0):
        pixels = LEANING.projector_from_platen(GRID, height)
        np.testing.assert_allclose(LEANING.platen_from_projector(pixels, height), GRID, atol=1e-9)


def test_heights_may_differ_by_point() -> None:
    heights = np.linspace(0, 20, len(GRID))
    together = LEANING.projector_from_platen(GRID, heights)
    apart = [LEANING.projector_from_platen(p, h)[0] for p, h in zip(GRID, heights, strict=True)]
    np.testing.assert_allclose(together, apart, atol=1e-12)
    np.testing.assert_allclose(LEANING.platen_from_projector(together, heights), GRID, atol=1e-9)


def test_there_and_back_on_a_bowed_platen() -> None:
    bowed = ProjectorMap(LEANING.size, LEANING.pinhole, Bow(0.2, -0.1, 0.15))
    for height in (0.0, 20.0):
        pixels = bowed.projector_from_platen(GRID, height)
        np.testing.assert_allclose(bowed.platen_from_projector(pixels, height), GRID, atol=1e-8)
    # A platen 1 mm high at a point is a flat one with 1 mm of cloth there.
    corner = np.array([[200.0, 0.0]])
    bow = Bow(xx=0.25)
    np.testing.assert_allclose(
        ProjectorMap(LEANING.size, LEANING.pinhole, bow).projector_from_platen(corner),
        LEANING.projector_from_platen(corner, 1.0),
        atol=1e-12,
    )


def test_light_walks_with_height_along_the_ray() -> None:
    # Similar triangles: a ray from the lens at height L moves (lens - point) / L per mm.
    pixels = LEANING.projector_from_platen(GRID)
    walked = (LEANING.platen_from_projector(pixels, 8.0) - GRID) / 8.0
    np.testing.assert_allclose(walked, LEANING.shift_per_height(GRID), atol=1e-10)


def test_a_map_is_a_value() -> None:
    assert ProjectorMap((1920, 1080), LEANING.pinhole) == LEANING
    assert Pinhole.from_vector(LEANING.pinhole.vector) == LEANING.pinhole
