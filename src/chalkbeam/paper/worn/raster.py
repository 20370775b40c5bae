"""A depth-buffered triangle rasteriser in numpy: which surface each pixel sees, and where on it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Fragments:
    """What each pixel sees.

    Attributes
    ----------
    depth : ndarray, shape (h, w)
        Distance along the view, mm; infinite where nothing is seen.
    values : ndarray, shape (h, w, K)
        The attributes of the nearest surface, interpolated; 0 where nothing is seen.
    """

    depth: Floats
    values: Floats

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Where something is seen, shape (h, w)."""
        return np.isfinite(self.depth)


def rasterise(
    pixels: Points,
    depth: Floats,
    attributes: Floats,
    triangles: NDArray[np.int64],
    size: tuple[int, int],
    holed: NDArray[np.bool_] | None = None,
    keep: Callable[[Floats], NDArray[np.bool_]] | None = None,
) -> Fragments:
    """Draw triangles into a depth buffer.

    Parameters
    ----------
    pixels : ndarray, shape (N, 2)
        Vertices in the picture, px; (0, 0) is the centre of the top-left pixel.
    depth : ndarray, shape (N,)
        Their distance along the view, mm; smaller hides larger.
    attributes : ndarray, shape (N, K)
        Values to interpolate, linearly over the picture (triangles are small).
    triangles : ndarray, shape (T, 3)
        Vertex indices.
    size : (int, int)
        Width and height of the picture, px.
    holed : ndarray, shape (T,), optional
        Which triangles may have holes.
    keep : callable, optional
        From interpolated values, shape (M, K), to which of them count, asked of those
        triangles alone.
    """
    width, height = size
    real, second_by, third_by = _planes(pixels, triangles)
    triangles = triangles[real]
    corners = pixels[triangles]
    low = np.clip(np.ceil(corners.min(axis=1)), 0, (width, height)).astype(np.int32)
    high = np.clip(np.floor(corners.max(axis=1)) + 1, 0, (width, height)).astype(np.int32)
    extent = np.maximum(high - low, 0)
    counts = extent[:, 0] * extent[:, 1]
    owner = np.repeat(np.arange(len(triangles), dtype=np.int32), counts)
    offset = np.arange(len(owner), dtype=np.int32)
    offset -= np.repeat((np.cumsum(counts) - counts).astype(np.int32), counts)
    down, across = np.divmod(offset, extent[owner, 0])
    x, y = low[owner, 0] + across, low[owner, 1] + down

    second = second_by[0][owner] + second_by[1][owner] * x + second_by[2][owner] * y
    third = third_by[0][owner] + third_by[1][owner] * x + third_by[2][owner] * y
    inside = np.flatnonzero((second >= -1e-9) & (third >= -1e-9) & (second + third <= 1 + 1e-9))
    owner, place = owner[inside], y[inside] * width + x[inside]
    second, third = second[inside], third[inside]
    vertices = triangles[owner]

    def at(values: Floats, which: NDArray[np.intp]) -> Floats:
        a, b, c = (values[vertices[which, corner]] for corner in range(3))
        blend: Floats = a + ((b - a).T * second[which] + (c - a).T * third[which]).T
        return blend

    there = np.ones(len(owner), dtype=bool)
    if holed is not None and keep is not None:
        asked = np.flatnonzero(holed[real][owner])
        there[asked] = keep(at(attributes, asked))
    every = np.flatnonzero(there)
    distance, place = at(depth, every), place[every]

    order = np.lexsort((distance, place))
    nearest = order[np.unique(place[order], return_index=True)[1]]
    depths = np.full(width * height, np.inf)
    values = np.zeros((width * height, attributes.shape[1]))
    depths[place[nearest]] = distance[nearest]
    values[place[nearest]] = at(attributes, every[nearest])
    return Fragments(depths.reshape(height, width), values.reshape(height, width, -1))


def _planes(
    pixels: Points, triangles: NDArray[np.int64]
) -> tuple[NDArray[np.intp], tuple[Floats, Floats, Floats], tuple[Floats, Floats, Floats]]:
    """Return which triangles have an area, and their second and third barycentric weights.

    Each weight is a plane over the picture: constant, by x, by y.
    """
    a, b, c = (pixels[triangles[:, corner]] for corner in range(3))
    first, second = b - a, c - a
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    real = np.flatnonzero(np.abs(area) > 1e-9)
    a, first, second, area = a[real], first[real], second[real], area[real]
    by_x, by_y = second[:, 1] / area, -second[:, 0] / area
    for_x, for_y = -first[:, 1] / area, first[:, 0] / area
    return (
        real,
        (-by_x * a[:, 0] - by_y * a[:, 1], by_x, by_y),
        (-for_x * a[:, 0] - for_y * a[:, 1], for_x, for_y),
    )


def grid_triangles(rows: int, columns: int) -> NDArray[np.int64]:
    """Return the triangles of a grid of vertices numbered row by row, shape (T, 3)."""
    index = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
    return np.vstack([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, c, b), (b, c, d))]).astype(
        np.int64
    )
