"""What each pixel of the camera sees of the second press: worked out once for a scene."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks._second_press.drape import Plate
from benchmarks._second_press.lens import Lens
from benchmarks._second_press.press import Press
from benchmarks._second_press.shirt import PER_MM, Skin

F32 = NDArray[np.float32]
_BIAS = 7.0  # mm that a point may lie behind what throws a shadow before it lies in it


@dataclass(frozen=True, eq=False)
class Sheet:
    """Cloth as it lies: a fine net of points with what it looks like.

    Attributes
    ----------
    points : ndarray, shape (rows, columns, 3)
        mm, a point every mm of the cloth.
    origin : (x, y)
        Garment-frame place of the first point.
    """

    points: F32
    origin: tuple[float, float]
    skin: Skin

    def on_skin(self, at: F32) -> F32:
        """Return the place in the skin's picture of net places (column, row), shape (..., 2)."""
        from_mm = np.array(self.origin, np.float32) - np.array(self.skin.origin, np.float32)
        return (at + from_mm) * PER_MM - np.float32(0.5)


@dataclass(frozen=True, eq=False)
class View:
    """What the camera's pixels see; arrays of the picture's height and width.

    Attributes
    ----------
    points : mm;  normal : unit;  albedo : linear RGB;  gloss : share of light mirrored, blurred
    aim : pixel of the projector that lights the point;  beam : its light there, 1 at the middle
    room : the room's light there
    kind : 0 nothing, 1 bench, 2 the platen's side, 3 its top, 4 cloth, 5 sheet, 6 hand
    """

    points: F32
    normal: F32
    albedo: F32
    gloss: F32
    aim: F32
    beam: F32
    room: F32
    kind: NDArray[np.uint8]


def see(press: Press, camera: Lens, sheets: tuple[Sheet, ...]) -> View:
    """Return what a camera sees of a press with cloth on it."""
    rays = camera.rays()
    points, normal, albedo, kind, depth = _stand(press, camera, rays)
    for sheet in sheets:
        _lay(sheet, camera, points, normal, albedo, kind, depth)
    return lit(press, camera, points, normal, albedo, kind, sheets)


def lit(
    press: Press,
    camera: Lens,
    points: F32,
    normal: F32,
    albedo: F32,
    kind: NDArray[np.uint8],
    sheets: tuple[Sheet, ...],
    gloss: F32 | None = None,
) -> View:
    """Return the view with its light worked out."""
    aim, far = press.projector.see(points)
    clear = _clear(press.projector, press.plate, sheets, aim, far)
    to = (press.projector.at - points).astype(np.float32)
    distance = np.linalg.norm(to, axis=-1)
    slant = np.clip(np.einsum("ijk,ijk->ij", to, normal) / distance, 0, None)
    forward = press.projector.turn[2].astype(np.float32)
    axis = np.clip(-np.einsum("ijk,k->ij", to, forward) / distance, 0.2, 1)
    middle = float(np.linalg.norm(press.projector.at))
    beam = clear * slant * (middle / distance) ** 2 * axis**1.5
    lamp = (press.lamp - points).astype(np.float32)
    lamp /= np.linalg.norm(lamp, axis=-1, keepdims=True)
    over = np.clip(np.einsum("ijk,ijk->ij", lamp, normal), 0, None)
    under = np.where(kind == 1, _gloom(press, points, sheets), 1.0).astype(np.float32)
    sky = 0.35 + 0.65 * np.clip(normal[..., 2] * 0.5 + 0.5, 0, 1)
    room = np.float32(press.lit) * (0.55 * sky * under + 0.45 * over * under)
    if gloss is None:
        gloss = np.zeros(kind.shape, np.float32)
    return View(points, normal, albedo, gloss, aim, beam.astype(np.float32), room, kind)


