"""The measured cloth as a net of triangles, and that net laid flat.

Cloth hardly stretches: laid flat, every thread of the net keeps its length. What lies on the
platen stays where it is; what hangs over the edge is flattened from there outwards, each triangle
turned but not bent (Liu et al. 2008, "A local/global approach to mesh parameterization", Computer
Graphics Forum 27-5: the as-rigid-as-possible map).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, eye_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay

from calibration.geometry import PlatenFace, Points
from calibration.model.pinhole import Pinhole

Whole = NDArray[np.intp]

KNOT = 6.0
"""From one point of the net to the next, about, mm."""

_LONGEST = 26.0  # a longer thread spans a gap, mm
_GRAZING = 0.12  # cosine to the line of sight below which a triangle is no surface seen
_ROUNDS = 14
_NEIGHBOURS = 5  # with itself: fewer tell no plane well
_SMOOTHINGS = 2
_UNDER = -4.0  # below the platen's face what is within its outline hangs under it, mm
_FILLET = 0.3  # of the way round a sharp edge that cloth takes, less the chord's


@dataclass(frozen=True, eq=False)
class Net:
    """Cloth as triangles between measured points.

    Attributes
    ----------
    pixels : ndarray, shape (V, 2)
        Where the camera sees the points, px.
    space : ndarray, shape (V, 3)
        Platen frame, mm.
    flat : ndarray, shape (V, 2)
        Where they lie once the cloth is flat: the platen frame carried on over its edge, mm.
    triangles : ndarray of int, shape (T, 3)
        Counter-clockwise as seen from above.
    """

    pixels: Points
    space: Points
    flat: Points
    triangles: Whole


def net_of(points: Points, camera: Pinhole, platen: PlatenFace) -> Net:
    """Return the net through measured points of the cloth, laid flat.

    Parameters
    ----------
    points : ndarray, shape (N, 3), platen frame, mm
    camera : Pinhole
    platen : PlatenFace
    """
    space, pixels = _thinned(points, camera)
    away, _ = beyond_edge(platen, space[:, :2])
    good = (away > 0) | (space[:, 2] > _UNDER)
    space, pixels = space[good], pixels[good]
    triangles = _triangles(space, pixels, camera.lens)
    space, pixels, triangles = _joined(space, pixels, triangles, platen)
    space = _smoothed(space, pixels, triangles, camera.lens, platen)
    flat = _flattened(space, triangles, platen)
    return Net(pixels, space, flat, triangles)


def beyond_edge(face: PlatenFace, points: Points) -> tuple[NDArray[np.float64], Points]:
    """Return how far points, shape (N, 2), lie beyond the platen's edge and the way out there.

    The distance is 0 on the platen, where the way is 0 too.
    """
    radius = max(face.corner_radius, 1.0)
    half = np.array([face.width, face.depth]) / 2 - radius
    over = np.maximum(np.abs(points) - half, 0)
    length = np.hypot(*over.T)
    way = np.sign(points) * over / np.maximum(length, 1e-9)[:, None]
    away = np.maximum(length - radius, 0)
    return away, np.where(away[:, None] > 0, way, 0.0)


def _thinned(points: Points, camera: Pinhole) -> tuple[Points, Points]:
    """Return one point for each small cube of space, and its px: less noise and an even net."""
    points = points[np.isfinite(points).all(axis=1)]
    if len(points) == 0:
        return np.zeros((0, 3)), np.zeros((0, 2))
    cell = np.floor(points / KNOT).astype(np.int64)
    cell -= cell.min(axis=0)
    wide, deep, _ = (int(side) + 1 for side in cell.max(axis=0))
    key = (cell[:, 2] * deep + cell[:, 1]) * wide + cell[:, 0]
    _, group, count = np.unique(key, return_inverse=True, return_counts=True)
    sums = np.column_stack([np.bincount(group, v) for v in points.T])
    mean = np.asarray(sums / count[:, None], np.float64)
    return mean, camera.project(mean)


def _triangles(space: Points, pixels: Points, lens: Points) -> Whole:
    if len(space) < 4:
        return np.zeros((0, 3), np.intp)
    triangles = np.asarray(Delaunay(pixels).simplices, np.intp)
    a, b, c = (space[triangles[:, k]] for k in range(3))
    longest = np.max([np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    normal = np.cross(b - a, c - a)
    sight = (a + b + c) / 3 - lens
    cosine = np.abs(np.einsum("ij,ij->i", normal, sight))
    cosine /= np.linalg.norm(normal, axis=1) * np.linalg.norm(sight, axis=1) + 1e-9
    triangles = triangles[(longest < _LONGEST) & (cosine > _GRAZING)]
    p, q, r = (pixels[triangles[:, k]] for k in range(3))
    # The picture's y runs down: what turns left as seen has a negative product there.
    turns = (q - p)[:, 0] * (r - p)[:, 1] - (q - p)[:, 1] * (r - p)[:, 0]
    flipped = triangles[:, [0, 2, 1]]
    return np.asarray(np.where((turns > 0)[:, None], flipped, triangles), np.intp)


def _joined(
    space: Points, pixels: Points, triangles: Whole, platen: PlatenFace
) -> tuple[Points, Points, Whole]:
    """Return only what hangs together with cloth that lies on the platen."""
    if len(triangles) == 0:
        return np.zeros((0, 3)), np.zeros((0, 2)), np.zeros((0, 3), np.intp)
    count = len(space)
    ends = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]]])
    links = coo_matrix((np.ones(len(ends)), ends.T), shape=(count, count))
    _, label = connected_components(links, directed=False)
    lies = beyond_edge(platen, space[:, :2])[0] == 0
    used = np.zeros(count, bool)
    used[triangles] = True
    keep = used & np.isin(label, np.unique(label[lies & used]))
    number = np.cumsum(keep) - 1
    return space[keep], pixels[keep], number[triangles[keep[triangles].all(axis=1)]]


def _smoothed(
    space: Points, pixels: Points, triangles: Whole, lens: Points, platen: PlatenFace
) -> Points:
    """Return points moved along their lines of sight onto planes through those beside them.

    Noise that was left in would make every thread longer. The bend at the platen's edge is kept.
    """
    if len(triangles) == 0:
        return space
    count = len(space)
    free = beyond_edge(platen, space[:, :2])[0] > 0
    pairs = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    pairs = pairs[free[pairs[:, 0]] & free[pairs[:, 1]]]
    links = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(count, count)).tocsr()
    links = ((links + links.T) > 0).astype(np.float64) + eye_array(count, format="csr")
    u, v = ((pixels - pixels.mean(axis=0)) / np.maximum(np.ptp(pixels, axis=0), 1.0)).T
    terms = np.stack([np.ones(count), u, v], axis=1)
    ray = space - lens
    depth = np.linalg.norm(ray, axis=1)
    ray /= depth[:, None]
    moments = (links @ (terms[:, :, None] * terms[:, None, :]).reshape(count, 9)).reshape(-1, 3, 3)
    fitted = np.asarray(links.sum(axis=1)).ravel() >= _NEIGHBOURS
    moments[~fitted] = np.eye(3)
    inverse = np.linalg.pinv(moments, hermitian=True)
    for _ in range(_SMOOTHINGS):
        plane = np.einsum("nij,nj->ni", inverse, links @ (terms * depth[:, None]))
        depth = np.where(fitted, (plane * terms).sum(axis=1), depth)
    return np.where((fitted & free)[:, None], lens + ray * depth[:, None], space)


def _flattened(space: Points, triangles: Whole, platen: PlatenFace) -> Points:
    """Return the net's points laid flat, shape (V, 2)."""
    away, way = beyond_edge(platen, space[:, :2])
    free = away > 0
    foot = space[:, :2] - way * away[:, None]
    flat = foot + way * np.hypot(away, np.minimum(space[:, 2], 0))[:, None]
    if not free.any():
        return flat
    some = triangles[free[triangles].any(axis=1)]
    corners = _laid(space, some, free, platen)
    after = np.roll(np.arange(3), -1)
    threads = corners[:, after] - corners  # (T, 3, 2)
    weight = np.clip(_cotangents(corners), 0.1, 3.0)
    i, j = some, some[:, after]
    count = len(space)
    whole = coo_matrix((weight.ravel(), (i.ravel(), j.ravel())), shape=(count, count))
    whole = (whole + whole.T).tocsr()
    degree = np.asarray(whole.sum(axis=1)).ravel()
    inner = np.flatnonzero(free & (degree > 0))
    outer = np.flatnonzero(~free & (degree > 0))
    if len(inner) == 0 or len(outer) == 0:
        return flat
    rows = whole[inner]
    system = coo_matrix((degree[inner], (np.arange(len(inner)),) * 2), shape=(len(inner),) * 2)
    solver = splu((system.tocsc() - rows[:, inner]).tocsc())
    held = rows[:, outer] @ flat[outer]
    for _ in range(_ROUNDS):
        now = flat[j] - flat[i]
        dot = (weight[..., None] * now * threads).sum(axis=(1, 2))
        cross = (weight * (threads[..., 0] * now[..., 1] - threads[..., 1] * now[..., 0])).sum(1)
        length = np.maximum(np.hypot(dot, cross), 1e-9)
        c, s = (dot / length)[:, None], (cross / length)[:, None]
        turned = np.stack(
            [c * threads[..., 0] - s * threads[..., 1], s * threads[..., 0] + c * threads[..., 1]],
            axis=-1,
        )
        pull = weight[..., None] * turned
        target = np.column_stack([
            np.bincount(j.ravel(), pull[..., k].ravel(), count)
            - np.bincount(i.ravel(), pull[..., k].ravel(), count)
            for k in (0, 1)
        ])  # fmt: skip
        flat = flat.copy()
        flat[inner] = solver.solve(target[inner] + held)
    return flat


