"""A small stand-in for press, projector and fixed camera, for tests of the eye.

It casts every ray by itself and shares no code with what reads the pictures but the map of the
projector and the pinhole: a surface of any height over the platen, the bench 150 mm below.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.geometry import PlatenFace
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap

BENCH = -150.0


def camera(size=(960, 540), azimuth=1.2, tilt=0.75, distance=900.0, view=0.95, k1=-0.06, roll=0.0):
    """Return a camera that looks at the platen's middle from `azimuth` radians off the back.

    `view` is the focal length over the picture's width.
    """
    away = np.array([np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), np.cos(tilt)])
    down = -away
    right = np.cross(down, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(down, right), down])
    c, s = np.cos(roll), np.sin(roll)
    rotation = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ rotation
    width, height = size
    lens = Pinhole(view * width, (width - 1) / 2 + 6, (height - 1) / 2 - 4, k1=k1)
    return lens.moved(rotation, -rotation @ (away * distance))


@dataclass
class EyeScene:
    """What lies there; `height` and `colour` are functions of x and y (mm)."""

    projector: ProjectorMap
    face: PlatenFace
    camera: Pinhole
    size: tuple[int, int] = (960, 540)
    height: object = None
    reflectance: tuple = (0.35, 0.35, 0.35)  # red, green, blue
    room: float = 0.08
    seed: int = 1
    fine: int = 2
    cross_talk: float = 0.08

    def __post_init__(self):
        n = self.fine
        width, height = self.size
        y, x = np.mgrid[: height * n, : width * n]
        pixels = np.column_stack([x.ravel(), y.ravel()])
        pixels = (pixels + 0.5) / n - 0.5
        directions = self.camera.directions(pixels)
        lens = self.camera.lens
        z = np.zeros(len(pixels))
        for _ in range(6):
            points = lens + directions * ((z - lens[2]) / directions[:, 2])[:, None]
            if self.height is None:
                break
            z = self.height(points[:, 0], points[:, 1])
        on = self._on(points)
        low = lens + directions * ((BENCH - lens[2]) / directions[:, 2])[:, None]
        points = np.where(on[:, None], points, low)
        self.points = points.reshape(height * n, width * n, 3)
        light = self.projector.pinhole.project(points)
        # The platen's own shadow on the bench.
        eye = self.projector.pinhole.lens
        share = (0.0 - low[:, 2]) / (eye[2] - low[:, 2])
        shadow = ~on & self._on(low + share[:, None] * (eye - low))
        self.light = light.reshape(height * n, width * n, 2).astype(np.float32)
        self.shadow = shadow.reshape(height * n, width * n)
        self.on = on.reshape(height * n, width * n)
        self.rng = np.random.default_rng(self.seed)

    def _on(self, points):
        half = self.face.width / 2, self.face.depth / 2
        return (np.abs(points[:, 0]) < half[0]) & (np.abs(points[:, 1]) < half[1])

    def shot(self, frame, room=1.0, exposure=1.0, noise=0.004):
        """Return the camera's picture under a projector's picture, BGR, uint8."""
        shown = (frame.astype(np.float32) / 255) ** 2.2
        shown = cv2.GaussianBlur(shown, (0, 0), 0.5)
        lit = cv2.remap(
            shown, self.light[..., 0], self.light[..., 1], cv2.INTER_LINEAR, borderValue=0
        )
        lit = np.where(self.shadow[..., None], 0, lit) * 0.9 + 0.004
        bench = np.float32([0.25, 0.28, 0.3])
        albedo = np.where(self.on[..., None], np.float32(self.reflectance[::-1]), bench)
        seen = albedo * (lit + room * self.room)
        k = self.cross_talk
        mix = np.array([[1 - k, k, 0], [k / 2, 1 - k, k / 2], [0, k, 1 - k]], np.float32)
        seen = seen @ mix.T
        width, height = self.size
        small = cv2.resize(seen.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), 0.6) * exposure
        small = np.clip(small + self.rng.normal(0, noise, small.shape), 0, 1)
        code = np.where(small <= 0.0031308, 12.92 * small, 1.055 * small ** (1 / 2.4) - 0.055)
        data = cv2.imencode(".jpg", np.rint(255 * code).astype(np.uint8), [1, 88])[1]
        return cv2.imdecode(data, cv2.IMREAD_COLOR)

    def burst(self, frames, **options):
        """Return the camera's pictures by name."""
        return {frame.name: self.shot(frame.image, **options) for frame in frames}

    def with_(self, **changes):
        """Return another scene of the same press."""
        return replace(self, **changes)
