"""The ink of a laid transfer, pixel by pixel: how clearly it shows, and whether it is right.

A name that differs by one letter has nearly all of its edges where they should be. So the picture
is brought on to the artwork and asked everywhere: is there ink where there should be, and none
where there should be none?
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from chalkbeam.eye.edges import Pose, Shape
from chalkbeam.eye.view import F32, PER_MM, View

SMALLEST_STRAY = 4.0
"""Ink missing or too much on less than this, mm², is the camera's blur or the cloth's weave."""

_AROUND = 15.0  # mm: cloth and ink are taken for alike over so much
_BLUR = 1.0  # mm: strokes are compared so finely
_LITTLE = 0.05  # of a place's surroundings that are ink
_STRAY = 0.36  # of ink's difference from cloth
_PLAIN = 0.1  # of the light: a sheet that shows less than this through hides its ink


def contrast(view: View, shape: Shape, pose: Pose) -> float:
    """Return by how much of the light a shape differs from what is beside it: its typical cell."""
    near = cv2.dilate(shape.cover, np.ones((9, 9), np.uint8)) > 0.5
    inside = cv2.erode(shape.cover, np.ones((3, 3), np.uint8)) > 0.7
    beside = near & (cv2.dilate(shape.cover, np.ones((5, 5), np.uint8)) < 0.1)
    close = cv2.dilate(beside.astype(np.uint8), np.ones((13, 13), np.uint8)) > 0
    light = _light(view, shape, pose)
    height, width = shape.cover.shape
    side = round(24 * PER_MM)
    found, weight = [], []
    for top in range(0, height, side):
        for left in range(0, width, side):
            part = slice(top, top + side), slice(left, left + side)
            a, b = light[part][(inside & close)[part]], light[part][beside[part]]
            if min(len(a), len(b)) < 30:
                continue
            ink, cloth = np.median(a, axis=0), np.median(b, axis=0)
            found.append(float(np.max(np.abs(ink - cloth) / np.maximum(ink + cloth, 1e-3)) * 2))
            weight.append(min(len(a), len(b)))
    return float(np.median(np.repeat(found, weight))) if found else 0.0


def strays(view: View, shape: Shape, pose: Pose) -> float:
    """Return the largest patch, mm², on which ink lacks or is too much for a shape at a pose."""
    light = np.sqrt(_light(view, shape, pose))
    cover = shape.cover
    away = (cv2.dilate(cover, np.ones((7, 7), np.uint8)) < 0.05).astype(np.float32)
    over = _AROUND * PER_MM
    cloth = _mean(light, away, over)
    soft = np.asarray(cv2.GaussianBlur(cover, (0, 0), 0.5 * PER_MM), np.float32)
    # By how much ink changes the picture, colour by colour: least squares around each place.
    # Where there is little ink the whole's counts.
    both, own = (light - cloth) * soft[..., None], soft * soft
    whole = both.sum(axis=(0, 1)) / max(float(own.sum()), 1e-6)
    near = cv2.GaussianBlur(own, (0, 0), over)[..., None]
    change = (cv2.GaussianBlur(both, (0, 0), over) + _LITTLE * whole) / (near + _LITTLE)
    strength = (change * change).sum(axis=2)
    share = ((light - cloth) * change).sum(axis=2) / np.maximum(strength, 1e-6)
    off = cv2.GaussianBlur(np.clip(share, -1, 2) - soft, (0, 0), _BLUR * PER_MM)
    rim = round(3 * PER_MM)  # beyond it there is no cloth to compare with
    bad = (np.abs(off) > _STRAY)[rim:-rim, rim:-rim].astype(np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(bad)
    areas = stats[1:, cv2.CC_STAT_AREA]
    return float(areas.max()) / PER_MM**2 if len(areas) else 0.0


def is_plain(view: View, shape: Shape, pose: Pose) -> bool:
    """Tell whether nothing shows within the box of the ink: a sheet that hides what it bears."""
    light = _light(view, shape, pose)
    rim = round(4 * PER_MM)
    fine = cv2.GaussianBlur(light[rim:-rim, rim:-rim], (0, 0), _BLUR * PER_MM)
    level = cv2.GaussianBlur(fine, (0, 0), 0.5 * _AROUND * PER_MM)
    off = np.abs(fine - level) / np.maximum(level, 1e-3)
    return bool(np.percentile(off.max(axis=2), 97) < _PLAIN)


def _light(view: View, shape: Shape, pose: Pose) -> F32:
    """Return the linear light of the view brought on to a shape's own picture."""
    height, width = shape.cover.shape
    x, y, turn = pose
    c, s = math.cos(turn), math.sin(turn)
    turned = np.array([[c, -s], [s, c]])
    shift = np.array([x, y]) - turned @ [(width - 1) / 2, (height - 1) / 2]
    there = cv2.warpAffine(
        view.image, np.column_stack([turned, shift]), (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(there**2, np.float32)


def _mean(light: F32, weight: F32, over: float) -> F32:
    """Return the mean around each place of what has weight."""
    total = cv2.GaussianBlur(light * weight[..., None], (0, 0), over)
    return np.asarray(
        total / np.maximum(cv2.GaussianBlur(weight, (0, 0), over), 1e-4)[..., None], np.float32
    )
