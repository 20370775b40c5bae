"""What is on a face's cloth, as a picture of the flat face: its colour, its trims, the artwork."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry, Points, as_points
from chalkbeam.garments import Face

Floats = NDArray[np.float64]
RGB = tuple[float, float, float]

SCALE = 1.6
"""Pixels per mm of a face's picture; finer than a worn view shows."""

OVERLAP = 16.0
"""How far a panel's cloth is carried on under a sleeve, mm."""

SIDEWAYS = 16.0
"""How far a panel's cloth is carried on beyond its side seams, mm, so that front and back meet."""

TONES = {"rib": 0.93, "metal": 0.75}
LINES = {"edge": (0.55, 1.4), "seam": (0.72, 1.1), "stitch": (0.80, 0.8), "fold": (1.0, 0.0)}
"""Tone and width, mm, of lines by kind."""

ELSEWHERE = {
    "sleeve", "inside", "collar", "hood", "opening", "hood hem", "cord", "hood seam",
    "hood lying down", "outer line", "handle", "waistband",
}  # fmt: skip
"""Lines of the flat drawing that the worn view shapes in space instead."""


@dataclass(frozen=True, eq=False)
class Texture:
    """A face's picture.

    Attributes
    ----------
    colour : ndarray, shape (h, w, 3)
        RGB, 0 to 1.
    cover : ndarray, shape (h, w)
        1 where there is cloth, 0 where the face has a hole or ends.
    origin : (x, y)
        The face's point at the centre of the top-left pixel, mm.
    """

    colour: NDArray[np.float32]
    cover: NDArray[np.float32]
    origin: tuple[float, float]

    def pixels(self, flat: Floats) -> Floats:
        """Map points of the face, mm, shape (..., 2), to pixels of the picture."""
        mapped: Floats = (flat - self.origin) * SCALE
        return mapped

    def sample(self, flat: Floats) -> tuple[Floats, Floats]:
        """Return colour, shape (N, 3), and cover, shape (N,), at points of the face, mm."""
        if not len(flat):
            return np.zeros((0, 3)), np.zeros(0)
        at = self.pixels(flat).astype(np.float32).reshape(1, -1, 2)
        colour, cover = (_remap(layer, at) for layer in (self.colour, self.cover))
        return colour[0].astype(np.float64), cover[0].astype(np.float64)


