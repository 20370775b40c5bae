"""Ray casting: what light reaches each pixel of a camera.

The scene is a few layers from the top down (cloth, platen, bed, table). A ray takes
the first layer it meets; coverage of a layer's edge is fractional, so edges are
anti-aliased. The projector's light is found at the point where the ray met the
surface, at its true height.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from chalkbeam.simulator.rig.cloth import Cloth, sample
from chalkbeam.simulator.rig.optics import F32, Lens
from chalkbeam.simulator.rig.scene import PressScene, RoomLight, Slab
from chalkbeam.simulator.rig.texture import FaceTexture, Lamp, LitFrame, face_texture

_STRIP = 48
"""Rows cast at once: small enough to stay in the processor's cache."""
_WALL_STEPS = (0.0, 0.33, 0.66, 1.0)
"""Depths at which a slab's wall is probed, as shares of its thickness."""
_COARSE = 4
"""Cloth is smooth: where rays meet it is searched for every fourth pixel, then refined."""

_HEM = -40.0
"""Height at which hanging cloth stands in the way of light to the table, mm."""


@dataclass(frozen=True)
class Projector:
    """The true projector: its lens and its lamp."""

    view: Lens
    lamp: Lamp


@dataclass(frozen=True, eq=False)
class Patch:
    """What a strip of rays meets in one layer; planes of shape (H, W).

    `cover` is the share of the pixel that the layer fills, `colour` (H, W, 3) its
    reflectance, `shade` the room light it gets, `slope` the surface's (dz/dx, dz/dy).
    """

    cover: F32
    x: F32
    y: F32
    z: F32 | float
    colour: F32
    shade: F32
    slope: tuple[F32, F32] | None = None


Rays = tuple[F32, F32, F32]


def radiance(
    scene: PressScene, camera: Lens, projector: Projector | None, frame: LitFrame | None
) -> F32:
    """Return the linear light that reaches each pixel, before the camera's lens blurs it.

    Parameters
    ----------
    scene : PressScene
    camera : Lens
    projector : Projector or None
        None for a photo with the projector's lens covered.
    frame : LitFrame or None
        The projector's frame; None likewise.

    Returns
    -------
    float32 array, shape (H, W, 3), blue green red; 1 is a white diffuser in the room's light
    """
    width, height = camera.size
    result = np.empty((height, width, 3), np.float32)
    pixel_mm = (camera.position[2] - scene.top) / camera.focal
    caster = _Caster(
        scene,
        camera,
        projector if frame is not None else None,
        frame,
        face_texture(scene, pixel_mm),
        pixel_mm,
        None if scene.cloth is None else _search(scene.cloth, camera),
    )
    for first in range(0, height, _STRIP):
        rows = min(_STRIP, height - first)
        result[first : first + rows] = caster.strip(first, rows)
    return result


@dataclass(frozen=True, eq=False)
class _Caster:
    """What casting the strips of one picture shares."""

    scene: PressScene
    camera: Lens
    projector: Projector | None
    frame: LitFrame | None
    texture: FaceTexture
    pixel_mm: float
    found: F32 | None

    def strip(self, first: int, rows: int) -> F32:
        """Return the light on one strip of rows, shape (rows, width, 3)."""
        rays = self.camera.ray_strip(first, rows)
        total = np.zeros((*rays[0].shape, 3), np.float32)
        left = np.ones(rays[0].shape, np.float32)
        for patch, above in self._layers(first, rays):
            share = left * patch.cover
            if share.any():
                total += share[..., None] * self._light(patch, above) * patch.colour
                left = left - share
            if not left.any():
                break
        return total

    def _layers(self, first: int, rays: Rays) -> Iterator[tuple[Patch, tuple[Slab, ...]]]:
        """Yield what the rays may meet from the top down, with the blocks that stand above it."""
        cloth, slabs = self.scene.cloth, self.scene.slabs()
        if cloth is not None and self.found is not None:
            yield _cloth_patch(cloth, self.camera, rays, first, self.found), ()
        for depth, slab in enumerate(slabs):
            texture = self.texture if slab.papered else None
            yield _top(slab, self.camera, rays, texture, self.pixel_mm), slabs[:depth]
            if depth < len(slabs) - 1:
                yield _wall(slab, self.camera, rays, self.pixel_mm), slabs[:depth]

    def _light(self, patch: Patch, above: tuple[Slab, ...]) -> F32:
        light = _room_light(self.scene.room, patch)
        if above:
            light *= _contact(above, patch)[..., None]
        cloth = self.scene.cloth if patch.slope is None else None
        if cloth is not None:
            gloom = sample(cloth.gloom, *cloth.grid(patch.x, patch.y), 0.0)
            light *= (1 - np.float32(0.7) * gloom)[..., None]
        if self.projector is not None and self.frame is not None:
            light += _beam(self.projector, self.frame, patch, above, cloth)
        return light


