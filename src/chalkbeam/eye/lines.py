"""How much a line shows: local energy, which is the same for grooves, ridges, steps and shadows.

Energy is the squared answer of an even and an odd filter across the line together (Morrone and
Owens 1987), averaged along the line *before* it is squared, so that knit and noise, which do not
run along the line, cancel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.eye.unroll import Unrolled

F32 = NDArray[np.float32]

SPREAD = 1.8
"""Of the filters across a line, mm: a seam with its shadow."""

TURNS = 16
"""Directions that the map of energy tells apart."""

_COARSE = 2.0
_NEAR = 30.0  # what else lies so near competes with a line, mm
_GRAIN = 0.004  # energy that plain cloth shows, of shade squared


@dataclass(frozen=True, eq=False)
class Evidence:
    """What can be seen on the unrolled cloth.

    Attributes
    ----------
    flat : Unrolled
    shade : float32 array
        Root of the reflected light, levelled: 0.1 is about a tenth more or less light.
    known : float32 array
        1 where cloth or what lies beside it is lit and seen.
    """

    flat: Unrolled
    shade: F32
    known: F32


def evidence(flat: Unrolled, light: F32) -> Evidence:
    """Return what can be seen.

    Parameters
    ----------
    flat : Unrolled
    light : float32 array, camera px
        Light that came back from the projector: lit less dark, linear.
    """
    seen = flat.rectified(light)
    known = flat.lit.astype(np.float32)
    level = float(np.median(seen[flat.lit])) if flat.lit.any() else 1.0
    # Between light and its logarithm: an edge's middle hardly moves, dark cloth keeps its seams.
    shade = 2 * np.sqrt(np.maximum(seen, 0) / np.float32(max(level, 1e-3)))
    wide = 40.0 / flat.step
    small = cv2.resize(
        np.stack([shade * known, known], axis=-1),
        None,
        fx=0.125,
        fy=0.125,
        interpolation=cv2.INTER_AREA,
    )
    soft = cv2.GaussianBlur(small, (0, 0), wide / 8)
    share = soft[..., 0] / np.maximum(soft[..., 1], np.float32(1e-3))
    mean = cv2.resize(share, (shade.shape[1], shade.shape[0]), interpolation=cv2.INTER_LINEAR)
    levelled = np.clip((shade - mean) * known, -1.2, 1.2)
    inner = cv2.erode(known, np.ones((9, 9), np.uint8), borderValue=0)
    return Evidence(flat, np.asarray(levelled, np.float32), np.asarray(inner, np.float32))


def energy_maps(seen: Evidence) -> tuple[NDArray[np.float32], float]:
    """Return energy by direction of the normal, shape (TURNS, rows, columns), and mm a cell.

    Each lies between 0 and 1: its share of the energy that is about.
    """
    scale = seen.flat.step / _COARSE
    size = tuple(int(side * scale) for side in seen.shade.shape[::-1])
    shade = cv2.resize(seen.shade, size, interpolation=cv2.INTER_AREA)
    known = cv2.resize(seen.known, size, interpolation=cv2.INTER_AREA) > 0.99
    reach = 8
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float64) * _COARSE
    maps = np.empty((TURNS, *shade.shape), np.float32)
    for turn in range(TURNS):
        angle = math.pi * turn / TURNS
        across = x * math.cos(angle) + y * math.sin(angle)
        along = -x * math.sin(angle) + y * math.cos(angle)
        even, odd = _quadrature(across, 2.4)
        long = np.exp(-(along**2) / (2 * 7.0**2))
        total: F32 = np.zeros(shade.shape, np.float32)
        for kernel in (even * long, odd * long):
            kernel = kernel / np.abs(kernel).sum()
            answer = np.asarray(cv2.filter2D(shade, cv2.CV_32F, kernel), np.float32)
            total += answer * answer
        maps[turn] = total
    about = cv2.GaussianBlur(maps.mean(axis=0), (0, 0), _NEAR / _COARSE / 2)
    maps /= maps + 2 * about + np.float32(_GRAIN * 0.02)
    maps *= known
    return maps, _COARSE


def _quadrature(
    across: NDArray[np.float64], spread: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return an even and an odd filter without a mean, of unit total size."""
    bell = np.exp(-(across**2) / (2 * spread**2))
    even = (1 - across**2 / spread**2) * bell
    odd = across / spread * bell
    even = even - even.mean()
    return even / np.abs(even).sum(), odd / np.abs(odd).sum()


def profiles(
    seen: Evidence, points: NDArray[np.float64], normals: Points, reach: float, step: float = 0.5
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return the energy across each piece of a line.

    Parameters
    ----------
    seen : Evidence
    points : ndarray, shape (P, S, 2)
        Samples of each piece, flat frame, mm.
    normals : ndarray, shape (P, 2)
    reach, step : float
        How far to each side, and how finely, mm.

    Returns
    -------
    offsets : ndarray, shape (T,), mm along the normal
    energy : ndarray, shape (P, T)
    known : bool array, shape (P,)
        Whether most of the piece is lit and in view.
    """
    margin = 3 * SPREAD
    offsets = np.arange(-reach - margin, reach + margin + step / 2, step)
    spots = points[:, None] + offsets[None, :, None, None] * normals[:, None, None, :]
    cells = seen.flat.cells(spots.reshape(-1, 2)).astype(np.float32)
    shape = (len(points) * len(offsets), points.shape[1])
    at = [np.ascontiguousarray(cells[:, k].reshape(shape)) for k in (0, 1)]
    shade = cv2.remap(seen.shade, at[0], at[1], cv2.INTER_LINEAR).mean(axis=1)
    known = cv2.remap(seen.known, at[0], at[1], cv2.INTER_LINEAR).mean(axis=1)
    shade = shade.reshape(len(points), -1).astype(np.float64)
    covered = known.reshape(len(points), -1) > 0.85
    across = np.arange(-margin, margin + step / 2, step)
    even, odd = _quadrature(across, SPREAD)
    energy = np.array(
        [np.convolve(row, even, "same") ** 2 + np.convolve(row, odd, "same") ** 2 for row in shade]
    )
    energy *= covered
    edge = round(margin / step)
    inner = slice(edge, -edge)
    return offsets[inner], energy[:, inner], covered[:, inner].mean(axis=1) > 0.7