def _laid(
    space: Points, triangles: Whole, free: NDArray[np.bool_], platen: PlatenFace
) -> NDArray[np.float64]:
    """Return each triangle laid flat by itself, shape (T, 3, 2), mm."""
    ab, bc, ca = (
        _lengths(space, triangles[:, m], triangles[:, n], free, platen)
        for m, n in ((0, 1), (1, 2), (2, 0))
    )
    x = (ab**2 + ca**2 - bc**2) / (2 * np.maximum(ab, 1e-6))
    y = np.sqrt(np.maximum(ca**2 - x**2, 1e-3))
    zero = np.zeros_like(x)
    return np.stack(
        [np.stack([zero, zero], 1), np.stack([ab, zero], 1), np.stack([x, y], 1)], axis=1
    )


def _lengths(
    space: Points, one: Whole, other: Whole, free: NDArray[np.bool_], platen: PlatenFace
) -> NDArray[np.float64]:
    """Return lengths of threads; one that crosses the platen's edge bends there."""
    length = np.linalg.norm(space[one] - space[other], axis=1)
    crossing = np.flatnonzero(free[one] != free[other])
    if len(crossing) == 0:
        return np.asarray(length)
    p, q = one[crossing], other[crossing]
    on, off = np.where(free[p], q, p), np.where(free[p], p, q)
    low, high = np.zeros(len(on)), np.ones(len(on))
    for _ in range(12):
        mid = (low + high) / 2
        at = space[on, :2] + (space[off, :2] - space[on, :2]) * mid[:, None]
        inside = beyond_edge(platen, at)[0] == 0
        low, high = np.where(inside, mid, low), np.where(inside, high, mid)
    edge = space[on] + (space[off] - space[on]) * low[:, None]
    edge[:, 2] = space[on, 2]
    bent = np.linalg.norm(space[on] - edge, axis=1) + np.linalg.norm(space[off] - edge, axis=1)
    length[crossing] += _FILLET * np.maximum(bent - length[crossing], 0)
    return np.asarray(length)


def _cotangents(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return for each side, from corner k to the next, the cotangent of the angle facing it."""
    found = []
    for k in range(3):
        apex = corners[:, (k + 2) % 3]
        one, other = corners[:, k] - apex, corners[:, (k + 1) % 3] - apex
        cross = np.abs(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
        found.append((one * other).sum(axis=1) / np.maximum(cross, 1e-6))
    return np.stack(found, axis=1)
