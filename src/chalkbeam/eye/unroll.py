"""The cloth unrolled: where each spot of a garment, were it flat, is in space and in the picture.

On the platen the cloth lies flat, so flat millimetres are platen millimetres. Beyond the platen's
edge it hangs: there the flat position runs on along the measured surface, square to the edge, by
the length of the arc. The *flat* frame is so the platen frame, carried on over the edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import PlatenFace, Points
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap

F32 = NDArray[np.float32]
Mask = NDArray[np.bool_]

REACH = 150.0
"""How far beyond the platen's edge the cloth is followed, mm along the cloth."""

CELL = 4.0
"""Step of the surface's grid, mm."""

_FINE = 1.0
_STEEPEST = 5.0
_BRIDGE = 10.0  # holes narrower than this are bridged smoothly, mm


@dataclass(frozen=True, eq=False)
class Unrolled:
    """Where each cell of the flat frame is; arrays share the shape (rows, columns), y upwards.

    Attributes
    ----------
    origin : (x, y)
        Flat position of the first cell, mm.
    step : float
        mm from cell to cell.
    picture : pair of float32 arrays
        Camera px of each cell.
    lit : bool array
        Whether the camera sees it and the projector's picture reaches it.
    """

    origin: tuple[float, float]
    step: float
    picture: tuple[F32, F32]
    lit: Mask

    def rectified(self, image: F32) -> F32:
        """Return a camera picture as it would look on the flat frame; zero outside the picture."""
        u, v = self.picture
        return np.asarray(cv2.remap(image, u, v, cv2.INTER_LINEAR), np.float32)

    def cells(self, points: Points) -> Points:
        """Map flat points, shape (N, 2), mm, to (column, row), shape (N, 2)."""
        return np.asarray((points - self.origin) / self.step)


