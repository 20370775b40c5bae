"""Spots of light known by both of the projector's coordinates: where its lines cross.

Both families of lines are shown apart, each with the code that counts it. A crossing is where a
line of one, straight over a few pixels, meets a line of the other: known far finer than a pixel,
and everywhere that light falls, on the platen and beside it, without any card or pattern.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from calibration.geometry import Points
from calibration.model.pinhole import Array
from calibration.model.projector import ProjectorMap
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.flashes import FAMILIES, Lines
from chalkbeam.eye.surface import coded, lines_seen

Counts = NDArray[np.intp]

_REACH = 0.4  # of the lines' distance: so far to either side a line is taken for straight
_FEWEST = 4  # points of a line about a crossing
_STRAY = 0.5  # px that they may lie off it
_PLENTY = 3000  # crossings: more would tell no more


def crossings(burst: Burst, projector: ProjectorMap) -> tuple[Points, Points] | None:
    """Return where lines cross: px of the projector, and px of the camera, both of shape (N, 2).

    None where the burst lacks one of the families.
    """
    families = [burst.lines(projector, family) for family in FAMILIES]
    if any(each is None for each in families):
        return None
    seen = []
    for lines in families:
        assert lines is not None
        apart = _apart(burst, lines)
        if apart is None:
            return None
        seen.append((lines, apart, *lines_seen(burst, lines, apart)))
    (first, a_apart, a_at, a_number), (second, b_apart, b_at, b_number) = seen
    if min(len(a_at), len(b_at)) == 0:
        return None
    # Candidates: points of one family with one of the other right beside them.
    near, beside = cKDTree(b_at).query(a_at, distance_upper_bound=1.0)
    close = np.isfinite(near)
    pairs = a_number[close] * second.count + b_number[beside[close]]
    number, back = np.unique(pairs, return_inverse=True)
    count = np.bincount(back)
    middle = np.column_stack([np.bincount(back, a_at[close][:, k]) / count for k in (0, 1)])
    every = 1 + len(number) // _PLENTY
    number, middle = number[every // 2 :: every], middle[every // 2 :: every]
    i, j = number // second.count, number % second.count
    a_line = _straight(a_at, a_number, middle, i, _REACH * a_apart)
    b_line = _straight(b_at, b_number, middle, j, _REACH * b_apart)
    (a_point, a_normal), (b_point, b_normal) = a_line, b_line
    both = np.stack([a_normal, b_normal], axis=1)
    value = np.stack([(a_normal * a_point).sum(1), (b_normal * b_point).sum(1)], axis=1)
    sine = np.abs(both[:, 0, 0] * both[:, 1, 1] - both[:, 0, 1] * both[:, 1, 0])
    good = np.isfinite(value).all(axis=1) & (sine > 0.3)
    pixels = np.linalg.solve(both[good], value[good][..., None])[..., 0]
    kept = np.hypot(*(pixels - middle[good]).T) < 2.0
    light = np.column_stack([first.centre(i), second.centre(j)])
    return light[good][kept], pixels[kept]


def _straight(
    at: Points, number: Counts, middle: Points, wanted: Counts, reach: float
) -> tuple[Points, Points]:
    """Return a point and the normal of each wanted line about a place; nan where not clear."""
    point, normal = np.full((len(middle), 2), np.nan), np.full((len(middle), 2), np.nan)
    reach = max(reach, 2.5)
    for k, near in enumerate(cKDTree(at).query_ball_point(middle, reach)):
        own = at[[n for n in near if number[n] == wanted[k]]]
        if len(own) < _FEWEST:
            continue
        off = own - own.mean(axis=0)
        spread, way = np.linalg.eigh(off.T @ off)
        across = np.abs(off @ way[:, 0])
        if across.max() > _STRAY or spread[1] < reach:
            continue
        point[k], normal[k] = own.mean(axis=0), way[:, 0]
    return point, normal


def _apart(burst: Burst, lines: Lines) -> float | None:
    """Return how far apart lines lie in the camera's picture, px, from their code; None if dark."""
    number, sure = coded(burst, lines)
    y, x = np.nonzero(sure)
    if len(x) < 500:
        return None
    step = max(1, len(x) // 20_000)
    rows = np.column_stack([x, y, np.ones_like(x)])[::step].astype(np.float64)
    value = number[y, x][::step].astype(np.float64)
    kept = np.ones(len(value), bool)
    slope: Array = np.zeros(3)
    for _ in range(4):
        slope = np.asarray(np.linalg.lstsq(rows[kept], value[kept], rcond=None)[0])
        off = np.abs(rows @ slope - value)
        kept = off < max(3 * float(np.median(off)), 0.5)
    steep = float(np.hypot(*slope[:2]))
    return None if steep < 1e-3 else 1 / steep
