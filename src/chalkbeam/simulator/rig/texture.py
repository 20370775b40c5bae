"""Flat pictures to be sampled by rays: paper with its prints, and the projector's frame.

Both are blurred before sampling to what one sample stands for, so that point
sampling neither aliases nor shifts an edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.simulator.rig.optics import F32
from chalkbeam.simulator.rig.scene import PAPER_WHITE, PRINTED_BLACK, PressScene

_PRINT_BLUR = 0.6
"""Blur of a print before it is laid, texture px: without it, laying would jag its edges."""
_BILINEAR_VARIANCE = 1 / 6
"""Mean variance that one bilinear sampling adds, px²."""


@dataclass(frozen=True, eq=False)
class FaceTexture:
    """The topmost flat face seen from above.

    Attributes
    ----------
    ink : uint8 array, shape (H, W)
        0 black ink, 255 bare paper.
    paper : uint8 array, shape (H, W), or None
        Where paper lies; None where it lies everywhere.
    pixels_per_mm : float
        The picture's middle is the platen's origin and its rows run towards -y.
    """

    ink: NDArray[np.uint8]
    paper: NDArray[np.uint8] | None
    pixels_per_mm: float

    def reflectance(self, x: F32, y: F32, bare: tuple[float, float, float]) -> F32:
        """Return the reflectance, shape (H, W, 3), at planes of platen coordinates, mm."""
        rows, columns = self.ink.shape
        u = x * np.float32(self.pixels_per_mm) + np.float32(columns / 2 - 0.5)
        v = y * np.float32(-self.pixels_per_mm) + np.float32(rows / 2 - 0.5)
        ink = _sample(self.ink, u, v)
        black, white = np.array(PRINTED_BLACK, np.float32), np.array(PAPER_WHITE, np.float32)
        colour: F32 = black + ink[..., None] * ((white - black) / np.float32(255))
        if self.paper is not None:
            share = _sample(self.paper, u, v)[..., None] / np.float32(255)
            base = np.array(bare, np.float32)
            colour = base + share * (colour - base)
        return colour


def _sample(picture: NDArray[np.uint8], u: F32, v: F32) -> F32:
    sampled = cv2.remap(
        picture, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE, borderValue=0
    )
    return np.asarray(sampled, dtype=np.float32)


def face_texture(scene: PressScene, pixel_mm: float) -> FaceTexture:
    """Paint the topmost flat face for a camera whose pixel covers `pixel_mm` on it."""
    density = float(min(12, max(4, round(2.0 / pixel_mm))))
    reach = np.array([scene.face.width / 2, scene.face.depth / 2]) + 2
    columns, rows = (2 * math.ceil(side * density) for side in reach)
    ink = np.full((rows, columns), 255, np.uint8)
    paper = None if scene.cover else np.zeros((rows, columns), np.uint8)
    for sheet in scene.prints:
        height, width = sheet.image.shape
        source = np.array([[-0.5, -0.5], [width - 0.5, -0.5], [width - 0.5, height - 0.5]])
        target = sheet.corners()[:3] * [density, -density] + [columns / 2 - 0.5, rows / 2 - 0.5]
        matrix = cv2.getAffineTransform(source.astype(np.float32), target.astype(np.float32))
        shrink = max(1.0, width / (sheet.width * density))
        soft = cv2.GaussianBlur(
            sheet.image, (0, 0), _PRINT_BLUR * shrink, borderType=cv2.BORDER_REPLICATE
        )
        blank = np.full_like(soft, 255)
        for canvas, picture in ((ink, soft), (paper, blank)):
            if canvas is not None:
                cv2.warpAffine(
                    picture,
                    matrix,
                    (columns, rows),
                    dst=canvas,
                    flags=cv2.INTER_LINEAR,
                    borderMode=cv2.BORDER_TRANSPARENT,
                )
    wanted = (0.5 * pixel_mm * density) ** 2
    missing = wanted - _PRINT_BLUR**2 - 2 * _BILINEAR_VARIANCE
    if missing > 0.02:
        ink = np.asarray(cv2.GaussianBlur(ink, (0, 0), math.sqrt(missing)), np.uint8)
    return FaceTexture(ink, paper, density)


@dataclass(frozen=True)
class Lamp:
    """What a projector's electronics and colours make of a frame.

    Attributes
    ----------
    brightness : float
        Irradiance of full white on the platen's middle; the room's `level` is its unit.
    black : float
        Light of a black pixel as a share of white's.
    gamma : float
        Exponent from pixel value to light.
    primaries : tuple of 3 rows
        ``light_bgr = primaries @ pixel_bgr``: primaries are not those of the camera.
    blur : float
        Spread of the lens, standard deviation, projector px.
    vignette : float
        Share of light lost in the frame's corner.
    """

    brightness: float = 1.0
    black: float = 0.003
    gamma: float = 2.2
    primaries: tuple[tuple[float, ...], ...] = (
        (0.93, 0.05, 0.01),
        (0.06, 0.90, 0.05),
        (0.01, 0.05, 0.94),
    )
    blur: float = 0.4
    vignette: float = 0.15


@dataclass(frozen=True, eq=False)
class LitFrame:
    """A frame as it leaves the projector's lens, ready to be sampled.

    Attributes
    ----------
    picture : uint16 array, shape (factor H, factor W, 3)
        Linear light before the primaries, 65535 is white.
    factor : int
        Samples a projector pixel and side.
    """

    picture: NDArray[np.uint16]
    factor: int
    size: tuple[int, int]

    def light(self, u: F32, v: F32) -> F32:
        """Return the light, shape (H, W, 3), at planes of projector px; none off the frame."""
        scale = np.float32(self.factor)
        shift = np.float32((self.factor - 1) / 2)
        sampled = cv2.remap(
            self.picture,
            u * scale + shift,
            v * scale + shift,
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
        return np.asarray(sampled, np.float32) * np.float32(1 / 65535)


def light_frame(frame: NDArray[np.uint8], lamp: Lamp) -> LitFrame:
    """Turn a frame of pixel values, shape (H, W, 3) BGR, into square pixels of blurred light."""
    factor = 3 if frame.shape[1] <= 2048 else 2
    levels = (np.arange(256) / 255.0) ** lamp.gamma
    levels = (lamp.black + (1 - lamp.black) * levels) * 65535
    linear = cv2.LUT(frame, np.round(levels).astype(np.uint16))
    height, width = frame.shape[:2]
    large = cv2.resize(
        linear, (width * factor, height * factor), interpolation=cv2.INTER_NEAREST_EXACT
    )
    spread = math.sqrt(max(0.05, lamp.blur**2 * factor**2 - _BILINEAR_VARIANCE))
    large = cv2.GaussianBlur(large, (0, 0), spread, borderType=cv2.BORDER_CONSTANT)
    return LitFrame(np.asarray(large, np.uint16), factor, (width, height))