@dataclass(frozen=True, eq=False)
class HeightGrid:
    """The cloth's surface: heights over the bare platen, rows towards +y, mm.

    `known` is 1 where it was measured, less where `heights` were filled from beside it.
    """

    origin: tuple[float, float]
    heights: F32
    known: F32

    def at(self, x: F32, y: F32) -> F32:
        """Return heights at planes of platen coordinates, mm."""
        return self._sampled(self.heights, x, y)

    def known_at(self, x: F32, y: F32) -> NDArray[np.bool_]:
        """Return whether the surface was measured at planes of platen coordinates, mm."""
        return np.asarray(self._sampled(self.known, x, y) > 0.5)

    def _sampled(self, plane: F32, x: F32, y: F32) -> F32:
        columns = (x - np.float32(self.origin[0])) / np.float32(CELL)
        rows = (y - np.float32(self.origin[1])) / np.float32(CELL)
        found = cv2.remap(plane, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(found, np.float32)


def height_grid(points: Points, face: PlatenFace, usual: float) -> HeightGrid:
    """Return the surface through measured points of the cloth.

    Holes are filled from around them; without any points the cloth is flat at `usual`.

    Parameters
    ----------
    points : ndarray, shape (N, 3), platen frame, mm
    face : PlatenFace
    usual : float
        Height where nothing was measured on the platen, mm.
    """
    half = np.array([face.width, face.depth]) / 2 + REACH
    shape = tuple(int(2 * side / CELL) + 1 for side in half[::-1])
    spots = np.asarray(points, np.float64).reshape(-1, 3)
    spots = spots[np.isfinite(spots).all(axis=1)]
    column, row = np.rint((spots[:, :2] + half) / CELL).astype(int).T
    inside = (column >= 0) & (row >= 0) & (column < shape[1]) & (row < shape[0])
    cell = row[inside] * shape[1] + column[inside]
    grid = np.full(shape[0] * shape[1], np.nan, np.float32)
    order = np.lexsort((spots[inside, 2], cell))
    cell, height = cell[order], spots[inside, 2][order]
    found, first, count = np.unique(cell, return_index=True, return_counts=True)
    grid[found] = height[first + (count - 1) // 2]  # the median of each cell
    heights = grid.reshape(shape)
    origin = (float(-half[0]), float(-half[1]))
    if len(found) < 20:
        return HeightGrid(origin, np.full(shape, usual, np.float32), np.zeros(shape, np.float32))
    return HeightGrid(origin, *_filled(heights))


def _filled(heights: F32) -> tuple[F32, F32]:
    """Return heights without holes, and where they rest on a measurement close by."""
    known = np.isfinite(heights)
    zero = np.where(known, heights, 0).astype(np.float32)
    wide = _BRIDGE / CELL
    weight = cv2.GaussianBlur(known.astype(np.float32), (0, 0), wide)
    smooth = cv2.GaussianBlur(zero, (0, 0), wide) / np.maximum(weight, np.float32(1e-6))
    near = weight > 0.05
    _, label = cv2.distanceTransformWithLabels(
        (~near).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    value = np.zeros(int(label.max()) + 1, np.float32)
    value[label[near]] = np.where(known, zero, smooth)[near]
    close = cv2.GaussianBlur(known.astype(np.float32), (0, 0), 1.5) > 0.3
    return (
        np.asarray(cv2.GaussianBlur(value[label], (0, 0), 0.6), np.float32),
        np.asarray(cv2.erode(close.astype(np.float32), np.ones((3, 3), np.uint8)), np.float32),
    )


def unroll(
    grid: HeightGrid,
    face: PlatenFace,
    camera: Pinhole,
    size: tuple[int, int],
    projector: ProjectorMap,
) -> Unrolled:
    """Unroll a surface over the platen's edges.

    Parameters
    ----------
    grid : HeightGrid
    face : PlatenFace
    camera : Pinhole
    size : (int, int)
        Width and height of the camera's picture, px.
    projector : ProjectorMap
    """
    half_x, half_y = face.width / 2 + REACH, face.depth / 2 + REACH
    x, y = np.meshgrid(
        np.arange(-half_x, half_x + CELL, CELL, dtype=np.float32),
        np.arange(-half_y, half_y + CELL, CELL, dtype=np.float32),
    )
    away, nx, ny = _from_edge(face, x, y)
    foot_x, foot_y = x - nx * away, y - ny * away
    out, fall = _followed(grid, (foot_x, foot_y), (nx, ny), away)
    px, py = foot_x + nx * out, foot_y + ny * out
    height = grid.at(foot_x, foot_y) + fall
    spots = np.stack([px, py, height], axis=-1).reshape(-1, 3).astype(np.float64)
    seen = camera.project(spots)
    shown = projector.projector_from_platen(spots[:, :2], spots[:, 2])
    lit = np.ones(len(spots), bool)
    for pixels, (wide, high) in ((seen, size), (shown, projector.size)):
        with np.errstate(invalid="ignore"):
            lit &= (pixels >= 2).all(axis=1) & (pixels[:, 0] < wide - 3) & (pixels[:, 1] < high - 3)
    scale = CELL / _FINE
    rows, columns = x.shape
    to = (round((columns - 1) * scale) + 1, round((rows - 1) * scale) + 1)
    at_x, at_y = np.meshgrid(
        np.arange(to[0], dtype=np.float32) / np.float32(scale),
        np.arange(to[1], dtype=np.float32) / np.float32(scale),
    )
    u, v, bright = (
        np.asarray(
            cv2.remap(
                np.nan_to_num(plane, nan=-1e4).astype(np.float32).reshape(x.shape),
                at_x,
                at_y,
                cv2.INTER_LINEAR,
            ),
            np.float32,
        )
        for plane in (seen[:, 0], seen[:, 1], lit)
    )
    return Unrolled((float(x[0, 0]), float(y[0, 0])), _FINE, (u, v), bright > 0.99)


def _followed(
    grid: HeightGrid, foot: tuple[F32, F32], way: tuple[F32, F32], length: F32
) -> tuple[F32, F32]:
    """Follow the surface outwards for `length`, mm; return how far out and how much higher it is.

    Where it was not measured it goes on as steeply as before: a cloth's end has no slope beyond it.
    """
    out, fall, slope = np.zeros_like(length), np.zeros_like(length), np.zeros_like(length)
    ahead, probe = np.float32(CELL / 2), np.float32(CELL)
    for step in range(int(REACH * math.sqrt(2) / ahead) + 1):
        left = np.clip(length - step * ahead, 0, ahead)
        spots = [
            (foot[0] + way[0] * far, foot[1] + way[1] * far)
            for far in (out - probe / 2, out + probe / 2)
        ]
        now = (grid.at(*spots[1]) - grid.at(*spots[0])) / probe
        slope = np.where(grid.known_at(*spots[1]), np.clip(now, -_STEEPEST, _STEEPEST), slope)
        run = left / np.sqrt(1 + slope * slope)
        out, fall = out + run, fall + slope * run
    return out.astype(np.float32), fall.astype(np.float32)


def on_surface(
    grid: HeightGrid, face: PlatenFace, point: tuple[float, float]
) -> tuple[float, float]:
    """Return where a flat point is as seen from above, platen frame, mm."""
    x, y = (np.full((1, 1), value, np.float32) for value in point)
    away, nx, ny = _from_edge(face, x, y)
    out, _ = _followed(grid, (x - nx * away, y - ny * away), (nx, ny), away)
    back = away - out
    return point[0] - float((nx * back)[0, 0]), point[1] - float((ny * back)[0, 0])


def _from_edge(face: PlatenFace, x: F32, y: F32) -> tuple[F32, F32, F32]:
    """Return the distance beyond the platen's edge (0 on it) and the way outwards."""
    radius = np.float32(max(face.corner_radius, 1.0))
    qx = np.maximum(np.abs(x) - np.float32(face.width / 2) + radius, 0)
    qy = np.maximum(np.abs(y) - np.float32(face.depth / 2) + radius, 0)
    length = np.hypot(qx, qy)
    safe = np.maximum(length, np.float32(1e-6))
    return (
        np.maximum(length - radius, 0).astype(np.float32),
        (np.sign(x) * qx / safe).astype(np.float32),
        (np.sign(y) * qy / safe).astype(np.float32),
    )
