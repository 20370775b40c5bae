"""A press without height, for tests of the eye by files: platen, bench and cloth are one plane.

Pictures are warped by OpenCV from a drawing in platen millimetres; the lay drawn is the truth.
"""

from __future__ import annotations

import cv2
import numpy as np

from calibration.geometry import Isometry
from chalkbeam.garments import Garment
from tests.support.rigs import demo_rig

PER_MM = 2.0
REACH = 400.0  # mm from the platen's middle that are drawn
BENCH, PLATEN, CLOTH = 0.12, 0.3, 0.62
SHOWN = ((np.arange(256) / 255) ** 2.2).astype(np.float32)
"""Light of each level of the projector."""


def bare():
    """Return the albedo of bench and platen, rows towards the operator."""
    face = demo_rig().face
    world = np.full((round(2 * REACH * PER_MM),) * 2, BENCH, np.float32)
    half = np.array([face.width, face.depth]) / 2
    _fill(world, np.array([-half, (half[0], -half[1]), half, (-half[0], half[1])]), PLATEN)
    return world


def dressed(piece: Garment, face: str, lay: Isometry):
    """Return the albedo with a garment on it: cloth, rib, seams as dark grooves."""
    world, drawn = bare(), piece.face(face)
    _fill(world, lay.apply(drawn.outline), CLOTH)
    for line in drawn.lines:
        points = lay.apply(line.points)
        if line.fill in ("inside", "rib"):
            _fill(world, points, CLOTH * {"inside": 0.5, "rib": 0.94}[line.fill])
        pixels = [_pixels(points)]
        cv2.polylines(world, pixels, line.closed, CLOTH * 0.7, 3, cv2.LINE_AA, 4)
    return cv2.GaussianBlur(world, (0, 0), 1.2)


def _pixels(points):
    return np.rint((np.asarray(points) * (1, -1) + REACH) * PER_MM * 16).astype(np.int32)


def _fill(world, points, value):
    cv2.fillPoly(world, [_pixels(points)], float(value), cv2.LINE_AA, 4)


def photographed(world, frames, camera, size, seed=1):
    """Return a fixed camera's pictures of the world under each frame of light, by name."""
    rig = demo_rig()
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    ground = camera.unproject(np.column_stack([x.ravel(), y.ravel()]))
    light = rig.projector.projector_from_platen(ground).astype(np.float32).reshape(*x.shape, 2)
    at = ((ground * (1, -1) + REACH) * PER_MM).astype(np.float32).reshape(*x.shape, 2)
    albedo = cv2.remap(world, at, None, cv2.INTER_AREA, borderValue=BENCH)[..., None]
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 0.003, (*albedo.shape[:2], 3)).astype(np.float32)
    photos = {}
    for number, frame in enumerate(frames):
        lit = cv2.LUT(cv2.remap(frame.image, light, None, cv2.INTER_LINEAR, borderValue=0), SHOWN)
        seen = cv2.GaussianBlur(albedo * (0.95 * lit + 0.06), (0, 0), 0.6)
        seen += np.roll(noise, 37 * number, axis=number % 2)
        seen = np.clip(seen, 0, 1)
        photos[frame.name] = np.rint(255 * seen ** (1 / 2.2)).astype(np.uint8)
    return photos
