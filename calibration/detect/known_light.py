"""Light of a known projector in a picture of the bare platen: the pattern's corners, and dots."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect.cards import search_scale
from calibration.detect.markers import find_charuco, find_markers
from calibration.detect.pattern import ENOUGH_MARKERS, find_pattern
from calibration.geometry import PlatenFace, Points
from calibration.model import homography
from calibration.model.projector import ProjectorMap
from calibration.photo import channels
from calibration.targets.charuco import Family
from calibration.targets.pattern import Pattern

EDGE = 8.0
"""Corners nearer than this to the platen's edge are left out, mm: light falls off it there."""

_LEAST_LIGHT = 0.25
"""Of the brightest dots' light: dimmer ones are not looked at."""


def pattern_on_face(
    image: NDArray[np.uint8], projector: ProjectorMap, face: PlatenFace, height: float = 0.0
) -> tuple[NDArray[np.intp], Points]:
    """Find the pattern's corners that fall on the bare platen, or on a flat board on it.

    Which they are, the projector's map tells: what lands beside the face is never used.

    Parameters
    ----------
    image : ndarray, shape (height, width, 3), uint8, BGR
    projector : ProjectorMap
    face : PlatenFace
    height : float
        Of the lit face above the bare platen, mm.

    Returns
    -------
    indices : ndarray of int, shape (N,)
        The corners' numbers in the pattern; empty where too little of it can be read.
    pixels : ndarray, shape (N, 2)
        Where, px of the picture.
    """
    nothing = np.zeros(0, np.intp), np.zeros((0, 2))
    pattern = Pattern(projector.size)
    view = channels.equalised(channels.grey(image))
    read = find_markers(view, Family.TAG_36H11, max(1.0, search_scale(image)))
    picture_from_platen = None
    for lattice in pattern.lattices:
        found = find_charuco(lattice.charuco, read)
        if found is None or len(found.markers) < ENOUGH_MARKERS:
            continue
        places = [lattice.place(lattice.charuco.markers[each.id]) for each in found.markers]
        landed = projector.platen_from_projector(np.vstack(places), height)
        rings = np.vstack([each.ring for each in found.markers])
        inside = on_face(landed, face, 0.0)
        if inside.sum() < 4 * ENOUGH_MARKERS:
            continue
        try:
            picture_from_platen = homography.fit(landed[inside], rings[inside])
        except homography.DegeneratePointsError:
            continue
        break
    if picture_from_platen is None:
        return nothing
    platen_from_picture = np.asarray(np.linalg.inv(picture_from_platen), np.float64)

    def allowed(pixels: Points) -> NDArray[np.bool_]:
        with np.errstate(divide="ignore", invalid="ignore"):
            return on_face(homography.apply(platen_from_picture, pixels), face, EDGE)

    area = homography.apply(picture_from_platen, face.outline())
    search = find_pattern(image, pattern, area, allowed)
    landed = projector.platen_from_projector(pattern.pixels(search.indices), height)
    good = on_face(landed, face, EDGE)
    return search.indices[good], search.pixels[good]


def on_face(points: Points, face: PlatenFace, margin: float) -> NDArray[np.bool_]:
    """Tell which platen points, shape (N, 2), mm, lie on the face, a margin away from its edge."""
    half = np.array([face.width, face.depth]) / 2 - margin
    return np.asarray((np.abs(points) < half).all(axis=1), np.bool_)


def dots(
    light: NDArray[np.float32], expected: Points, radius: float
) -> tuple[Points, NDArray[np.bool_]]:
    """Return the middles of dots of light, each looked for near where it is expected.

    The middle is the centroid of the light above half of the dot's brightest, in a window that
    follows it.

    Parameters
    ----------
    light : ndarray, shape (height, width), float32
        What the projector added to the room's light.
    expected : ndarray, shape (N, 2), px
    radius : float
        How far from there light is looked for, px.

    Returns
    -------
    pixels : ndarray, shape (N, 2); nan where there is none
    found : ndarray of bool, shape (N,)
    """
    reach = max(3, round(radius))
    soft = cv2.GaussianBlur(light, (0, 0), 0.8)
    height, width = light.shape
    pixels = np.full((len(expected), 2), np.nan)
    tops = np.zeros(len(expected))
    for k, (x, y) in enumerate(expected):
        if not (reach <= x < width - reach - 1 and reach <= y < height - reach - 1):
            continue
        left, top = round(x) - reach, round(y) - reach
        window = soft[top : top + 2 * reach + 1, left : left + 2 * reach + 1]
        floor = float(np.median(window))
        bright = window.max() - floor
        above = np.clip(window - floor - 0.3 * bright, 0, None)
        rows, columns = np.indices(above.shape)
        peak = np.unravel_index(int(np.argmax(window)), window.shape)
        near = np.hypot(columns - peak[1], rows - peak[0]) <= 0.6 * reach
        weight = above * near
        total = float(weight.sum())
        if total <= 0:
            continue
        pixels[k] = left + (weight * columns).sum() / total, top + (weight * rows).sum() / total
        tops[k] = bright
    found = tops > _LEAST_LIGHT * np.percentile(tops, 90) if tops.any() else tops > 0
    pixels[~found] = np.nan
    return pixels, np.asarray(found, np.bool_)
