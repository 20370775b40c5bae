"""The cloth unrolled: where each spot of a garment, were it flat, is in space and in the picture.

On the platen the cloth lies flat, so flat millimetres are platen millimetres; what hangs over the
edge is laid flat with its threads' lengths kept (`net`). The *flat* frame is so the platen frame,
carried on over the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import XY, PlatenFace, Points
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from chalkbeam.eye.net import Net

F32 = NDArray[np.float32]
Mask = NDArray[np.bool_]

REACH = 230.0
"""How far beyond the platen's edge the cloth is followed, mm along the cloth."""

CELL = 4.0
"""Step of the map from the flat frame to the picture, mm; between its points it is straight."""

BORDER = 14.0
"""How far beyond the cloth's measured rim its surface is carried on straight, mm."""

_FINE = 1.0
_BESIDE = 3.0  # of a triangle's sides: so far beside it, it is not carried on
_SMOOTH = 9.0  # reach of the straight piece through the rim that carries it on, mm
_LEAST_SEEN = 0.3  # px a mm: cloth seen at a more grazing angle shows nothing


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
    cloth : bool array
        Whether its surface was measured to be cloth.
    """

    origin: tuple[float, float]
    step: float
    picture: tuple[F32, F32]
    lit: Mask
    cloth: Mask

    def rectified(self, image: F32) -> F32:
        """Return a camera picture as it would look on the flat frame; zero outside the picture."""
        u, v = self.picture
        return np.asarray(cv2.remap(image, u, v, cv2.INTER_LINEAR), np.float32)

    def cells(self, points: Points) -> Points:
        """Map flat points, shape (N, 2), mm, to (column, row), shape (N, 2)."""
        return np.asarray((points - self.origin) / self.step)


def unroll(
    net: Net,
    face: PlatenFace,
    camera: Pinhole,
    size: tuple[int, int],
    projector: ProjectorMap,
    usual: float = 1.0,
) -> Unrolled:
    """Return the map from the flat frame to the picture.

    Parameters
    ----------
    net : Net
        The cloth's; without points the cloth is taken to be flat.
    face : PlatenFace
    camera : Pinhole
    size : (int, int)
        Width and height of the camera's picture, px.
    projector : ProjectorMap
    usual : float
        Height of cloth of which nothing was measured, mm.
    """
    half_x, half_y = face.width / 2 + REACH, face.depth / 2 + REACH
    x, y = np.meshgrid(
        np.arange(-half_x, half_x + CELL, CELL), np.arange(-half_y, half_y + CELL, CELL)
    )
    if len(net.triangles) == 0:
        space = np.stack([x, y, np.full_like(x, usual)], axis=-1)
        cloth = np.ones(x.shape, bool)
    else:
        space, cloth = _spread(net, x, y)
    spots = space.reshape(-1, 3)
    known = np.isfinite(spots).all(axis=1)
    spots = np.where(known[:, None], spots, 0.0)
    seen = camera.project(spots)
    shown = projector.projector_from_platen(spots[:, :2], spots[:, 2])
    lit = known
    for pixels, (wide, high) in ((seen, size), (shown, projector.size)):
        with np.errstate(invalid="ignore"):
            lit &= (pixels >= 2).all(axis=1) & (pixels[:, 0] < wide - 3) & (pixels[:, 1] < high - 3)
    lit &= _density(seen.reshape(*x.shape, 2)).ravel() > _LEAST_SEEN
    seen = np.where(known[:, None], seen, -1e4)
    scale = CELL / _FINE
    to = tuple(round((side - 1) * scale) + 1 for side in x.shape[::-1])
    at = np.meshgrid(*(np.asarray(np.arange(side) / scale, np.float32) for side in to))
    u, v, bright, sure = (
        np.asarray(
            cv2.remap(
                np.asarray(plane, np.float32).reshape(x.shape), at[0], at[1], cv2.INTER_LINEAR
            ),
            np.float32,
        )
        for plane in (seen[:, 0], seen[:, 1], lit, cloth)
    )
    return Unrolled((float(x[0, 0]), float(y[0, 0])), _FINE, (u, v), bright > 0.99, sure > 0.5)


def _spread(net: Net, x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[Points, Mask]:
    """Return where flat points are in space, nan where nothing is near, and where cloth is."""
    origin, shape = np.array([x[0, 0], y[0, 0]]), x.shape
    corners = net.flat[net.triangles]
    number = np.full(shape, -1, np.int32)
    for k, fixed in enumerate(np.rint((corners - origin) / CELL * 16).astype(np.int32)):
        cv2.fillConvexPoly(number, fixed, k, cv2.LINE_8, 4)
    mask = (number >= 0).astype(np.uint8)
    cloth = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) > 0
    inside = _between(net, corners, number, x, y)
    near = cv2.dilate(cloth.astype(np.uint8), _disc(BORDER / CELL)) > 0
    beyond = _straight_on(net, origin, shape)
    space = np.where(cloth[..., None] & np.isfinite(inside), inside, beyond)
    return np.where(near[..., None], space, np.nan), cloth


def _between(
    net: Net, corners: NDArray[np.float64], number: NDArray[np.int32],
    x: NDArray[np.float64], y: NDArray[np.float64],
) -> Points:  # fmt: skip
    """Return where flat points are in space by the triangle that each lies in, nan beside all."""
    there = number >= 0
    own = number[there]
    a, b, c = (corners[own, k] for k in range(3))
    to, ab, ac = np.column_stack([x[there], y[there]]) - a, b - a, c - a
    with np.errstate(divide="ignore", invalid="ignore"):
        det = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
        second = (to[:, 0] * ac[:, 1] - to[:, 1] * ac[:, 0]) / det
        third = (ab[:, 0] * to[:, 1] - ab[:, 1] * to[:, 0]) / det
    shares = np.stack([1 - second - third, second, third], axis=1)
    # A cell counts to a triangle that it touches, so its middle may lie a little beside it.
    shares[~(np.abs(shares) < _BESIDE).all(axis=1)] = np.nan
    space = np.full((*number.shape, 3), np.nan)
    space[there] = np.einsum("nk,nkd->nd", shares, net.space[net.triangles[own]])
    return space


def _disc(radius: float) -> NDArray[np.uint8]:
    side = 2 * int(np.ceil(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)


def _straight_on(net: Net, origin: Points, shape: tuple[int, ...]) -> NDArray[np.float64]:
    """Return the planes through the nearest measured points, at every flat point.

    Least squares with weights that fall off with distance (moving least squares), worked out for
    all points at once from blurred moments.
    """
    at = (net.flat - origin) / CELL
    cell = np.rint(at).astype(int)
    good = (cell >= 0).all(axis=1) & (cell < np.array(shape[::-1])).all(axis=1)
    cell, flat, space = cell[good], (net.flat - origin)[good], net.space[good]
    index = cell[:, 1] * shape[1] + cell[:, 0]
    x, y = flat.T
    moments = [np.ones_like(x), x, y, x * x, x * y, y * y]
    values = [v for s in space.T for v in (s, s * x, s * y)]

    def blurred(weight: NDArray[np.float64]) -> NDArray[np.float64]:
        plane = np.bincount(index, weight, shape[0] * shape[1]).reshape(shape)
        return np.asarray(cv2.GaussianBlur(plane, (0, 0), _SMOOTH / CELL))

    n, sx, sy, sxx, sxy, syy = (blurred(m) for m in moments)
    sums = np.stack([blurred(v) for v in values], axis=-1).reshape(*shape, 3, 3)
    tiny = 1e-9
    a = np.stack([np.stack([n, sx, sy], -1), np.stack([sx, sxx, sxy], -1),
                  np.stack([sy, sxy, syy], -1)], axis=-2)  # fmt: skip
    few = n < 1e-4
    a[few] = np.eye(3)
    a += tiny * np.eye(3)
    plane = np.linalg.solve(a, np.swapaxes(sums, -1, -2))  # (rows, columns, 3 terms, 3 axes)
    row, column = np.mgrid[0 : shape[0], 0 : shape[1]] * CELL
    terms = np.stack([np.ones(shape), column, row], axis=-1)
    found = np.einsum("ijt,ijtk->ijk", terms, plane)
    found[few] = np.nan
    return np.asarray(found)


def _density(seen: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return px a mm of the picture in its most crowded direction, at each point of the map."""
    with np.errstate(invalid="ignore"):
        across, along = np.gradient(seen, axis=1) / CELL, np.gradient(seen, axis=0) / CELL
        area = np.abs(across[..., 0] * along[..., 1] - across[..., 1] * along[..., 0])
        size = (across**2).sum(axis=-1) + (along**2).sum(axis=-1)
        largest = np.sqrt((size + np.sqrt(np.maximum(size**2 - 4 * area**2, 0))) / 2)
        return np.asarray(np.nan_to_num(area / np.maximum(largest, 1e-9)))


def in_space(net: Net, point: XY) -> XY:
    """Return where a flat point is as seen from above, platen frame, mm; itself if unknown."""
    if len(net.triangles) == 0:
        return point
    a, b, c = (net.flat[net.triangles[:, k]] for k in range(3))
    sides, to = np.stack([b - a, c - a], axis=-1), np.asarray(point) - a
    det = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
    det = np.where(np.abs(det) < 1e-9, np.inf, det)
    second = (to[:, 0] * sides[:, 1, 1] - to[:, 1] * sides[:, 0, 1]) / det
    third = (to[:, 1] * sides[:, 0, 0] - to[:, 0] * sides[:, 1, 0]) / det
    shares = np.column_stack([1 - second - third, second, third])
    best = int(np.argmax(shares.min(axis=1)))
    if shares[best].min() < -1e-9 or not np.isfinite(det[best]):
        return point
    x, y = shares[best] @ net.space[net.triangles[best], :2]
    return float(x), float(y)