def _stand(press: Press, camera: Lens, rays: F32) -> tuple[F32, F32, F32, NDArray, F32]:
    plate = press.plate
    height, width = rays.shape[:2]
    start = camera.at.astype(np.float32)
    down = np.minimum(rays[..., 2], -1e-3)
    points = start + rays * ((-np.float32(plate.bench) - start[2]) / down)[..., None]
    kind = np.full((height, width), 1, np.uint8)
    normal = np.zeros((height, width, 3), np.float32)
    normal[..., 2] = 1
    grain = _grain(points[..., :2], 7 + press.number)
    albedo = (press.wood * (1 + 0.16 * grain[..., None])).astype(np.float32)
    top = start + rays * (-start[2] / down)[..., None]
    on_top = plate.inside(top[..., 0], top[..., 1]) >= 0
    post = Plate(130.0, 130.0, 60.0, 1.0, plate.bench)
    levels = [(plate, z) for z in np.linspace(-0.5, -plate.thick, 9)]
    levels += [(post, z) for z in np.linspace(-plate.thick, -plate.bench, 14)]
    open_ = ~on_top
    for shape, z in levels:
        at = start + rays * ((np.float32(z) - start[2]) / down)[..., None]
        hit = open_ & (shape.inside(at[..., 0], at[..., 1]) >= 0)
        if hit.any():
            points[hit], kind[hit], albedo[hit] = at[hit], 2, (0.12, 0.12, 0.13)
            nx, ny = shape._outwards(at[hit, 0], at[hit, 1])
            normal[hit] = np.column_stack([nx, ny, np.zeros_like(nx)])
            open_ &= ~hit
    points[on_top], kind[on_top] = top[on_top], 3
    speck = _grain(top[..., :2], 31 + press.number, 3.0)
    rubber = press.rubber * (1 + 0.12 * speck[..., None])
    albedo[on_top] = rubber[on_top].astype(np.float32)
    normal[on_top] = (0, 0, 1)
    depth = np.einsum("ijk,k->ij", points - start, camera.turn[2].astype(np.float32))
    return points.astype(np.float32), normal, albedo, kind, depth.astype(np.float32)


def _grain(at: F32, seed: int, fine: float = 1.0) -> F32:
    """Return a fixed random texture over the plane, about -1 to 1."""
    rng = np.random.default_rng(seed)
    tile = np.tile(rng.normal(0, 1, (512, 512)).astype(np.float32), (2, 2))
    tile = cv2.GaussianBlur(tile, (0, 0), sigmaX=1.5, sigmaY=9) + (
        0.15 * cv2.GaussianBlur(tile, (0, 0), 1.2)
    )
    tile = tile[256:769, 256:769] / tile.std() / 1.5
    place = np.mod(at / np.float32(fine), 512).astype(np.float32)
    return cv2.remap(tile, place[..., 0], place[..., 1], cv2.INTER_LINEAR)


def _lay(
    sheet: Sheet,
    camera: Lens,
    points: F32,
    normal: F32,
    albedo: F32,
    kind: NDArray[np.uint8],
    depth: F32,
) -> None:
    """Paint a sheet into the view: splat its points, then solve each pixel's place on it."""
    net, far = camera.see(sheet.points)
    rows, columns = far.shape
    grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).astype(np.float32)
    cover = _sample(sheet.skin.cover, sheet.on_skin(grid))
    place = _splat(net, far, cover > 0.02, depth.shape)
    known = place[..., 0] >= 0
    along = np.concatenate([np.gradient(net, axis=1), np.gradient(net, axis=0)], axis=-1)
    along = along.astype(np.float32)
    pixel = np.stack(np.meshgrid(*(np.arange(n) for n in depth.shape[::-1])), axis=-1)
    ys, xs = np.nonzero(known)
    box = slice(ys.min(), ys.max() + 1), slice(xs.min(), xs.max() + 1)
    at, pixel, known = place[box], pixel[box].astype(np.float32), known[box]
    first = at
    for _ in range(4):
        off = pixel - _sample(net, at)
        j = _sample(along, at)
        det = j[..., 0] * j[..., 3] - j[..., 2] * j[..., 1]
        det = np.where(np.abs(det) < 0.01, np.where(det < 0, -0.01, 0.01), det)
        du = (off[..., 0] * j[..., 3] - off[..., 1] * j[..., 2]) / det
        dv = (off[..., 1] * j[..., 0] - off[..., 0] * j[..., 1]) / det
        at = at + np.clip(np.stack([du, dv], axis=-1), -2, 2).astype(np.float32)
    off = np.abs(pixel - _sample(net, at)).max(axis=-1)
    lost = (off > 0.7) | (np.abs(at - first).max(axis=-1) > 6)  # in a crease: the splat will do
    at = np.where(lost[..., None], first, at)
    off = np.where(lost, 0, off)
    on = sheet.on_skin(at)
    there = _sample(sheet.points, at)
    away = np.einsum("ijk,k->ij", there - camera.at.astype(np.float32), camera.turn[2])
    alpha = _sample(sheet.skin.cover, on) * (off < 2.0) * known
    # Cloth lies outside the plate, always: where its net cuts an edge the net is too coarse.
    alpha = np.where(away < depth[box] + 5.0, alpha, 0).astype(np.float32)
    inside = alpha > 0.5
    facing = _normals(sheet.points)
    n = _sample(facing, at)
    n /= np.maximum(np.linalg.norm(n, axis=-1, keepdims=True), 1e-6)
    away_from = np.einsum("ijk,ijk->ij", n, there - camera.at.astype(np.float32)) > 0
    n = np.where(away_from[..., None], -n, n)
    albedo[box] += alpha[..., None] * (_sample(sheet.skin.albedo, on) - albedo[box])
    for target, value in ((points, there), (normal, n), (depth, away)):
        part = target[box]
        part[inside] = value[inside]
    kind[box][inside] = 4


