"""From light to a picture file: lens blur, vignetting, colour, noise, exposure, gamma."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.simulator.rig.arrays import U8
from chalkbeam.simulator.rig.optics import F32


@dataclass(frozen=True)
class Sensor:
    """How a camera turns light into numbers.

    Attributes
    ----------
    blur : float
        Standard deviation of lens, defocus and pixel together, px.
    vignette : float
        Share of light lost in the picture's corner.
    cross_talk : tuple of 3 rows
        ``recorded_bgr = cross_talk @ light_bgr``, rows sum to 1.
    white_balance : (float, float, float)
        What is left of a colour cast after the camera's own balance: gains, BGR.
    full_well : float
        Electrons of a pixel at full white; sets the shot noise.
    read_noise : float
        Electrons.
    exposure : float
        1 exposes the brightest large area just under white; 0.1 is a dark photo.
    white : float or None
        Instead of metering: the light that comes out just under white.
    motion : (float, float)
        How far the picture moved while it was taken, px.
    bands : float
        Strength of the stripes that a rolling shutter makes of a colour wheel, 0 to 1.
    sharpen : float
        Strength of the camera's own sharpening (unsharp mask of 1.5 px).
    """

    blur: float = 0.8
    vignette: float = 0.2
    cross_talk: tuple[tuple[float, ...], ...] = (
        (0.88, 0.10, 0.02),
        (0.08, 0.84, 0.08),
        (0.02, 0.10, 0.88),
    )
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    full_well: float = 6000.0
    read_noise: float = 4.0
    exposure: float = 1.0
    white: float | None = None
    motion: tuple[float, float] = (0.0, 0.0)
    bands: float = 0.0
    sharpen: float = 0.0


def develop(light: F32, sensor: Sensor, rng: np.random.Generator | None) -> U8:
    """Return the picture, uint8 BGR, that a camera makes of linear light.

    Parameters
    ----------
    light : float32 array, shape (H, W, 3)
        Overwritten: a 12 MP picture is large.
    sensor : Sensor
    rng : Generator or None
        Source of the noise; None for a picture without any.
    """
    cv2.GaussianBlur(light, (0, 0), max(sensor.blur, 0.05), dst=light)
    if any(sensor.motion):
        light = np.asarray(cv2.filter2D(light, -1, _motion_kernel(sensor.motion)), np.float32)
    light = np.asarray(cv2.transform(light, np.array(sensor.cross_talk, np.float32)), np.float32)
    height, width = light.shape[:2]
    level = sensor.exposure * 0.82 / max(sensor.white or _bright(light), 1e-6)
    rows = (np.arange(height, dtype=np.float32) - height / 2)[:, None]
    columns = (np.arange(width, dtype=np.float32) - width / 2)[None, :]
    radius = (rows**2 + columns**2) * np.float32(4 / (width**2 + height**2))
    light *= (np.float32(level) * (1 - np.float32(sensor.vignette) * radius))[..., None]
    if sensor.bands:
        _add_bands(light, sensor.bands)
    if rng is not None:
        _add_noise(light, sensor, rng)
    light *= np.array(sensor.white_balance, np.float32)
    np.clip(light, 0, 1, out=light)
    codes = np.asarray(light * np.float32(4095) + np.float32(0.5), np.uint16)
    picture: U8 = _srgb_table()[codes]
    if sensor.sharpen:
        soft = cv2.GaussianBlur(picture, (0, 0), 1.5)
        sharp = cv2.addWeighted(picture, 1 + sensor.sharpen, soft, -sensor.sharpen, 0)
        picture = np.asarray(sharp, np.uint8)
    return picture


def _bright(light: F32) -> float:
    """Return the level that only one pixel in a hundred of the picture exceeds."""
    small = light[::8, ::8].max(axis=2)
    return float(np.quantile(small, 0.99))


def _srgb_table() -> NDArray[np.uint8]:
    """Return sRGB codes of 12-bit linear light (IEC 61966-2-1)."""
    linear = np.arange(4096) / 4095
    curved = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(curved * 255), np.uint8)


def _add_noise(light: F32, sensor: Sensor, rng: np.random.Generator) -> None:
    strip = 256
    for first in range(0, len(light), strip):
        part = light[first : first + strip]
        spread = np.sqrt(
            np.maximum(part, 0) / np.float32(sensor.full_well)
            + np.float32((sensor.read_noise / sensor.full_well) ** 2)
        )
        part += spread * rng.standard_normal(part.shape, np.float32)


def _add_bands(light: F32, strength: float) -> None:
    """Dim blue, green and red in turn down the rows."""
    phase = np.arange(len(light)) * (2 * math.pi * 5 / len(light))
    for channel in range(3):
        wave = 1 - strength * (0.5 + 0.5 * np.sin(phase + channel * 2 * math.pi / 3))
        light[..., channel] *= wave.astype(np.float32)[:, None]


def _motion_kernel(motion: tuple[float, float]) -> F32:
    length = math.hypot(*motion)
    side = 2 * math.ceil(length / 2) + 3
    kernel = np.zeros((side, side), np.float32)
    for step in np.linspace(-0.5, 0.5, 4 * side):
        x, y = (side // 2 + step * part for part in motion)
        column, row = math.floor(x), math.floor(y)
        fx, fy = x - column, y - row
        for i, j, weight in (
            (row, column, (1 - fx) * (1 - fy)),
            (row, column + 1, fx * (1 - fy)),
            (row + 1, column, (1 - fx) * fy),
            (row + 1, column + 1, fx * fy),
        ):
            kernel[i, j] += weight
    return np.asarray(kernel / kernel.sum(), np.float32)