def _search(cloth: Cloth, camera: Lens) -> F32:
    """Return the height at which every `_COARSE`-th ray meets the cloth, by bisection."""
    rays = camera.ray_strip(0, camera.size[1], _COARSE)
    low = np.full(rays[0].shape, cloth.height.min() - 1, np.float32)
    high = np.full(rays[0].shape, cloth.height.max() + 1, np.float32)
    for _ in range(14):
        middle = np.asarray((low + high) / 2, np.float32)
        x, y = _meet(camera, rays, middle)
        under = sample(cloth.height, *cloth.grid(x, y)) > middle
        low = np.where(under, middle, low)
        high = np.where(under, high, middle)
    return np.asarray((low + high) / 2, np.float32)


def _cloth_patch(cloth: Cloth, camera: Lens, rays: Rays, first: int, found: F32) -> Patch:
    """Return what a strip of rays meets of the cloth."""
    rows, columns = rays[0].shape
    across, along = np.meshgrid(
        np.arange(columns, dtype=np.float32) / np.float32(_COARSE),
        (first + np.arange(rows, dtype=np.float32)) / np.float32(_COARSE),
    )
    z = sample(found, across, along)
    x, y = _meet(camera, rays, z)
    gx, gy = cloth.grid(x, y)
    slope = sample(cloth.slope[0], gx, gy), sample(cloth.slope[1], gx, gy)
    # One step of Newton's method on height(x(z), y(z)) - z.
    steep = (slope[0] * rays[0] + slope[1] * rays[1]) / rays[2] - 1
    off = sample(cloth.height, gx, gy) - z
    z = np.asarray(z - off / np.minimum(steep, np.float32(-0.2)), np.float32)
    x, y = _meet(camera, rays, z)
    gx, gy = cloth.grid(x, y)
    picture = cv2.remap(
        cloth.picture.colour,
        sample(cloth.texture[0], gx, gy),
        sample(cloth.texture[1], gx, gy),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    coded = np.asarray(picture, np.float32) * np.float32(1 / 255)
    cover = np.clip(coded[..., 3] * 2 - np.float32(0.5), 0, 1)
    return Patch(
        cover=np.asarray(cover, np.float32),
        x=x,
        y=y,
        z=z,
        colour=coded[..., :3] ** 2,
        shade=sample(cloth.shade, gx, gy),
        slope=slope,
    )


def _meet(camera: Lens, rays: Rays, height: F32 | float) -> tuple[F32, F32]:
    """Return where rays meet the plane at `height`: planes of x and y, mm."""
    x, y, z = (np.float32(value) for value in camera.position)
    distance = (np.asarray(height, np.float32) - z) / rays[2]
    return x + distance * rays[0], y + distance * rays[1]


def signed_distance(slab: Slab, x: F32, y: F32) -> F32:
    """Return the distance to the slab's outline, negative inside, mm."""
    radius = np.float32(slab.face.corner_radius)
    qx = np.abs(x - np.float32(slab.centre[0])) - np.float32(slab.face.width / 2) + radius
    qy = np.abs(y - np.float32(slab.centre[1])) - np.float32(slab.face.depth / 2) + radius
    outside = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0))
    return np.asarray(outside + np.minimum(np.maximum(qx, qy), 0) - radius, np.float32)


def _coverage(distance: F32, pixel_mm: float) -> F32:
    return np.asarray(np.clip(0.5 - distance * np.float32(1 / pixel_mm), 0, 1), np.float32)


def _top(
    slab: Slab,
    camera: Lens,
    rays: Rays,
    texture: FaceTexture | None,
    pixel_mm: float,
) -> Patch:
    x, y = _meet(camera, rays, slab.top)
    away = signed_distance(slab, x, y)
    cover = _coverage(away, pixel_mm)
    if texture is not None:
        colour = texture.reflectance(x, y, slab.colour)
    else:
        colour = np.broadcast_to(np.array(slab.colour, np.float32), (*x.shape, 3))
        bevel = 1 + np.float32(0.5) * np.exp(-((away + 2) ** 2))
        colour = colour * (_grain(x, y, slab) * bevel)[..., None]
    return Patch(cover, x, y, slab.top, colour, np.ones_like(x))


