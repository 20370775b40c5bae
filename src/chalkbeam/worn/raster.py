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
    keep : callable, optional
        From interpolated values, shape (M, K), to which of them count: for holes in a surface.
    """
    width, height = size
    corners = pixels[triangles]
    low = np.clip(np.ceil(corners.min(axis=1)).astype(np.int64), 0, (width, height))
    high = np.clip(np.floor(corners.max(axis=1)).astype(np.int64) + 1, 0, (width, height))
    extent = np.maximum(high - low, 0)
    counts = extent[:, 0] * extent[:, 1]
    owner = np.repeat(np.arange(len(triangles)), counts)
    offset = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    x = low[owner, 0] + offset % extent[owner, 0]
    y = low[owner, 1] + offset // extent[owner, 0]

    a, b, c = (corners[:, index] for index in range(3))
    area = _cross(b - a, c - a)
    with np.errstate(divide="ignore", invalid="ignore"):
        inverse = np.where(np.abs(area) > 1e-9, 1.0 / area, np.nan)[owner]
    point = np.column_stack([x, y]).astype(np.float64)
    second = _cross(point - a[owner], (c - a)[owner]) * inverse
    third = _cross((b - a)[owner], point - a[owner]) * inverse
    first = 1.0 - second - third
    inside = (first >= -1e-9) & (second >= -1e-9) & (third >= -1e-9)
    weights = np.column_stack([first, second, third])[inside]
    owner, place = owner[inside], (y * width + x)[inside]
    vertices = triangles[owner]
    distance = np.sum(weights * depth[vertices], axis=1)
    if keep is not None:
        kept = keep(np.einsum("nk,nkv->nv", weights, attributes[vertices]))
        weights, place = weights[kept], place[kept]
        vertices, distance = vertices[kept], distance[kept]

    order = np.lexsort((distance, place))
    nearest = order[np.unique(place[order], return_index=True)[1]]
    depths = np.full(width * height, np.inf)
    values = np.zeros((width * height, attributes.shape[1]))
    depths[place[nearest]] = distance[nearest]
    values[place[nearest]] = np.einsum(
        "nk,nkv->nv", weights[nearest], attributes[vertices[nearest]]
    )
    return Fragments(depths.reshape(height, width), values.reshape(height, width, -1))


def grid_triangles(rows: int, columns: int) -> NDArray[np.int64]:
    """Return the triangles of a grid of vertices numbered row by row, shape (T, 3)."""
    index = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, :-1], index[1:, 1:]
    return np.vstack([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, c, b), (b, c, d))]).astype(
        np.int64
    )


def _cross(first: Points, second: Points) -> Floats:
    product: Floats = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return product
