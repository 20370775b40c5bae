"""Chessboard corners to a fraction of a pixel, from where they are expected.

Two steps. `refine` looks for the crossing of two edges near each expected corner and
says whether there is one. `align` then compares the chessboard's own picture with the
photo around every corner and shifts it until they agree best. All edges within half a
square take part, markers too, so the scatter is several times smaller than that of the
crossing alone (benchmarks/detection.py).
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from calibration.targets.charuco import Charuco

CharucoMap = Callable[[Points], Points]
"""Points of a chessboard (modules), shape (N, 2), to photo px, shape (N, 2)."""

_LARGEST_WINDOW = 11
_SMALLEST_WINDOW = 2
_LEAST_MODULE = 1.6  # px: below that the window would reach into the next marker
_FARTHEST = 0.8  # modules from the expected place
_LEAST_CONTRAST = 6.0  # grey levels
_CONTRAST_SHARE = 0.3

_WORKING_MODULE = 6.0
"""Where a module is larger, px, a photo is best reduced before its corners are aligned:
the patches' samples then still meet every edge, and noise averages out."""

_PATCH = 27  # samples along each side of the patch that is aligned
_STEPS = 8
_RASTER = 8
"""px a module of the chessboard's own picture. With 4, what interpolation loses, always at the same
places around a corner, shifted card corners outwards by 1e-4 and doubled their scatter."""
_BLURS = (0.6, 0.9, 1.3, 2.0)  # px in the photo
_FLOOR = 0.2
"""Misfit, as a share of the contrast, from which samples lose weight. While a patch is half a
pixel off, edges differ by nearly as much: with a lower limit just they would lose their weight."""


def working_step(module: float) -> int:
    """Return by how much a photo whose modules are so many px wide is best reduced."""
    return max(1, round(module / _WORKING_MODULE))


def reduce(view: NDArray[np.uint8], step: int) -> NDArray[np.uint8]:
    """Return a picture, grey or BGR, averaged over blocks of `step` pixels.

    Pixel centres: p of the picture is (p + 1/2) / step - 1/2 of the reduced one.
    """
    if step == 1:
        return view
    width, height = view.shape[1] // step, view.shape[0] // step
    part = view[: height * step, : width * step]
    return np.asarray(cv2.resize(part, (width, height), interpolation=cv2.INTER_AREA))


def refine(
    view: NDArray[np.uint8],
    photo_from_charuco: CharucoMap,
    charuco: Charuco,
    indices: NDArray[np.intp],
) -> tuple[Points, NDArray[np.bool_]]:
    """Find chessboard corners near where they are expected and say which are truly there.

    Parameters
    ----------
    view : ndarray, shape (height, width), uint8
        Grey picture.
    photo_from_charuco : callable
        Where points of the chessboard (modules) are expected, px.
    charuco : Charuco
    indices : ndarray of int, shape (N,)
        Which of its corners.

    Returns
    -------
    pixels : ndarray, shape (N, 2)
        Refined positions, (0, 0) at a pixel's centre.
    seen : ndarray of bool, shape (N,)
        Whether dark meets bright crosswise there, near the expected place, with at
        least a fair share of the chessboard's usual contrast.
    """
    corners = charuco.corners[indices]
    expected = photo_from_charuco(corners)
    # Photo px a module along each diagonal: the markers' corners lie there, at (1, 1).
    diagonals = np.stack(
        [photo_from_charuco(corners + step) - expected for step in ((1.0, 1.0), (1.0, -1.0))],
        axis=1,
    )
    module = np.abs(diagonals).max(axis=2).min(axis=1)
    height, width = view.shape
    border = _SMALLEST_WINDOW + 1
    inside = np.isfinite(expected).all(axis=1) & (module >= _LEAST_MODULE)
    inside &= ((expected > border) & (expected < [width - border, height - border])).all(axis=1)
    windows = np.zeros(len(corners), int)
    windows[inside] = np.clip(module[inside] * 0.9 - 0.5, _SMALLEST_WINDOW, _LARGEST_WINDOW)
    pixels = expected.copy()
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.002)
    for window in np.unique(windows[inside]):
        these = inside & (windows == window)
        start = np.ascontiguousarray(expected[these], np.float32).reshape(-1, 1, 2)
        half = (int(window), int(window))
        found = cv2.cornerSubPix(view, start, half, (-1, -1), stop)
        pixels[these] = np.asarray(found, np.float64).reshape(-1, 2)
    moved = np.linalg.norm(pixels - expected, axis=1)
    near = inside & (moved <= np.maximum(_FARTHEST * module, 1.5))
    contrast = _contrast(view, pixels, diagonals, charuco.dark_diagonal[indices])
    usual = float(np.median(contrast[near])) if near.any() else 0.0
    return pixels, near & (contrast > max(_LEAST_CONTRAST, _CONTRAST_SHARE * usual))