def _grain(x: F32, y: F32, slab: Slab) -> F32:
    """Return slow brightness waves, so that large plain surfaces look like a material."""
    if slab.face.width < 2000:
        return np.ones_like(x)
    wave = np.sin(y * 0.11 + 1.7 * np.sin(x * 0.004) + 0.6 * np.sin(y * 0.031))
    joint = np.abs(((y + 40) / 140) % 1 - 0.5) > 0.494
    return np.asarray(1 + 0.05 * wave - 0.35 * joint, np.float32)


def _wall(slab: Slab, camera: Lens, rays: Rays, pixel_mm: float) -> Patch:
    """Return the slab's side walls: rays that miss its top but pass through its body."""
    cover = np.zeros(rays[0].shape, np.float32)
    for share in _WALL_STEPS:
        x, y = _meet(camera, rays, slab.top + share * (slab.bottom - slab.top))
        np.maximum(cover, _coverage(signed_distance(slab, x, y), pixel_mm), out=cover)
    colour = np.broadcast_to(np.array(slab.side, np.float32), (*x.shape, 3))
    middle = (slab.top + slab.bottom) / 2
    return Patch(cover, x, y, middle, colour, np.full_like(x, 0.45))


def _room_light(room: RoomLight, patch: Patch) -> F32:
    """Return the room's light on the patch, shape (H, W, 3)."""
    gx, gy = (np.float32(value * 1e-3) for value in room.gradient)
    level = np.float32(room.level) * patch.shade * (1 + gx * patch.x + gy * patch.y)
    if patch.slope is not None:
        lamp = np.array(room.lamp, np.float32) / np.float32(np.linalg.norm(room.lamp))
        sx, sy = patch.slope
        facing = (lamp[2] - lamp[0] * sx - lamp[1] * sy) / np.sqrt(1 + sx * sx + sy * sy)
        level = level * (np.float32(0.35) + np.float32(0.65) * np.maximum(facing, 0) / lamp[2])
    return np.asarray(np.maximum(level, 0)[..., None] * np.array(room.tint, np.float32))


def _contact(above: tuple[Slab, ...], patch: Patch) -> F32:
    """Return how much a surface near a taller block is darkened."""
    shade = np.ones_like(patch.x)
    for slab in above:
        drop = slab.bottom - patch.z
        near = np.maximum(signed_distance(slab, patch.x, patch.y), 0)
        reach = np.float32(30 + 0.5 * np.mean(drop))
        shade *= 1 - np.float32(0.55) * np.exp(-near / reach)
    return shade


def _beam(
    projector: Projector,
    frame: LitFrame,
    patch: Patch,
    above: tuple[Slab, ...],
    cloth: Cloth | None,
) -> F32:
    """Return the projector's light on the patch, shape (H, W, 3)."""
    view, lamp = projector.view, projector.lamp
    u, v = view.pixel_planes(patch.x, patch.y, patch.z)
    light = frame.light(u, v) @ np.array(lamp.primaries, np.float32).T
    dx = np.float32(view.position[0]) - patch.x
    dy = np.float32(view.position[1]) - patch.y
    dz = np.float32(view.position[2]) - patch.z
    square = dx * dx + dy * dy + dz * dz
    facing = dz
    if patch.slope is not None:
        sx, sy = patch.slope
        facing = np.maximum(dz - sx * dx - sy * dy, 0) / np.sqrt(1 + sx * sx + sy * sy)
    x0, y0, z0 = view.position
    full = (x0**2 + y0**2 + z0**2) ** 1.5 / z0  # makes cos/r² equal 1 on the platen's middle
    level = facing / (square * np.sqrt(square)) * np.float32(full * lamp.brightness)
    half = np.float32(2 / np.hypot(*view.size))
    across = (u - np.float32(view.size[0] / 2)) * half
    along = (v - np.float32(view.size[1] / 2)) * half
    level = level * (1 - np.float32(lamp.vignette) * np.minimum(across**2 + along**2, 1))
    for slab in above:  # a taller block stands in the beam's way
        for height in (slab.top, slab.bottom):
            share = (np.float32(height) - patch.z) / dz
            distance = signed_distance(slab, patch.x + share * dx, patch.y + share * dy)
            level = level * np.clip(distance * np.float32(0.5) + np.float32(0.5), 0, 1)
    if cloth is not None:  # and so does the cloth that hangs over them
        share = (np.float32(_HEM) - patch.z) / dz
        shadow = cloth.grid(patch.x + share * dx, patch.y + share * dy)
        level = level * (1 - sample(cloth.cover, *shadow, 0.0))
    return np.asarray(level[..., None] * light, np.float32)