def _normals(points: F32) -> F32:
    across, down = np.gradient(points, axis=1), np.gradient(points, axis=0)
    n = np.cross(across, down).astype(np.float32)
    return cv2.GaussianBlur(n, (0, 0), 1.0)


def _sample(field: NDArray, at: F32) -> F32:
    out = cv2.remap(
        field.astype(np.float32, copy=False),
        np.ascontiguousarray(at[..., 0], np.float32),
        np.ascontiguousarray(at[..., 1], np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(out, np.float32)


def _splat(pixels: F32, far: F32, use: NDArray, shape: tuple[int, ...]) -> F32:
    """Return the net place (column, row) nearest to the eye at each pixel; -1 where there is none.

    Small holes are closed with a neighbour's place.
    """
    height, width = shape
    at = np.round(pixels).astype(np.int32)
    use = use & (at >= 0).all(-1) & (at[..., 0] < width) & (at[..., 1] < height)
    row, column = np.nonzero(use)
    order = np.argsort(-far[use])
    x, y = at[row, column].T
    out = np.full((height, width, 2), -1, np.float32)
    out[y[order], x[order]] = np.column_stack([column, row])[order]
    for shift in ((0, 1), (0, -1), (1, 0), (-1, 0)):
        near = np.roll(out, shift, axis=(0, 1))
        empty = out[..., 0] < 0
        empty[[0, -1]] = empty[:, [0, -1]] = False  # what was rolled over the picture's edge
        out[empty] = near[empty]
    return out


def _clear(projector: Lens, plate: Plate, sheets: tuple[Sheet, ...], aim: F32, far: F32) -> F32:
    """Return 1 where the projector's light arrives, 0 in shadow, shape of the view."""
    coarse = 4
    width, height = (side // coarse + 60 for side in projector.size)
    nearest = np.full((height, width), 1e9, np.float32)
    x, y = np.meshgrid(
        np.arange(-plate.width / 2, plate.width / 2 + 1, 1.5),
        np.arange(-plate.depth / 2, plate.depth / 2 + 1, 1.5),
    )
    top = np.stack([x, y, np.zeros_like(x)], axis=-1)[plate.inside(x, y) > 0]
    clouds = [top]
    for sheet in sheets:
        rows, columns = sheet.points.shape[:2]
        grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1)
        cover = _sample(sheet.skin.cover, sheet.on_skin(grid.astype(np.float32)))
        clouds.append(sheet.points[cover > 0.5])
    for cloud in clouds:
        pixels, depth = projector.see(cloud)
        at = np.round(pixels / coarse).astype(int) + 30
        good = (at >= 0).all(-1) & (at[:, 0] < width) & (at[:, 1] < height)
        np.minimum.at(nearest, (at[good, 1], at[good, 0]), depth[good])
    nearest = cv2.dilate(cv2.erode(nearest, np.ones((3, 3))), np.ones((3, 3)))
    place = (aim / coarse + 30).astype(np.float32)
    behind = far - _sample(np.minimum(nearest, 5e3), place)
    shadow = np.clip((behind - _BIAS) / 4, 0, 1)
    return cv2.GaussianBlur(1 - shadow, (0, 0), 1.3)


def _gloom(press: Press, points: F32, sheets: tuple[Sheet, ...]) -> F32:
    """Return the share of the room's light that reaches the bench beside and under the press."""
    step, reach = 8.0, 900.0
    side = int(2 * reach / step)
    mask = np.zeros((side, side), np.float32)
    x, y = np.meshgrid(np.arange(side), np.arange(side))
    mask[press.plate.inside(x * step - reach, y * step - reach) > 0] = 1
    for sheet in sheets:
        at = np.round((sheet.points[::4, ::4, :2] + reach) / step).astype(int).reshape(-1, 2)
        grid = np.stack(
            np.meshgrid(
                np.arange(0, sheet.points.shape[1], 4), np.arange(0, sheet.points.shape[0], 4)
            ),
            axis=-1,
        ).astype(np.float32)
        cover = _sample(sheet.skin.cover, sheet.on_skin(grid)).ravel() > 0.5
        good = cover & (at >= 0).all(-1) & (at < side).all(-1)
        mask[at[good, 1], at[good, 0]] = 1
    soft = cv2.GaussianBlur(mask, (0, 0), press.plate.bench / step * 0.6)
    return 1 - 0.75 * _sample(soft, ((points[..., :2] + reach) / step).astype(np.float32))
