"""A small, independent camera and projector for these tests: one plane, seen through a lens.

Deliberately not the virtual rig, so that a mistake shared by drawing and finding
(half a pixel, a mirrored axis) cannot hide: every photo pixel asks, through the
closed-form inverse, which millimetre of platen it sees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np

from calibration.geometry import PlatenFace
from calibration.photo.read import Photo
from calibration.targets.cards import Card, draw, layout
from calibration.targets.pattern import Pattern

RASTER = 4.0  # px per mm of the platen's picture


@dataclass
class Bench:
    """One platen, one camera, one projector; attributes may be changed before `photo`."""

    face: PlatenFace = field(default_factory=lambda: PlatenFace(406.0, 508.0))
    size: tuple[int, int] = (1280, 960)
    field_of_view: float = math.radians(66)
    tilt: float = math.radians(35)
    azimuth: float = math.radians(-80)  # where the camera stands, from +x counter-clockwise
    roll: float = 0.0
    fill: float = 0.9
    k1: float = -0.05
    projector_size: tuple[int, int] = (1920, 1080)
    fine: bool = False
    ambient: float = 0.12
    blur: float = 0.7
    noise: float = 2.0
    quality: int = 90
    crosstalk: float = 0.12
    cover: tuple[float, float, float] = (0.78, 0.80, 0.82)  # reflectance, BGR
    seed: int = 0
    supersample: int = 2
    cards: tuple[Card, ...] | None = None  # as laid
    light: np.ndarray | None = None  # the projector's picture, instead of the pattern
    grey: float = 0.0  # 1 takes all colour out of the photo
    seen: np.ndarray | None = None  # the light, once worked out

    def __post_init__(self):
        width, height = self.size
        self.focal = width / 2 / math.tan(self.field_of_view / 2)
        self.centre = np.array([(width - 1) / 2, (height - 1) / 2])
        if self.cards is None:
            self.cards = layout(self.face)
        self._place_camera()
        self._place_projector()

    def _place_camera(self):
        outward = np.array(
            [
                math.sin(self.tilt) * math.cos(self.azimuth),
                math.sin(self.tilt) * math.sin(self.azimuth),
                math.cos(self.tilt),
            ]
        )
        forward = -outward
        right = np.cross(forward, [0.0, 0.0, 1.0])
        right = right / np.linalg.norm(right) if np.linalg.norm(right) > 1e-9 else np.eye(3)[0]
        down = np.cross(forward, right)
        c, s = math.cos(self.roll), math.sin(self.roll)
        rotation = np.array([c * right + s * down, -s * right + c * down, forward])
        corners = self.face.outline()
        room = np.array(self.size) / 2 * self.fill
        low, high = 50.0, 20000.0
        for _ in range(50):
            distance = (low + high) / 2
            aim = self._aim(rotation, outward, distance, corners)
            self.rotation, self.position = rotation, outward * distance + aim
            seen = np.abs(self.camera_pixels(corners) - self.centre) < room
            low, high = (low, distance) if seen.all() else (distance, high)
        self.position = outward * high + self._aim(rotation, outward, high, corners)

    def _aim(self, rotation, outward, distance, corners):
        """Shift along the platen that centres the platen in the picture."""
        aim = np.zeros(3)
        for _ in range(6):
            self.rotation, self.position = rotation, outward * distance + aim
            seen = self.camera_pixels(corners)
            if not np.isfinite(seen).all():
                break
            offset = (seen.min(0) + seen.max(0)) / 2 - self.centre
            aim = aim + (rotation[:2].T @ offset) * distance / self.focal
            aim[2] = 0.0
        return aim

    def camera_pixels(self, points):
        """Photo px of platen points (N, 2) or (N, 3) in mm."""
        points = np.asarray(points, float)
        if points.shape[1] == 2:
            points = np.column_stack([points, np.zeros(len(points))])
        x, y, z = self.rotation @ (points - self.position).T
        z = np.where(z > 1, z, np.nan)
        x, y = x / z, y / z
        bend = 1 + self.k1 * (x * x + y * y)
        return np.column_stack([x * bend, y * bend]) * self.focal + self.centre

    def _platen_of_photo(self, u, v):
        """Where the photo's rays meet the platen, shape (N, 2), for px u and v, shape (N,)."""
        x, y = (u - self.centre[0]) / self.focal, (v - self.centre[1]) / self.focal
        # The lens inverted by a table of its closed form.
        straight = np.linspace(0, 1.5 * float(np.hypot(x, y).max()), 20_000)
        bent = straight * (1 + self.k1 * straight**2)
        rising = np.diff(bent, prepend=-1) > 0
        scale = np.interp(
            np.hypot(x, y), bent[rising][1:], (straight / np.maximum(bent, 1e-9))[rising][1:]
        )
        rays = np.stack([x * scale, y * scale, np.ones_like(x)], axis=1) @ self.rotation
        t = -self.position[2] / np.where(rays[:, 2] < -1e-6, rays[:, 2], np.nan)
        return self.position[:2] + rays[:, :2] * t[:, None]

    def _place_projector(self):
        # Lies across the platen with 8 % to spare, seen from 30 degrees off the normal.
        w, h = self.projector_size
        long, short = max(self.face.width, self.face.depth), min(self.face.width, self.face.depth)
        reach = max(short * 1.08, long * 1.08 * h / w)
        half = np.array([reach * w / h, reach]) / 2
        keystone = 0.12
        quad = np.array([[-1, 1 + keystone], [1, 1], [1 - keystone, -1], [-1 + keystone, -1.02]])
        quad = quad * half
        if self.face.depth > self.face.width:
            quad = quad[:, ::-1] * [1, -1]
        frame = np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1]], np.float32)
        self.projector = cv2.getPerspectiveTransform(quad.astype(np.float32), frame)

    def projector_pixels(self, points):
        return cv2.perspectiveTransform(np.asarray(points, float)[None], self.projector)[0]

    def platen_of_projector(self, pixels):
        inverse = np.linalg.inv(self.projector)
        return cv2.perspectiveTransform(np.asarray(pixels, float)[None], inverse)[0]

    def albedo(self):
        """The platen with its cards, BGR reflectance, and a map from mm to its pixels."""
        margin = 60.0
        width = round((self.face.width + 2 * margin) * RASTER)
        height = round((self.face.depth + 2 * margin) * RASTER)
        picture = np.full((height, width, 3), 0.06, np.float32)
        corner = np.array([-self.face.width / 2 - margin, self.face.depth / 2 + margin])

        def raster(points):
            return (np.asarray(points) - corner) * [RASTER, -RASTER] - 0.5

        low, high = np.floor(raster(self.face.outline()[[3, 1]])).astype(int)
        picture[low[1] + 1 : high[1] + 1, low[0] + 1 : high[0] + 1] = self.cover
        for card in self.cards:
            ink = draw(card, 3 * RASTER).astype(np.float32) / 255
            n = len(ink)
            edges = np.array([[0, 0], [n, 0], [n, n], [0, n]], np.float32) - 0.5
            target = raster(card.outline())
            low = np.maximum(np.floor(target.min(0)).astype(int) - 2, 0)
            size = np.ceil(target.max(0)).astype(int) + 3 - low
            warp = cv2.getPerspectiveTransform(edges, (target - low).astype(np.float32))
            # Three source pixels a target pixel: average them before resampling.
            laid = cv2.warpPerspective(cv2.blur(ink, (3, 3)), warp, size, flags=cv2.INTER_LINEAR)
            there = cv2.warpPerspective(np.ones_like(ink), warp, size)[..., None] > 0.5
            part = picture[low[1] : low[1] + size[1], low[0] : low[0] + size[0]]
            height, width = part.shape[:2]
            part[...] = np.where(there, 0.04 + 0.82 * laid[..., None], 0)[
                :height, :width
            ] + np.where(there[:height, :width], 0, part)
        return picture, raster

    def linear(self):
        """Light reaching the sensor, BGR, before blur; shape (height, width, 3)."""
        picture, raster = self.albedo()
        s = self.supersample
        w, h = self.size
        u, v = np.meshgrid((np.arange(w * s) + 0.5) / s - 0.5, (np.arange(h * s) + 0.5) / s - 0.5)
        mm = np.nan_to_num(self._platen_of_photo(u.ravel(), v.ravel()), nan=1e6)
        where = raster(mm).astype(np.float32).reshape(h * s, w * s, 2)
        seen = cv2.remap(picture, where, None, cv2.INTER_LINEAR, borderValue=(0.05, 0.05, 0.05))
        shown = self.light
        if shown is None:
            shown = Pattern(self.projector_size).draw(self.fine)
        levels = (np.arange(256, dtype=np.float32) / 255) ** 2.2 * 0.985 + 0.015  # a grey black
        lamp = cv2.LUT(shown, levels)
        where = self.projector_pixels(mm).astype(np.float32).reshape(h * s, w * s, 2)
        lit = cv2.remap(lamp, where, None, cv2.INTER_LINEAR, borderValue=(0, 0, 0))
        seen *= lit * np.float32([0.75, 0.85, 0.8]) + np.float32(self.ambient)
        return cv2.resize(seen, (w, h), interpolation=cv2.INTER_AREA)

    def photo(self, linear=None, finish=None, name="bench.jpg"):
        """The photo as a `Photo`; the hooks spoil the light or the finished picture."""
        if self.seen is None:
            self.seen = self.linear()
        light = self.seen.copy()
        if linear is not None:
            light = linear(light)
        light = cv2.GaussianBlur(light, (0, 0), self.blur)
        c = self.crosstalk
        mix = np.array(
            [[1 - c, c * 0.8, c * 0.2], [c / 2, 1 - c, c / 2], [c * 0.3, c * 0.7, 1 - c]]
        )
        light = light @ mix.T.astype(np.float32)
        if self.grey:
            light = light * (1 - self.grey) + light.mean(axis=2, keepdims=True) * self.grey
        tone = np.clip(light / np.percentile(light, 99.5), 0, 1.05) ** (1 / 2.2) * 245
        tone += np.random.default_rng(self.seed).normal(0, self.noise, tone.shape)
        image = np.clip(np.rint(tone), 0, 255).astype(np.uint8)
        if finish is not None:
            image = finish(image)
        coded = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, self.quality])[1]
        return Photo(name, cv2.imdecode(coded, cv2.IMREAD_COLOR), "bench", None)
