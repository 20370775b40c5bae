"""The press as its fixed camera films it: flat layers under the projector's light.

Coarse on purpose, so that an hour of work is filmed in minutes: cloth lies flat (it does not hang)
and layers cast no shadows on one another. What a camera adds is there: delay, automatic exposure,
noise, a projector's colour wheel seen in bands.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import deque
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import PlatenFace, Points, rectangle
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from chalkbeam.simulator.press.stage import RGB, SKIN, Arm, LaidSheet, Stage

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]

_HEIGHTS = {"bench": -110.0, "platen": 0.0, "cloth": 1.2, "sheet": 1.4, "arm": 45.0, "head": 95.0}
_LAYERS = tuple(_HEIGHTS)
_BENCH: RGB = (0.16, 0.15, 0.13)
_PLATEN: RGB = (0.10, 0.11, 0.11)
_HEAD: RGB = (0.24, 0.24, 0.25)
_HEAD_MIDDLE: RGB = (0.3, 0.3, 0.3)
_METERED = 0.30  # mean linear light that automatic exposure goes for
_ADAPTS = 0.5  # s


@dataclass(frozen=True)
class FilmedBy:
    """The camera and the projector, as they are.

    Attributes
    ----------
    size : (int, int)
        Of the camera's picture, px.
    delay : float
        From a frame sent, or a thing done, to its picture, s.
    room : float
        The room's light over the projector's white at the platen's middle.
    noise : float
        Of linear light, standard deviation at full white.
    exposes_itself : bool
    wheel : float
        Strength of the bands that a colour wheel makes at a short exposure, 0 to 1.
    """

    size: tuple[int, int] = (640, 360)
    delay: float = 0.12
    room: float = 0.3
    noise: float = 0.006
    exposes_itself: bool = False
    wheel: float = 0.0


class Film:
    """Films a stage that changes, in the light of frames that change.

    Parameters
    ----------
    camera : Pinhole
        Platen to picture px of a picture of `camera_size`.
    camera_size : (int, int)
    projector : ProjectorMap
    face : PlatenFace
    by : FilmedBy
    seed : int
    """

    def __init__(
        self,
        camera: Pinhole,
        camera_size: tuple[int, int],
        projector: ProjectorMap,
        face: PlatenFace,
        by: FilmedBy | None = None,
        seed: int = 1,
    ) -> None:
        by = by or FilmedBy()
        scale = by.size[0] / camera_size[0]
        self.camera = replace(
            camera, focal=scale * camera.focal,
            cx=scale * (camera.cx + 0.5) - 0.5, cy=scale * (camera.cy + 0.5) - 0.5,
        )  # fmt: skip
        self.by, self.face, self._projector = by, face, projector
        self._rng = np.random.default_rng(seed)
        width, height = by.size
        y, x = np.mgrid[:height, :width]
        pixels = np.column_stack([x.ravel(), y.ravel()])
        self._falls = {name: self._light_falls(pixels, h) for name, h in _HEIGHTS.items()}
        self._grain = self._rng.normal(1.0, 0.05, (height, width, 1)).astype(np.float32)
        self._bench = self._soft_grain(14.0, 0.25)
        self._gradient = (1.0 + 0.25 * (x / width - 0.5) - 0.2 * (y / height - 0.5)).astype(
            np.float32
        )[..., None]
        self._noises = [
            self._rng.normal(0, 1, (height, width, 3)).astype(np.float32) for _ in range(4)
        ]
        self._stages: list[tuple[float, Stage]] = [(-math.inf, Stage())]
        self._frames: list[tuple[float, U8 | None]] = [(-math.inf, None)]
        self._painted: tuple[Stage | None, F32, U8] = (None, np.zeros(0, np.float32), _none())
        self._lit: tuple[tuple[object, object] | None, F32] = (None, np.zeros(0, np.float32))
        self._fallen: tuple[U8, F32] = (_none(), np.zeros(0, np.float32))
        self._lights: deque[tuple[U8, F32]] = deque(maxlen=24)
        self._exposure: tuple[float, float] = (-math.inf, 1.0)

    # -- what happens ----------------------------------------------------------------------

    def show(self, frame: U8 | None, at: float) -> None:
        """Light a frame (None: darkness) from a time on, s."""
        if self._frames[-1][1] is not frame:
            self._frames.append((at, frame))
            del self._frames[:-8]

    def stage(self, stage: Stage, at: float) -> None:
        """Let the stage be so from a time on, s."""
        self._stages.append((at, stage))
        del self._stages[:-40]

    # -- what is seen ----------------------------------------------------------------------

    def picture(self, at: float) -> U8:
        """Return the picture that the camera brings at a time, BGR, uint8."""
        then = at - self.by.delay
        stage = self._stages[bisect_right(self._stages, then, key=lambda each: each[0]) - 1][1]
        frame = self._frames[bisect_right(self._frames, then, key=lambda each: each[0]) - 1][1]
        if stage.capped:
            light = np.full((*self.by.size[::-1], 3), 0.004, np.float32)
        else:
            light = self._light(stage, frame, at)
        if self.by.exposes_itself:
            light *= np.float32(self._exposed(float(light.mean()), at))
        noise = self._noises[int(self._rng.integers(4))]
        dx, dy = (int(value) for value in self._rng.integers(0, 64, 2))
        noise = np.roll(noise, (dy, dx), (0, 1))
        light = np.asarray(
            light + noise * (self.by.noise * np.sqrt(np.maximum(light, 0.01))), np.float32
        )
        codes = np.clip(light * 4095, 0, 4095).astype(np.uint16)
        picture: U8 = _SRGB[codes]
        if any(stage.bumped):
            shift = np.array([[1, 0, stage.bumped[0]], [0, 1, stage.bumped[1]]], np.float32)
            picture = np.asarray(
                cv2.warpAffine(picture, shift, self.by.size, borderMode=cv2.BORDER_REPLICATE),
                np.uint8,
            )
        return picture

    def _light(self, stage: Stage, frame: U8 | None, at: float) -> F32:
        if self._painted[0] != stage:
            self._painted = (stage, *self._paint(stage))
        _, albedo, layers = self._painted
        if self._lit[0] is None or self._lit[0][0] is not frame or self._lit[0][1] is not stage:
            self._lit = ((frame, stage), self._projected(frame, layers))
        lit = self._lit[1]
        if self.by.wheel:
            rows = np.arange(lit.shape[0], dtype=np.float32)[:, None]
            phase = 2 * math.pi * (rows / 90 + 47.0 * at + np.array([0.0, 1 / 3, 2 / 3]))
            lit = lit * (1 + self.by.wheel * np.sin(phase)).astype(np.float32)[:, None, :]
        room = self.by.room * stage.room * self._gradient
        if stage.shadow is not None:
            room = room * self._shade(stage.shadow)
        return np.asarray(albedo * (lit + room), np.float32)

    def _exposed(self, mean: float, at: float) -> float:
        before, gain = self._exposure
        wanted = _METERED / max(mean, 1e-3)
        share = 1.0 if not math.isfinite(before) else 1 - math.exp(-(at - before) / _ADAPTS)
        gain += share * (min(wanted, 4.0) - gain)
        self._exposure = at, gain
        return gain

    # -- how it is painted -----------------------------------------------------------------

    def _paint(self, stage: Stage) -> tuple[F32, U8]:
        """Return reflectances, BGR, and which layer each pixel shows."""
        width, height = self.by.size
        albedo = np.broadcast_to(_bgr(_BENCH), (height, width, 3)) * self._bench
        albedo = np.ascontiguousarray(albedo, np.float32)
        layers = np.zeros((height, width), np.uint8)
        self._fill(albedo, layers, self.face.outline(), "platen", _PLATEN)
        if stage.garment is not None:
            self._fill(albedo, layers, stage.garment.outline(), "cloth", stage.garment.colour)
            for line in stage.garment.lines():
                self._draw(albedo, line, tuple(0.75 * value for value in stage.garment.colour))
        albedo *= self._grain
        for sheet in stage.sheets:
            self._lay(albedo, layers, sheet)
        for arm in stage.arms:
            self._reach(albedo, layers, arm)
        if stage.head > 0:
            away = (1 - stage.head) * (self.face.depth + 120.0)
            head = rectangle(self.face.width + 50, self.face.depth + 50)
            for scale, colour in ((1.0, _HEAD), (0.6, _HEAD_MIDDLE)):
                self._fill(albedo, layers, scale * head + np.array([0.0, away]), "head", colour)
        return albedo, layers

    def _pixels(self, points: Points, layer: str) -> Points:
        height = np.full(len(points), _HEIGHTS[layer])
        return self.camera.project(np.column_stack([points, height]))

    def _cover(self, polygon: Points, layer: str) -> F32:
        """Return how much of each pixel a polygon covers, shape (h, w, 1)."""
        mask = np.zeros(self.by.size[::-1], np.uint8)
        pixels = np.clip(self._pixels(polygon, layer), -4000, 8000)
        cv2.fillPoly(mask, [np.rint(pixels * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        return np.asarray(mask[..., None] / np.float32(255), np.float32)

    def _fill(
        self, albedo: F32, layers: U8, polygon: Points, layer: str, colour: RGB, share: float = 1.0
    ) -> None:
        cover = self._cover(polygon, layer)
        albedo += share * cover * (_bgr(colour) - albedo)
        layers[cover[..., 0] > 0.5] = _LAYERS.index(layer)

    def _draw(self, albedo: F32, line: Points, colour: tuple[float, ...]) -> None:
        mask = np.zeros(self.by.size[::-1], np.uint8)
        pixels = np.rint(np.clip(self._pixels(line, "cloth"), -4000, 8000) * 16).astype(np.int32)
        cv2.polylines(mask, [pixels], False, 255, 1, cv2.LINE_AA, 4)
        cover = mask[..., None] / np.float32(255)
        albedo += cover * (_bgr(colour) - albedo)

    def _lay(self, albedo: F32, layers: U8, sheet: LaidSheet) -> None:
        if sheet.film is not None:
            self._fill(albedo, layers, sheet.corners, "sheet", sheet.film, sheet.cover)
        rows, columns = sheet.ink.shape
        box = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32) - np.float32(
            0.5
        )
        to = cv2.getPerspectiveTransform(
            box, self._pixels(sheet.ink_corners, "sheet").astype(np.float32)
        )
        ink = cv2.warpPerspective(
            sheet.ink.astype(np.float32), to, self.by.size, flags=cv2.INTER_LINEAR
        )
        albedo += ink[..., None] * (_bgr(sheet.colour) - albedo)

    def _reach(self, albedo: F32, layers: U8, arm: Arm) -> None:
        elbow, hand = np.array(arm.elbow), np.array(arm.hand)
        along = (hand - elbow) / max(float(np.hypot(*(hand - elbow))), 1.0)
        aside = np.array([-along[1], along[0]])
        wrist = hand - 110 * along
        for start, end, wide, colour in (
            (elbow, wrist, 48.0, arm.sleeve), (wrist, hand, 42.0, SKIN),
        ):  # fmt: skip
            sides = [start + wide * aside, end + wide * aside, end - wide * aside]
            self._fill(albedo, layers, np.array([*sides, start - wide * aside]), "arm", colour)

    # -- how it is lit ---------------------------------------------------------------------

    def _light_falls(self, pixels: Points, height: float) -> F32:
        with np.errstate(all="ignore"):
            at = self.camera.unproject(pixels, height)
            px = self._projector.projector_from_platen(at, height)
        px = np.where(np.isfinite(px), px, -1e4)
        return np.asarray(px.reshape(*self.by.size[::-1], 2), np.float32)

    def _projected(self, frame: U8 | None, layers: U8) -> F32:
        if frame is None:
            return np.full((*layers.shape, 3), 0.003, np.float32)
        # No finer than the camera sees it.
        scale = min(1.0, 1.2 * self.by.size[0] / frame.shape[1])
        if self._fallen[0] is not layers:
            chosen = np.stack([self._falls[name] for name in _LAYERS])
            down, along = np.ogrid[: layers.shape[0], : layers.shape[1]]
            self._fallen = layers, chosen[layers, down, along]
        falls = np.float32(scale) * (self._fallen[1] + np.float32(0.5)) - np.float32(0.5)
        return np.float32(0.003) + np.asarray(
            cv2.remap(self._light_of(frame, scale), falls[..., 0], falls[..., 1], cv2.INTER_LINEAR),
            np.float32,
        )

    def _light_of(self, frame: U8, scale: float) -> F32:
        """Return a frame's light, remembered: those of a burst come again and again."""
        known = next((light for shown, light in self._lights if shown is frame), None)
        if known is not None:
            return known
        small = frame
        if scale < 1:
            size = round(scale * frame.shape[1]), round(scale * frame.shape[0])
            small = np.asarray(cv2.resize(frame, size, interpolation=cv2.INTER_AREA), np.uint8)
        light: F32 = _SHOWN[small]
        self._lights.append((frame, light))
        return light

    def _shade(self, middle: tuple[float, float]) -> F32:
        (x, y), *_ = self._pixels(np.array([middle]), "platen")
        rows, columns = np.mgrid[: self.by.size[1], : self.by.size[0]]
        spread = self.by.size[0] / 5
        deep = 0.35 * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * spread**2))
        return np.asarray(1 - deep, np.float32)[..., None]

    def _soft_grain(self, size: float, strength: float) -> F32:
        raw = self._rng.normal(0, 1, self.by.size[::-1]).astype(np.float32)
        soft = np.asarray(cv2.GaussianBlur(raw, (0, 0), size / 4), np.float32)
        grain = np.clip(1 + strength * soft / float(soft.std()), 0.3, 2.0)
        return np.asarray(grain[..., None], np.float32)


def _bgr(colour: tuple[float, ...]) -> F32:
    return np.array(colour[::-1], np.float32)


def _none() -> U8:
    return np.zeros((0, 0), np.uint8)


def _srgb() -> U8:
    linear = np.arange(4096) / 4095
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * code), np.uint8)


_SRGB = _srgb()
"""IEC 61966-2-1: 12 bits of linear light to codes."""

_SHOWN = ((np.arange(256) / 255) ** 2.2 * 0.9).astype(np.float32)
"""Light of a projector by code."""
