"""Colour as numbers: sRGB, luminance, CIELAB and CIEDE2000.

All functions take and return arrays whose last axis is the colour.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Colours = NDArray[np.float64]
"""Shape (…, 3)."""

XYZ_FROM_RGB = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
"""Linear sRGB (IEC 61966-2-1 primaries, D65 white) to CIE XYZ, white at Y = 1."""

WHITE = XYZ_FROM_RGB.sum(axis=1)
"""XYZ of the perfect diffuser under D65 at full light."""

_WCAG_LUMINANCE = (0.2126, 0.7152, 0.0722)


def linear_from_srgb(codes: ArrayLike) -> Colours:
    """Return light in 0 … 1 of 8-bit sRGB codes 0 … 255 (IEC 61966-2-1)."""
    value = np.asarray(codes, dtype=np.float64) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def srgb_from_linear(light: ArrayLike) -> NDArray[np.uint8]:
    """Return 8-bit sRGB codes of light; what is out of range is clipped."""
    value = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0)
    coded = np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255.0 * coded), dtype=np.uint8)


def relative_luminance(codes: ArrayLike) -> NDArray[np.float64]:
    """Return the relative luminance of sRGB codes 0 … 255 as WCAG 2 defines it, 0 … 1."""
    value = np.asarray(codes, dtype=np.float64) / 255.0
    # WCAG 2 writes 0.03928 for the standard's 0.04045; no 8-bit code lies between the two.
    light = np.where(value <= 0.03928, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.asarray(light @ np.array(_WCAG_LUMINANCE))


def contrast_ratio(first: ArrayLike, second: ArrayLike) -> NDArray[np.float64]:
    """Return the WCAG 2 contrast ratio of sRGB codes, 1 … 21, whichever is lighter."""
    a, b = relative_luminance(first), relative_luminance(second)
    return np.asarray((np.maximum(a, b) + 0.05) / (np.minimum(a, b) + 0.05))


def lab_from_linear(light: ArrayLike, white: float = 1.0) -> Colours:
    """Return CIELAB (CIE 15) of linear sRGB light; `white` is the light that counts as white."""
    ratio = np.asarray(light, dtype=np.float64) @ XYZ_FROM_RGB.T / (white * WHITE)
    delta = 6 / 29
    root = np.where(
        ratio > delta**3, np.cbrt(np.maximum(ratio, 0.0)), ratio / (3 * delta**2) + 4 / 29
    )
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(first: ArrayLike, second: ArrayLike) -> NDArray[np.float64]:
    """Return the CIEDE2000 difference of CIELAB colours, with kL = kC = kH = 1.

    Follows G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula:
    implementation notes, supplementary test data, and mathematical observations", Color
    Research & Application 30 (2005) 21–30; numbers in the comments are its equations.

    Parameters
    ----------
    first, second : array_like, shape (…, 3)
        L*, a*, b*; the shapes must broadcast.
    """
    l1, a1, b1 = np.moveaxis(np.asarray(first, dtype=np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(second, dtype=np.float64), -1, 0)
    mean_chroma = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2  # (2), (3)
    g = 0.5 * (1 - _seventh(mean_chroma))  # (4)
    a1, a2 = (1 + g) * a1, (1 + g) * a2  # (5)
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)  # (6)
    h1 = np.degrees(np.arctan2(b1, a1)) % 360  # (7); arctan2(0, 0) is 0
    h2 = np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0

    turn = h2 - h1  # (10)
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    turn = np.where(grey, 0.0, turn)
    delta_l, delta_c = l2 - l1, c2 - c1  # (8), (9)
    delta_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))  # (11)

    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2  # (12), (13)
    far = np.abs(h1 - h2) > 180
    total = h1 + h2
    mean_h = np.where(far, np.where(total < 360, total + 360, total - 360), total) / 2  # (14)
    mean_h = np.where(grey, total, mean_h)

    t = (
        1
        - 0.17 * _cos(mean_h - 30)
        + 0.24 * _cos(2 * mean_h)
        + 0.32 * _cos(3 * mean_h + 6)
        - 0.20 * _cos(4 * mean_h - 63)
    )  # (15)
    spread = 30 * np.exp(-(((mean_h - 275) / 25) ** 2))  # (16)
    lightness = (mean_l - 50) ** 2
    s_l = 1 + 0.015 * lightness / np.sqrt(20 + lightness)  # (18)
    s_c = 1 + 0.045 * mean_c  # (19)
    s_h = 1 + 0.015 * mean_c * t  # (20)
    r_t = -2 * _seventh(mean_c) * np.sin(np.radians(2 * spread))  # (17), (21)
    scaled_l, scaled_c, scaled_h = delta_l / s_l, delta_c / s_c, delta_h / s_h
    return np.asarray(
        np.sqrt(scaled_l**2 + scaled_c**2 + scaled_h**2 + r_t * scaled_c * scaled_h)
    )  # (22)


def _seventh(chroma: NDArray[np.float64]) -> NDArray[np.float64]:
    power = chroma**7
    return np.asarray(np.sqrt(power / (power + 25.0**7)))


def _cos(degrees: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.cos(np.radians(degrees)))
