"""Crosses that a scanner draws on the bare platen, in two pictures of a fixed camera."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Points, as_points
from calibration.model.pinhole import Pinhole

PER_MM = 4
"""Pixels of a patch for each mm of platen."""
REACH = 45.0
"""How far from where it is meant a cross is sought, mm: a scanner hung by a tape is centimetres
off, and the next cross is further."""
LEAST_LIKE = 0.45
"""Correlation with a drawn cross below which nothing is taken for one."""
WIDE = 1.5
"""Of a drawn arm, mm: as a class 2 beam is about a metre away."""
NEAR, ASIDE = 4.0, 3.0
"""From the crossing to where an arm is measured, and to either side of it, mm."""
TURNS = tuple(np.radians((-12, -8, -4, 0, 4, 8, 12)))

Grey = NDArray[np.float32]


def crosses_seen(
    lit: NDArray[np.uint8],
    dark: NDArray[np.uint8],
    camera: Pinhole,
    meant: ArrayLike,
    arm: float,
) -> Points:
    """Return where crosses lie, shape (N, 2), platen frame, mm; NaN where one is not seen.

    Parameters
    ----------
    lit, dark : ndarray, shape (H, W, 3), uint8
        The platen with the crosses on it, and without.
    camera : Pinhole
        ``camera_from_platen``.
    meant : array_like, shape (N, 2), platen frame, mm
    arm : float
        Of a cross, mm.
    """
    light = np.clip(lit.astype(np.float32) - dark, 0, None).mean(axis=2)
    found = [_cross(light, camera, place, arm) for place in as_points(meant)]
    return np.array(found).reshape(-1, 2)


def _cross(light: Grey, camera: Pinhole, meant: Points, arm: float) -> Points:
    """Return one cross's place, mm; NaN if it is not seen."""
    half = round(REACH * PER_MM)
    steps = np.arange(-half, half + 1) / PER_MM
    x, y = np.meshgrid(meant[0] + steps, meant[1] + steps)
    at = camera.project(np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]))
    map_x, map_y = (at[:, k].reshape(x.shape).astype(np.float32) for k in (0, 1))
    seen = cv2.remap(light, map_x, map_y, cv2.INTER_CUBIC, borderValue=0)
    patch: Grey = np.asarray(cv2.GaussianBlur(seen, (0, 0), 0.5 * PER_MM), dtype=np.float32)
    best, turn, row, column = -1.0, 0.0, 0, 0
    for tried in TURNS:
        score = cv2.matchTemplate(patch, _drawn(arm, float(tried)), cv2.TM_CCOEFF_NORMED)
        _, high, _, (left, top) = cv2.minMaxLoc(score)
        if high > best:
            best, turn, row, column = high, float(tried), top, left
    if not best >= LEAST_LIKE:
        return np.full(2, np.nan)
    middle = round(arm * PER_MM)
    inside = _crossing(patch, column + middle, row + middle, turn, arm)
    return np.asarray(meant + (inside - half) / PER_MM)


def _drawn(arm: float, turn: float) -> Grey:
    """Return a cross as drawn, its middle in the picture's."""
    side = 2 * round(arm * PER_MM) + 1
    v, u = np.mgrid[:side, :side] - side // 2
    a, b = u * np.cos(turn) + v * np.sin(turn), v * np.cos(turn) - u * np.sin(turn)
    near = np.minimum(np.abs(a), np.abs(b)) / PER_MM
    drawn: Grey = np.exp(-((near / (WIDE / 2)) ** 2)).astype(np.float32)
    return drawn


def _crossing(patch: Grey, x: float, y: float, turn: float, arm: float) -> Points:
    """Return where the arms cross, px of the patch: a line through the middles of each."""
    reach, aside = 0.85 * arm * PER_MM, round(ASIDE * PER_MM)
    offsets = np.arange(-aside, aside + 1)
    lines = []
    for along in ((np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn))):
        across = np.array([-along[1], along[0]])
        stations = np.arange(NEAR * PER_MM, reach)
        stations = np.concatenate([-stations[::-1], stations])
        place = np.array([x, y]) + stations[:, None] * np.array(along)
        seen = place[:, None, :] + offsets[None, :, None] * across
        shown = cv2.remap(
            patch, seen[..., 0].astype(np.float32), seen[..., 1].astype(np.float32),
            cv2.INTER_LINEAR, borderValue=0,
        )  # fmt: skip
        shown = np.clip(shown - shown.min(axis=1, keepdims=True), 0, None) ** 2
        weight = shown.sum(axis=1)
        middle = (shown * offsets).sum(axis=1) / np.maximum(weight, 1e-9)
        slope, beside = np.polyfit(stations, middle, 1, w=np.sqrt(weight))
        direction = np.array(along) + slope * across
        lines.append((np.array([x, y]) + beside * across, direction))
    (p, d), (q, e) = lines
    share = np.linalg.solve(np.column_stack([d, -e]), q - p)[0]
    return np.asarray(p + share * d)
