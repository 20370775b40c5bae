"""A tiny stand-in for a camera over a transfer on cloth: it shares no code with what reads it.

Every camera pixel's ray is met with the cloth's plane by hand, and asked what lies there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.model.pinhole import Pinhole

CLOTHS = {
    "white": (0.80, 0.80, 0.78),
    "navy": (0.06, 0.04, 0.03),
    "black": (0.025, 0.025, 0.025),
    "heather": (0.30, 0.30, 0.30),
    "red": (0.06, 0.05, 0.35),
}
"""Linear reflectance, BGR."""

SHEETS = {
    # how much the sheet hides of the cloth, its own tone, how much the ink shows through it
    "paper": (0.97, 0.82, 0.04),
    "matte": (0.30, 0.72, 0.85),
    "clear": (0.04, 0.80, 0.96),
}


def camera(size, rng):
    """Return a camera beside the projector, 40 to 95 degrees round, 1 to 1.4 px/mm."""
    azimuth, tilt = np.radians(rng.uniform(40, 95)), rng.uniform(0.45, 0.75)
    away = np.array([np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), np.cos(tilt)])
    down = -away
    right = np.cross(down, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(down, right), down])
    focal = rng.uniform(0.9, 1.1) * size[0]
    distance = focal / rng.uniform(1.1, 1.4) / (1280 / size[0]) * (1280 / size[0])
    lens = Pinhole(focal, size[0] / 2 + 3, size[1] / 2 - 5, k1=rng.uniform(-0.08, 0.02))
    return lens.moved(rotation, -rotation @ (away * distance))


def words(text, width, tall=None):
    """Return a mask of lettering cut to its bounds, 8 px a mm, about `width` mm wide."""
    mask = np.zeros((400, 4000), np.uint8)
    cv2.putText(mask, text, (60, 260), cv2.FONT_HERSHEY_DUPLEX, 6.0, 255, 22, cv2.LINE_AA)
    if tall:
        under = np.zeros((300, 4000), np.uint8)
        cv2.putText(under, tall, (60, 220), cv2.FONT_HERSHEY_COMPLEX, 5.0, 255, 20, cv2.LINE_AA)
        mask = np.vstack([mask, under])
    x, y, w, h = cv2.boundingRect(mask)
    scale = 8 * width / w
    cut = cv2.resize(mask[y : y + h, x : x + w], None, fx=scale, fy=scale, interpolation=3)
    cut = cut > 127
    x, y, w, h = cv2.boundingRect(cut.astype(np.uint8))
    return cut[y : y + h, x : x + w]


@dataclass
class Scene:
    """A transfer on cloth. Pose: platen mm and radians counter-clockwise of the ink's middle."""

    camera: Pinhole
    mask: np.ndarray  # 8 px a mm
    pose: tuple[float, float, float] | None  # None: the bare cloth
    size: tuple[int, int] = (960, 540)
    cloth: str = "white"
    sheet: str = "clear"
    ink: tuple[float, float, float] = (0.05, 0.04, 0.04)
    margin: tuple[float, float] = (10.0, 14.0)
    height: float = 1.0
    seed: int = 0

    def pictures(self):
        """Return the camera's white and dim pictures and the dark one, BGR, uint8."""
        n = 2
        width, height = self.size
        v, u = np.mgrid[: height * n, : width * n]
        px = np.column_stack([u.ravel(), v.ravel()])
        rays = self.camera.directions((px + 0.5) / n - 0.5)
        lens = self.camera.lens
        t = (self.height - lens[2]) / rays[:, 2]
        x, y = ((lens + rays * t[:, None])[:, k].reshape(height * n, width * n) for k in (0, 1))
        rng = np.random.default_rng(self.seed)
        albedo = np.ones((*x.shape, 3), np.float32) * np.float32(CLOTHS[self.cloth])
        # Weave and heather: noise that lies on the cloth, 0.7 mm and 3 mm coarse.
        for step, level in ((0.7, 0.05), (3.0, 0.03 if self.cloth != "heather" else 0.12)):
            noise = rng.normal(0, level, (1500, 1500)).astype(np.float32)
            at = ((x / step) % 1499).astype(np.float32), ((y / step) % 1499).astype(np.float32)
            albedo *= (1 + cv2.remap(noise, *at, cv2.INTER_LINEAR))[..., None]
        if self.pose is not None:
            albedo = self._with_sheet(albedo, x, y)
        shade = (1 + 0.0006 * x - 0.0004 * y)[..., None].astype(np.float32)
        shade = np.clip(shade, 0.5, 1.5)
        gain = float(rng.uniform(0.7, 1.4))
        out = {}
        for name, light in (("white", 1.0), ("dim", 0.21), ("dark", 0.0)):
            room = 0.05 * float(rng.uniform(0.92, 1.08))
            lit = albedo * (light * shade + room) * gain
            small = cv2.resize(lit, self.size, interpolation=cv2.INTER_AREA)
            small = cv2.GaussianBlur(small, (0, 0), 0.7)
            noise = rng.normal(0, 1, small.shape) * np.sqrt(1.5e-5 + 1e-4 * small)
            small = np.clip(small + noise, 0, 1)
            code = np.where(small <= 0.0031308, 12.92 * small, 1.055 * small ** (1 / 2.4) - 0.055)
            quality = int(rng.integers(70, 93))
            data = cv2.imencode(".jpg", np.rint(255 * code).astype(np.uint8), [1, quality])[1]
            out[name] = cv2.imdecode(data, cv2.IMREAD_COLOR)
        return out

    def _with_sheet(self, albedo, x, y):
        px, py, turn = self.pose
        c, s = np.cos(turn), np.sin(turn)
        right, down = c * (x - px) + s * (y - py), s * (x - px) - c * (y - py)
        h, w = (side / 8 for side in self.mask.shape)
        hides, tone, through = SHEETS[self.sheet]
        half = w / 2 + self.margin[0], h / 2 + self.margin[1]
        inside = np.minimum(half[0] - np.abs(right), half[1] - np.abs(down))
        cover = np.clip(inside / 0.4 + 0.5, 0, 1)[..., None].astype(np.float32)
        mask = cv2.GaussianBlur(self.mask.astype(np.float32), (0, 0), 1.5)
        at = ((a + b / 2) * 8 - 0.5 for a, b in ((right, w), (down, h)))
        ink = cv2.remap(mask, *(a.astype(np.float32) for a in at), cv2.INTER_LINEAR, borderValue=0)
        below = albedo * (1 - hides) + hides * tone
        below += through * ink[..., None] * (np.float32(self.ink) - below)
        rim = (np.exp(-((inside / 0.6) ** 2)) * (inside > -0.3))[..., None].astype(np.float32)
        below *= 1 - 0.12 * rim
        return albedo + cover * (below - albedo)
