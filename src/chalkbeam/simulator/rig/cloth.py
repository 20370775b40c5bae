"""Cloth over a platen: how it lies, hangs and folds, as a height over the platen's plane."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.geometry import Isometry, PlatenFace, Points, as_points
from chalkbeam.simulator.rig.garment_picture import GarmentPicture
from chalkbeam.simulator.rig.optics import F32, Lens

if TYPE_CHECKING:
    from chalkbeam.placement.platens import Pad

_STEP = 1.0
"""Grid of the height field, mm."""
_MARGIN = 40.0
_FILLET = 7.0
"""How tightly cloth bends over the platen's edge, mm."""
_CORNER_REACH = 55.0
"""Length of edge that a radian of corner counts as, so that folds fan out there, mm."""


@dataclass(frozen=True, eq=False)
class Cloth:
    """A garment laid over the platen.

    The surface is ``z = height(x, y)`` on a grid of 1 mm; the arrays share its shape.

    Attributes
    ----------
    picture : GarmentPicture
        The garment lying flat.
    origin : (float, float)
        Platen-frame position of the grid's first point, mm; rows run towards +y.
    height : float32 array
        The cloth's upper face above the bare platen, mm.
    slope : pair of float32 arrays
        dz/dx and dz/dy.
    texture : pair of float32 arrays
        Which pixel of the picture lies at each grid point.
    shade : float32 array
        Share of the room's light that reaches the spot.
    cover, gloom : float32 array
        1 where there is cloth; and the same, blurred, for the shadow under it.
    """

    picture: GarmentPicture
    origin: tuple[float, float]
    height: F32
    slope: tuple[F32, F32]
    texture: tuple[F32, F32]
    shade: F32
    cover: F32
    gloom: F32

    def grid(self, x: F32, y: F32) -> tuple[F32, F32]:
        """Map planes of platen coordinates, mm, to grid coordinates."""
        return (
            (x - np.float32(self.origin[0])) * np.float32(1 / _STEP),
            (y - np.float32(self.origin[1])) * np.float32(1 / _STEP),
        )

    def height_at(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return the cloth's height at platen points, shape (N, 2), mm, to shape (N,)."""
        flat = as_points(points).astype(np.float32)
        gx, gy = self.grid(flat[:, 0], flat[:, 1])
        found = sample(self.height, gx[:, None], gy[:, None])
        return np.asarray(found, np.float64).ravel()


def sample(field: F32, gx: F32, gy: F32, outside: float | None = None) -> F32:
    """Return a grid's values at planes of grid coordinates, bilinear."""
    border = cv2.BORDER_REPLICATE if outside is None else cv2.BORDER_CONSTANT
    found = cv2.remap(
        field, gx, gy, cv2.INTER_LINEAR, borderMode=border, borderValue=outside or 0.0
    )
    return np.asarray(found, np.float32)


def drape(
    picture: GarmentPicture,
    platen_from_garment: Isometry,
    platen: PlatenFace,
    *,
    thickness: float,
    support: float = 0.0,
    pad: Pad | None = None,
    floor: float = -76.0,
    wrinkle: float = 0.25,
    steepness: float = 1.0,
    seed: int = 1,
) -> Cloth:
    """Lay a garment on the platen; what reaches over the edge hangs down in folds.

    On the platen the cloth lies flat but for wrinkles, so garment millimetres are platen
    millimetres there. Beyond the edge it hangs outwards, its length kept, to the table.

    Parameters
    ----------
    picture : GarmentPicture
    platen_from_garment : Isometry
        Mirrored: the garment frame's y runs down.
    platen : PlatenFace
    thickness : float
        One layer of cloth, mm.
    support : float
        Height of what covers the platen under it (spacer, second layer), mm.
    pad : Pad or None
        A raised pad on the platen; the cloth steps down from it to the platen.
    floor : float
        Height of the table, mm.
    wrinkle : float
        Standard deviation of the wrinkles on the platen, mm.
    steepness : float
        Slope at which the cloth hangs.
    seed : int
        Of the wrinkles and folds.
    """
    rng = np.random.default_rng([seed, 31])
    x, y, origin = _grid(picture, platen_from_garment)
    away, normal_x, normal_y, round_ = _from_edge(platen, x, y)
    out = np.maximum(away, 0)
    drop, run = _hang(out, support - floor, steepness)
    unrolled_x = x + normal_x * (run - out)
    unrolled_y = y + normal_y * (run - out)
    step = np.zeros_like(x)
    if pad is not None:
        px, py = x - np.float32(pad.centre[0]), y - np.float32(pad.centre[1])
        beside, pad_x, pad_y, _ = _from_edge(pad.face, px, py)
        beside = np.maximum(beside, 0)
        fallen, climb = _hang(beside, pad.height, steepness, soft=1.5)
        unrolled_x = unrolled_x + pad_x * (climb - beside)
        unrolled_y = unrolled_y + pad_y * (climb - beside)
        step = np.float32(pad.height) - fallen
    texture_x, texture_y = _picture_coordinates(
        picture, platen_from_garment.inverse(), unrolled_x, unrolled_y
    )
    rise = sample(picture.rise, texture_x, texture_y, 0.0)
    cover = sample(
        np.ascontiguousarray(picture.colour[..., 3]).astype(np.float32) / np.float32(255),
        texture_x,
        texture_y,
        0.0,
    )
    folds = _folds(rng, round_, out, drop)
    height = np.float32(support + thickness) + step + rise - drop + folds
    height += _wrinkles(rng, x.shape, wrinkle, out)
    lying = np.float32(floor + thickness)
    height = lying + 3 * np.logaddexp(0, (height - lying) / 3)  # it comes to rest on the table
    height = np.asarray(cv2.GaussianBlur(height, (0, 0), 1.0 / _STEP), np.float32)
    slope_x = np.asarray(cv2.Sobel(height, cv2.CV_32F, 1, 0, scale=0.125 / _STEP), np.float32)
    slope_y = np.asarray(cv2.Sobel(height, cv2.CV_32F, 0, 1, scale=0.125 / _STEP), np.float32)
    hollow = height - cv2.GaussianBlur(height, (0, 0), 12.0 / _STEP)
    depth = np.clip((support - height) / (support - floor), 0, 1)
    shade = np.clip(1 + 0.022 * hollow, 0.55, 1.12) * (1 - 0.35 * depth)
    return Cloth(
        picture=picture,
        origin=origin,
        height=height,
        slope=(slope_x, slope_y),
        texture=(texture_x, texture_y),
        shade=np.asarray(shade, np.float32),
        cover=cover,
        gloom=np.asarray(cv2.GaussianBlur(cover, (0, 0), 14.0 / _STEP), np.float32),
    )


def _grid(
    picture: GarmentPicture, platen_from_garment: Isometry
) -> tuple[F32, F32, tuple[float, float]]:
    """Return planes of platen x and y that reach around the garment, and their origin."""
    rows, columns = picture.rise.shape
    corners = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]]) / picture.density
    reach = platen_from_garment.apply(corners + picture.origin)
    low = np.floor(reach.min(axis=0) - _MARGIN)
    high = np.ceil(reach.max(axis=0) + _MARGIN)
    x, y = np.meshgrid(
        np.arange(low[0], high[0], _STEP, dtype=np.float32),
        np.arange(low[1], high[1], _STEP, dtype=np.float32),
    )
    return x, y, (float(low[0]), float(low[1]))


