"""From the view and the projector's pictures to the camera's photos."""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks._second_press.press import Press
from benchmarks._second_press.trace import F32, View

U8 = NDArray[np.uint8]


def thrown(press: Press, view: View, picture: U8) -> F32:
    """Return the projector's light at each pixel of the view, linear RGB, 1 for full white."""
    level = (picture[..., ::-1].astype(np.float32) / 255) ** np.float32(press.gamma)
    level = np.float32(press.black) + (1 - np.float32(press.black)) * level
    if level.ndim == 2:
        level = np.repeat(level[..., None], 3, axis=2)
    # What one pixel of the camera covers of the picture, and the projector's own lens.
    step = float(np.median(np.abs(np.diff(view.aim[..., 0], axis=1))))
    step = max(step, float(np.median(np.abs(np.diff(view.aim[..., 1], axis=1)))))
    level = cv2.GaussianBlur(level, (0, 0), float(np.hypot(press.soft, 0.32 * step)))
    x, y = (np.ascontiguousarray(view.aim[..., i]) for i in (0, 1))
    here = cv2.remap(level, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(here @ press.primaries.T.astype(np.float32))


def shoot(
    press: Press,
    view: View,
    frames: Mapping[str, U8],
    rng: np.random.Generator,
    lamp_swing: float = 0.08,
    exposes_itself: bool | None = None,
) -> dict[str, U8]:
    """Return the camera's photo of each frame, BGR, as JPEG leaves it.

    Exposure is locked so that white paper under a white flash just reaches the top, give or take;
    a press whose camera exposes by itself follows each frame's light in part.
    """
    auto = press.exposes_itself if exposes_itself is None else exposes_itself
    top = float(np.random.default_rng(990 + press.number).uniform(0.78, 1.15))
    gain = top / (0.83 * (1 + press.lit))
    tint = np.array([1.0, 0.97, 0.9], np.float32)
    photos = {}
    for name, picture in frames.items():
        swing = np.float32(1 + rng.uniform(-lamp_swing, lamp_swing))
        light = thrown(press, view, picture) * view.beam[..., None]
        room = view.room[..., None] * tint * swing
        scene = view.albedo * (light + room) + view.gloss[..., None] * (light + 0.5 * room)
        scene = cv2.GaussianBlur(scene, (0, 0), 0.6)
        scene = scene @ press.crosstalk.T.astype(np.float32)
        here = gain
        if auto:
            mean = float(scene.mean()) * gain
            here = gain * float(np.clip(0.3 / max(mean, 1e-3), 0.6, 1.7)) ** 0.7
        photos[name] = _sensor(press, scene * np.float32(here), rng)
    return photos


def _sensor(press: Press, light: F32, rng: np.random.Generator) -> U8:
    noise = rng.standard_normal(light.shape, dtype=np.float32)
    light = light + noise * np.sqrt(np.maximum(light, 0) * 1.2e-4 + 4e-6)
    light = np.clip(light, 0, 1)
    level = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    level = level + np.float32(press.tone) * level * (1 - level) * (0.5 - level)
    photo = np.round(np.clip(level, 0, 1) * 255).astype(np.uint8)[..., ::-1]
    done, data = cv2.imencode(".jpg", photo, [cv2.IMWRITE_JPEG_QUALITY, press.quality])
    if not done:
        raise RuntimeError("a photo could not be made a JPEG")
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)