def _remap(layer: NDArray[np.float32], at: NDArray[np.float32]) -> NDArray[np.float32]:
    # remap refuses maps wider than 32767: cut the list into rows.
    count, row = at.shape[1], 16384
    filled = np.zeros((1, -(-count // row) * row, 2), dtype=np.float32)
    filled[:, :count] = at
    grid = filled.reshape(-1, row, 2)
    taken = cv2.remap(
        layer, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    flat = taken.reshape(1, -1, *taken.shape[2:])[:, :count]
    return np.asarray(flat, dtype=np.float32)


@functools.lru_cache(maxsize=8)
def cloth_texture(face: Face, cloth: RGB, filled: bool) -> Texture:
    """Return the picture of a face without artwork.

    Parameters
    ----------
    face : Face
    cloth : RGB
        Colour of the cloth, 0 to 1.
    filled : bool
        Whether there is cloth everywhere (a sleeve's whole tube), not in the outline alone.
    """
    (x0, y0), (x1, y1) = face.outline.min(axis=0) - 40.0, face.outline.max(axis=0) + 40.0
    size = (round((x1 - x0) * SCALE) + 1, round((y1 - y0) * SCALE) + 1)
    base = np.array(cloth, dtype=np.float32)
    colour = np.broadcast_to(base, (size[1], size[0], 3)).copy()
    cover = np.full((size[1], size[0]), 255 if filled else 0, dtype=np.uint8)
    origin = (float(x0), float(y0))

    def drawn(points: Points) -> NDArray[np.int32]:
        return np.round((as_points(points) - origin) * SCALE * 16).astype(np.int32)

    if not filled:
        cover = _cover(face, cover, drawn)
    for line in face.lines:
        if line.name in ELSEWHERE or (line.name == "cuff" and face.name in ("front", "back")):
            continue
        points = drawn(line.points)
        if line.closed and line.fill in ("rib", "metal") and line.name != "raglan sleeve":
            tone = tuple(float(v) for v in base * TONES[line.fill])
            cv2.fillPoly(colour, [points], tone, cv2.LINE_AA, 4)
        tone_share, width = LINES[line.kind]
        if width and line.name != "raglan sleeve":
            tone = tuple(float(v) for v in base * tone_share)
            thick = max(1, round(width * SCALE))
            if line.name == "hem":  # its ends lie in the side seams
                points = points[:2]
            closed = line.closed and line.name != "hem"
            cv2.polylines(colour, [points], closed, tone, thick, cv2.LINE_AA, 4)
    return Texture(colour, cover.astype(np.float32) / np.float32(255), origin)


def _disc(reach: float) -> NDArray[np.uint8]:
    size = 2 * round(reach * SCALE) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), dtype=np.uint8)


def _cover(
    face: Face, blank: NDArray[np.uint8], drawn: Callable[[Points], NDArray[np.int32]]
) -> NDArray[np.uint8]:
    """Return where a panel has cloth: a top's is carried on under seams and sleeves."""
    panel = blank.copy()
    cv2.fillPoly(panel, [drawn(face.outline)], 255, cv2.LINE_AA, 4)
    if face.name not in ("front", "back"):
        return panel
    neck = abs(face.across["left_neck_point"].value)
    cover = panel.copy()
    low = drawn(np.array([[0.0, face.along["pit_line"].value]]))[0, 1] // 16
    sideways = np.ones((1, 2 * round(SIDEWAYS * SCALE) + 1), np.uint8)
    cover[low:] = np.maximum(cover[low:], cv2.dilate(panel[low:], sideways))
    if any(line.name in ("sleeve", "raglan sleeve") for line in face.lines):
        tip, pit = face.along["shoulder_tip"].value, face.along["pit_line"].value
        start, out = tip + 0.1 * (pit - tip), abs(face.across["left_side_seam"].value) + 60
        zone = blank.copy()
        for side in (1.0, -1.0):
            corners = np.array([[neck, start], [out, start], [out, pit], [neck, pit]])
            cv2.fillPoly(zone, [drawn(corners * (side, 1.0))], 255, cv2.LINE_AA, 4)
        cover = np.maximum(cover, np.minimum(cv2.dilate(panel, _disc(OVERLAP)), zone))
    return np.asarray(cover, dtype=np.uint8)


def with_art(
    texture: Texture, art: NDArray[np.uint8], face_from_art: Isometry, width: float
) -> Texture:
    """Return the picture with artwork laid on it.

    Parameters
    ----------
    texture : Texture
    art : ndarray, shape (h, w, 4), uint8
        RGBA, straight alpha.
    face_from_art : Isometry
        Pose of the art frame (origin at the picture's middle, x right, y down, mm).
    width : float
        Width of the whole artwork picture, mm.
    """
    height, wide = art.shape[:2]
    shrink = min(1.0, 1.25 * width * SCALE / wide)
    layer = art.astype(np.float32) / 255
    layer[..., :3] *= layer[..., 3:]
    if shrink < 1.0:
        size = (max(1, round(wide * shrink)), max(1, round(height * shrink)))
        layer = np.asarray(cv2.resize(layer, size, interpolation=cv2.INTER_AREA), np.float32)
    mm = width / layer.shape[1]
    # art mm = (pixel - middle) * mm; texture pixel = (face mm - origin) * SCALE
    middle = np.array([(layer.shape[1] - 1) / 2, (layer.shape[0] - 1) / 2])
    linear = face_from_art.matrix * mm * SCALE
    shift = (np.array([face_from_art.x, face_from_art.y]) - texture.origin) * SCALE
    matrix = np.column_stack([linear, shift - linear @ middle])
    size = (texture.colour.shape[1], texture.colour.shape[0])
    laid = np.asarray(cv2.warpAffine(layer, matrix, size, flags=cv2.INTER_LINEAR), np.float32)
    colour = texture.colour * (1 - laid[..., 3:]) + laid[..., :3]
    return Texture(colour, texture.cover, texture.origin)