def _contrast(
    view: NDArray[np.uint8], pixels: Points, diagonals: Points, dark_diagonal: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Return the darker bright square less the brighter dark one at each corner, grey levels."""
    around = pixels[:, None] + 0.6 * np.concatenate([diagonals, -diagonals], axis=1)
    # Columns: down-right, up-right, up-left, down-left.
    level = _sample(view, around)
    first, second = level[:, 0::2], level[:, 1::2]
    straight = second.min(axis=1) - first.max(axis=1)
    crosswise = first.min(axis=1) - second.max(axis=1)
    return np.asarray(np.where(dark_diagonal, straight, crosswise))


def align(
    view: NDArray[np.uint8],
    photo_from_charuco: CharucoMap,
    charuco: Charuco,
    indices: NDArray[np.intp],
    start: Points,
) -> tuple[Points, NDArray[np.float64]]:
    """Shift the chessboard's picture around each corner until it agrees best with the photo.

    Gauss-Newton over the shift of each patch, with Cauchy weights so that a reflection or
    a finger in a part of the patch has little say. Gain, tone curve, blur and offset float
    as well: markers are not symmetric about a corner, and bright parts that a tone curve
    widens would pull at it (on virtual webcams that halves the error of a rig).

    Parameters
    ----------
    view, photo_from_charuco, charuco, indices
        As for `refine`; only the *shape* of the map around each corner matters.
    start : ndarray, shape (N, 2)
        Where each corner is by now, px, within half a module.

    Returns
    -------
    pixels : ndarray, shape (N, 2)
    agreement : ndarray, shape (N,)
        Correlation of picture and photo, at most 1; NaN where the patch leaves the photo.
    """
    count = len(indices)
    if count == 0:
        return start.copy(), np.zeros(0)
    corners = charuco.corners[indices]
    expected = photo_from_charuco(corners)
    module_from_px = _inverse_scale(photo_from_charuco, corners)
    usual = float(np.median(np.sqrt(np.abs(np.linalg.det(module_from_px)))))  # modules a px
    usual = min(usual, 1.0 / _LEAST_MODULE)  # no wider blur, however wild the map
    line = np.linspace(-0.5, 0.5, _PATCH) * charuco.square
    around = np.stack(np.meshgrid(line, line), axis=-1).reshape(-1, 2)
    places = corners[:, None] + around
    offsets = photo_from_charuco(places.reshape(-1, 2)).reshape(places.shape) - expected[:, None]
    some = slice(None, None, max(1, count // 30))
    photo = _sample(view, start[some, None] + offsets[some])
    fine, at = _charuco_picture(charuco, places)
    blurred = [_blurred(fine, blur * usual) for blur in _BLURS]
    fits = [float(np.median(_correlation(_sample(each, at[some]), photo))) for each in blurred]
    soft = blurred[int(np.argmax(fits))]
    picture = _sample(soft, at)
    slope = [
        _sample(cv2.Sobel(soft, cv2.CV_32F, dx, dy, ksize=3, scale=_RASTER / 8), at)
        for dx, dy in ((1, 0), (0, 1))
    ]
    # d picture / d px; each of a patch's columns stands in a row, shape (N, columns, samples).
    slopes = module_from_px.swapaxes(1, 2) @ np.stack(slope, axis=1)
    # What a photo makes of the picture's levels: gain, tone curve (which widens bright
    # parts, or ink that has spread), a blur not quite the one chosen, and an offset.
    edges = _sample(cv2.Laplacian(soft, cv2.CV_32F, ksize=1), at)
    edges *= 255.0 / max(float(np.abs(edges).max()), 1e-6)
    curve = picture * (1.0 - picture / 255.0)
    curve_slope = 1.0 - picture / 127.5
    flat = np.stack([picture, curve, edges, np.ones_like(picture)], axis=1)
    pixels = start.copy()
    design = np.concatenate([slopes, flat], axis=1)
    weighted, normal = flat, flat @ flat.swapaxes(1, 2)
    for _ in range(_STEPS):
        photo = _sample(view, pixels[:, None] + offsets)
        # The levels' weights are those of the step before, and so is their normal matrix.
        level = _solve(normal[:, -4:, -4:], weighted[:, -4:], photo)
        gain = level[:, :1] + level[:, 1:2] * curve_slope
        np.multiply(slopes, gain[:, None], out=design[:, :2])
        misfit = photo - (level[:, None] @ flat)[:, 0]
        floor = _FLOOR * 255.0 * np.abs(level[:, :1]) + 0.5
        spread = np.maximum(1.4826 * np.median(np.abs(misfit), axis=1, keepdims=True), floor)
        weights = 1.0 / (1.0 + (misfit / (3.0 * spread)) ** 2)
        weighted = design * weights[:, None]
        normal = weighted @ design.swapaxes(1, 2)
        shift = _solve(normal, weighted, misfit)[:, :2]
        pixels = pixels - np.clip(shift, -1.0, 1.0)
        if np.abs(shift).max() < 0.002:
            break
    photo = _sample(view, pixels[:, None] + offsets)
    agreement = _correlation(picture, photo)
    height, width = view.shape
    patch = pixels[:, None] + offsets
    outside = ((patch < -0.5) | (patch > [width - 0.5, height - 0.5])).any(axis=(1, 2))
    agreement[outside] = np.nan
    return pixels, agreement


def _inverse_scale(photo_from_charuco: CharucoMap, corners: Points) -> NDArray[np.float64]:
    """Return d charuco / d photo at each corner, modules a px, shape (N, 2, 2)."""
    columns = [
        photo_from_charuco(corners + step) - photo_from_charuco(corners - np.array(step))
        for step in ((0.5, 0.0), (0.0, 0.5))
    ]
    (xx, yx), (xy, yy) = columns[0].T, columns[1].T
    determinant = xx * yy - xy * yx
    # A chessboard seen edge-on has no scale; it will not agree with its picture either.
    determinant = np.where(np.abs(determinant) > 1e-6, determinant, np.inf)
    inverse = np.array([[yy, -xy], [-yx, xx]]) / determinant
    return np.asarray(np.moveaxis(inverse, 2, 0))


def _charuco_picture(charuco: Charuco, places: Points) -> tuple[NDArray[np.float32], Points]:
    """Return the chessboard (0 black, 255 white) around `places`, and their px in it."""
    low = np.maximum(np.floor(places.min(axis=(0, 1))).astype(int) - 2, -2)
    high = np.ceil(places.max(axis=(0, 1))).astype(int) + 2
    padded = np.pad(charuco.raster, charuco.square, constant_values=255)
    part = padded[
        low[1] + charuco.square : high[1] + charuco.square,
        low[0] + charuco.square : high[0] + charuco.square,
    ]
    fine = part.repeat(_RASTER, 0).repeat(_RASTER, 1).astype(np.float32)
    return fine, (places - low) * _RASTER - 0.5


def _blurred(fine: NDArray[np.float32], blur: float) -> NDArray[np.float32]:
    """Return a chessboard's picture blurred by so many modules."""
    return np.asarray(cv2.GaussianBlur(fine, (0, 0), max(blur, 0.1) * _RASTER), np.float32)


def _sample(picture: NDArray[np.generic], where: Points) -> NDArray[np.float64]:
    """Return the picture's levels between its pixels, shape of `where` less its last axis."""
    points = where.astype(np.float32)
    points[np.isnan(points)] = -9.0
    border = cv2.BORDER_REPLICATE
    levels = cv2.remap(picture, points, None, cv2.INTER_LINEAR, borderMode=border)  # type: ignore[call-overload]  # the stub knows no None
    return np.asarray(levels, np.float64)


def _solve(
    normal: NDArray[np.float64], weighted: NDArray[np.float64], target: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Solve weighted least squares for every patch at once, to shape (N, P).

    Parameters
    ----------
    normal : ndarray, shape (N, P, P)
    weighted : ndarray, shape (N, P, K)
        Columns times weights.
    target : ndarray, shape (N, K)
    """
    # A patch without any edge fixes nothing: keep it solvable, it will not agree anyway.
    ridge = 1e-9 * np.eye(normal.shape[2]) * np.trace(normal, axis1=1, axis2=2)[:, None, None]
    right = weighted @ target[..., None]
    return np.asarray(np.linalg.solve(normal + ridge, right)[..., 0])


def _correlation(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    a = a - a.mean(axis=1, keepdims=True)
    b = b - b.mean(axis=1, keepdims=True)
    norm = np.sqrt((a * a).sum(axis=1) * (b * b).sum(axis=1))
    return np.asarray((a * b).sum(axis=1) / np.maximum(norm, 1e-9))
