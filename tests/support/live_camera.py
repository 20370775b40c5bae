"""A virtual rig under a small camera that is carried around, and what can go wrong with it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from calibration.detect.observe import observe
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal
from chalkbeam.setup.camera import take
from chalkbeam.setup.camera.quick_look import QuickLook, quick_look
from chalkbeam.setup.camera.source import CameraFrame
from chalkbeam.simulator.rig import PlannedPhoto, VirtualRig, look_at, random_rig

SEED = 11
SPACER = 10.0
PLACES = {
    "front": (10.0, -240.0),
    "left": (-260.0, -30.0),
    "right": (250.0, 20.0),
    "spacer": (40.0, -150.0),
}
"""Where the camera is held, platen x and y, mm; the last with the cards on the spacer."""


@cache
def watched_rig() -> VirtualRig:
    """Return a rig whose camera, a third of a phone's pixels a side, stands at each place."""
    rig = random_rig(SEED, "phone", photos=1, scale=1 / 3, laying=0.2, paper=0.1, spacer=SPACER)
    first = rig.photos[0]
    photos = []
    for name, (x, y) in PLACES.items():
        position = (x, y, 640.0)
        turn = look_at(position, (0.0, 0.0, 0.0), roll=math.pi / 2 if name == "right" else 0.0)
        view = replace(first.view, position=position, turn=turn)
        view = _fitted(view, rig)
        photos.append(PlannedPhoto(view, first.sensor, SPACER if name == "spacer" else 0.0))
    return replace(rig, photos=tuple(photos))


@cache
def watched_views() -> dict[str, np.ndarray]:
    """Return a sharp, still picture from each place, the pattern on the projector."""
    rig = watched_rig()
    lit = rig.lit_pattern()
    return {name: rig.photo(n, lit) for n, name in enumerate(PLACES)}


def _fitted(view, rig):
    """Move a camera away along its axis until the platen fills most of the picture."""
    outline = np.column_stack([rig.face.outline(), np.zeros(len(rig.face.outline()))])
    for _ in range(40):
        spread = np.abs(view.pixels(outline) - (np.array(view.size) - 1) / 2)
        used = float((spread / (np.array(view.size) / 2)).max())
        x, y, z = np.array(view.position) * (used / 0.88) ** 0.8
        view = replace(view, position=(float(x), float(y), float(z)))
    return view


def noisy(image: np.ndarray, seed: int) -> np.ndarray:
    """Return a picture as taken again: the same but for the noise."""
    noise = np.random.default_rng(seed).normal(0.0, 1.5, image.shape)
    return np.clip(image + noise, 0, 255).astype(np.uint8)


def dark(image: np.ndarray) -> np.ndarray:
    """Return a picture with a tenth of its levels."""
    return (image * 0.1).astype(np.uint8)


def bright(image: np.ndarray) -> np.ndarray:
    """Return a picture so over-exposed that the cards drown."""
    return np.clip(image.astype(np.float64) * 6 + 120, 0, 255).astype(np.uint8)


def smeared(image: np.ndarray, length: int) -> np.ndarray:
    """Return a picture taken while the camera moved sideways, by so many px."""
    kernel = np.zeros((length, length), np.float32)
    kernel[length // 2] = 1 / length
    return cv2.filter2D(image, -1, kernel)


def shifted(image: np.ndarray, dx: float, dy: float) -> np.ndarray:
    """Return a picture with the camera aimed elsewhere, by px."""
    move = np.array([[1, 0, dx], [0, 1, dy]], np.float64)
    size = (image.shape[1], image.shape[0])
    return cv2.warpAffine(image, move, size, borderMode=cv2.BORDER_REPLICATE)


def zoomed(image: np.ndarray, factor: float) -> np.ndarray:
    """Return a picture taken from nearer (above 1) or farther away, seen from the same side."""
    height, width = image.shape[:2]
    about = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), 0.0, factor)
    small = cv2.GaussianBlur(image, (0, 0), 0.4 / factor) if factor < 1 else image
    return cv2.warpAffine(small, about, (width, height), borderMode=cv2.BORDER_REPLICATE)


def covered(image: np.ndarray, rig: VirtualRig, index: int, card) -> np.ndarray:
    """Return a picture with a cloth over one card."""
    outline = rig.camera_from_platen(index, card.outline())
    result = image.copy()
    cv2.fillPoly(result, [np.rint(outline).astype(np.int32)], (90, 80, 120))
    return result


@dataclass
class Reel:
    """A source that plays pictures from memory, a fixed time apart."""

    images: Iterable[np.ndarray]
    step: float = 0.3
    name: str = "Camera 0"

    def __post_init__(self):
        self._rest = iter(self.images)
        self._at = 0.0

    def read(self) -> CameraFrame | None:
        image = next(self._rest, None)
        self._at += self.step
        return None if image is None else CameraFrame(image, self._at)


def see_each_picture_once(monkeypatch):
    """Let pictures of `watched_views` be looked into once: the same arrays come again and again."""
    monkeypatch.setattr(take, "quick_look", _quick_look_once)
    monkeypatch.setattr(take, "observe", _observe_once)


_LOOKED: dict[int, QuickLook] = {}
_OBSERVED: dict[tuple[int, float], PhotoObservation | Refusal] = {}


def _quick_look_once(image, cards, face, at=0.0):
    if id(image) not in _LOOKED:
        _LOOKED[id(image)] = quick_look(image, cards, face)
    return replace(_LOOKED[id(image)], at=at)


def _observe_once(photo, cards, pattern, raised):
    key = id(photo.image), raised
    if key not in _OBSERVED:
        try:
            _OBSERVED[key] = observe(photo, cards, pattern, raised)
        except Refusal as refusal:
            _OBSERVED[key] = refusal
    seen = _OBSERVED[key]
    if isinstance(seen, Refusal):
        raise seen
    return seen