def _from_edge(platen: PlatenFace, x: F32, y: F32) -> tuple[F32, F32, F32, F32]:
    """Return distance to the platen's edge, its outward normal, and a run along the edge.

    The run turns the corners on a large radius, so that folds fan out there.
    """
    radius = np.float32(max(platen.corner_radius, 25.0))
    qx = np.abs(x) - np.float32(platen.width / 2) + radius
    qy = np.abs(y) - np.float32(platen.depth / 2) + radius
    px, py = np.maximum(qx, 0), np.maximum(qy, 0)
    length = np.hypot(px, py)
    away = length + np.minimum(np.maximum(qx, qy), 0) - radius
    safe = np.maximum(length, 1e-6)
    normal_x, normal_y = np.sign(x) * px / safe, np.sign(y) * py / safe
    run = _perimeter(platen, x, y, normal_x, normal_y)
    return (
        np.asarray(away, np.float32),
        np.asarray(normal_x, np.float32),
        np.asarray(normal_y, np.float32),
        np.asarray(run, np.float32),
    )


def _perimeter(platen: PlatenFace, x: F32, y: F32, normal_x: F32, normal_y: F32) -> F32:
    """Return how far along the platen's edge the nearest point lies, as a share of a turn."""
    w, d = platen.width, platen.depth
    cx, cy = np.clip(x, -w / 2, w / 2), np.clip(y, -d / 2, d / 2)
    upright = np.abs(normal_x) > np.abs(normal_y)
    angle = np.arctan2(normal_y, normal_x) + np.float32(math.pi)  # 0 at the left side, 2 pi again
    left = np.where(cy < 0, -cy, 2 * (w + d) - cy)
    sides = np.where(normal_x > 0, d + w + cy, left)
    ends = np.where(normal_y < 0, d / 2 + w / 2 + cx, d * 1.5 + w * 1.5 - cx)
    run = np.where(upright, sides, ends) + _CORNER_REACH * angle
    return np.asarray(run / (2 * (w + d) + _CORNER_REACH * 2 * math.pi), np.float32)


def _hang(out: F32, depth: float, steepness: float, soft: float = 12.0) -> tuple[F32, F32]:
    """Return drop and arc length, mm, at horizontal distances beyond the edge.

    `soft` is how softly the cloth meets what it comes to lie on, mm.
    """
    distance = np.linspace(0, 900, 3601)
    free = steepness * (np.hypot(distance, _FILLET) - _FILLET)
    drop = -soft * np.logaddexp(-free / soft, -depth / soft) + soft * np.logaddexp(
        0.0, -depth / soft
    )
    step = distance[1] - distance[0]
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(step, np.diff(drop)))])
    return (
        np.interp(out, distance, drop).astype(np.float32),
        np.interp(out, distance, arc).astype(np.float32),
    )


def _folds(rng: np.random.Generator, run: F32, out: F32, drop: F32) -> F32:
    """Return the folds of the hanging cloth: waves along the edge that grow downwards."""
    wave = np.zeros_like(run)
    for count in (13, 21, 34):  # whole numbers: the wave closes around the platen
        bend = 0.006 * np.sin(out / rng.uniform(40, 70) + rng.uniform(0, 6))
        wave += np.float32(rng.uniform(0.6, 1.0)) * np.sin(
            (run + bend) * np.float32(2 * math.pi * count) + np.float32(rng.uniform(0, 6))
        )
    growth = np.float32(9) * (1 - np.exp(-out / np.float32(60))) * np.clip(out / 12, 0, 1)
    return np.asarray(growth * wave / np.float32(2), np.float32)


def _wrinkles(rng: np.random.Generator, shape: tuple[int, ...], size: float, out: F32) -> F32:
    """Return the wrinkles of cloth that lies on the platen."""
    total = np.zeros(shape, np.float32)
    for across, along, weight in ((55.0, 90.0, 1.0), (14.0, 60.0, 0.35), (40.0, 12.0, 0.3)):
        noise = rng.standard_normal((shape[0] // 4 + 1, shape[1] // 4 + 1)).astype(np.float32)
        soft = cv2.GaussianBlur(noise, (0, 0), across / 8 / _STEP, None, along / 8 / _STEP)
        soft = soft / np.float32(soft.std())
        large = cv2.resize(soft, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
        total += np.float32(weight) * np.asarray(large, np.float32)
    return np.asarray(np.float32(size) * total / total.std(), np.float32)


def _picture_coordinates(
    picture: GarmentPicture, garment_from_platen: Isometry, x: F32, y: F32
) -> tuple[F32, F32]:
    matrix = garment_from_platen.matrix
    gx = matrix[0, 0] * x + matrix[0, 1] * y + garment_from_platen.x - picture.origin[0]
    gy = matrix[1, 0] * x + matrix[1, 1] * y + garment_from_platen.y - picture.origin[1]
    return (
        np.asarray(gx * picture.density, np.float32),
        np.asarray(gy * picture.density, np.float32),
    )


def flat_points(cloth: Cloth, platen: PlatenFace, spacing: float = 20.0) -> Points:
    """Return a lattice of platen points, mm, (N, 2), where cloth lies on the platen."""
    x, y = np.meshgrid(
        np.arange(-platen.width / 2 + 15, platen.width / 2 - 14, spacing),
        np.arange(-platen.depth / 2 + 15, platen.depth / 2 - 14, spacing),
    )
    points = np.column_stack([x.ravel(), y.ravel()])
    gx, gy = cloth.grid(*(points.astype(np.float32)[:, k] for k in (0, 1)))
    inside = sample(cloth.cover, gx[:, None], gy[:, None], 0.0).ravel() > 0.99
    return np.asarray(points[inside], np.float64)


def landing(projector: Lens, cloth: Cloth, pixels: ArrayLike) -> Points:
    """Return where the light of projector pixels, shape (N, 2), falls on the cloth: the truth.

    Returns
    -------
    ndarray, shape (N, 3)
        Points of the platen frame, mm.
    """
    spots = as_points(pixels)
    low = np.full(len(spots), float(cloth.height.min()) - 1)
    high = np.full(len(spots), float(cloth.height.max()) + 1)
    for _ in range(40):
        middle = (low + high) / 2
        under = cloth.height_at(projector.hit(spots, middle)) > middle
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.column_stack([projector.hit(spots, high), high])
