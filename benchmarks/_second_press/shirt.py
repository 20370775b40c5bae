"""A T-shirt drafted for the second press from a few measures, lying flat, and how it looks.

Frame: x right as one looks at the face, y down towards the hem, mm; the origin is where the neck
seam of that face meets the centre line. Measures and their growth: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
SIZES = ("XS", "S", "M", "L", "XL", "2XL", "3XL")
_HALF_CHEST = dict(zip(SIZES, (419, 457, 508, 559, 610, 660, 711), strict=True))
_LENGTH = dict(zip(SIZES, (686, 711, 737, 762, 787, 813, 838), strict=True))
PER_MM = 2
"""Pixels of a garment's picture, a mm."""
RIB = 20.0


@dataclass(frozen=True)
class Cut:
    """Measures of a laid T-shirt, mm; drops are from the high point of the shoulder."""

    chest: float
    length: float
    neck_width: float
    front_drop: float
    back_drop: float
    shoulder_width: float
    shoulder_drop: float
    pit: float
    sleeve: float
    sleeve_end: float
    sleeve_angle: float
    hem: float
    rib: float


def cut_of(size: str, rng: np.random.Generator | None = None) -> Cut:
    """Return the measures of a size; a generator makes it one piece of a box."""

    def about(value: float, spread: float) -> float:
        return value if rng is None else value + float(np.clip(rng.normal(0, spread), -2, 2) * 1)

    chest = float(_HALF_CHEST[size])
    more = chest - 508.0
    return Cut(
        chest=chest,
        length=float(_LENGTH[size]),
        neck_width=about(184 + 0.165 * more, 1.5),
        front_drop=about(102 + 0.1 * more, 1.5),
        back_drop=about(22 + 0.02 * more, 0.8),
        shoulder_width=about(457 + 0.66 * more, 1.8),
        shoulder_drop=about(45 + 0.045 * more, 1.2),
        pit=about(267 + 0.25 * more, 1.8),
        sleeve=about(212 + 0.12 * more, 2),
        sleeve_end=about(178 + 0.2 * more, 2),
        sleeve_angle=about(0.68, 0.05),
        hem=about(chest, 1.5),
        rib=about(RIB, 0.7),
    )


def _neck(cut: Cut, drop: float, half: float, power: float) -> F32:
    """Return a neck curve from left to right, below the shoulder's high point, shape (N, 2)."""
    t = np.linspace(-np.pi / 2, np.pi / 2, 61)
    x = half * np.sign(np.sin(t)) * np.abs(np.sin(t)) ** power
    return np.column_stack([x, drop * np.cos(t) ** 0.9]).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Draft:
    """Outline and lines of one face, garment frame, mm, each of shape (N, 2)."""

    outline: F32
    hole: F32  # the neck's opening, within the rib; through it the other face's inside is seen
    neck_seam: F32
    lines: dict[str, F32]
    rib: F32
    back_rib: F32 | None
    top: float


def draft(cut: Cut, face: str) -> Draft:
    """Return one face of a T-shirt lying flat."""
    drop = cut.front_drop if face == "front" else cut.back_drop
    n, half = cut.neck_width / 2, cut.chest / 2
    tip = np.array([cut.shoulder_width / 2, cut.shoulder_drop])
    along = np.array([np.cos(cut.sleeve_angle), np.sin(cut.sleeve_angle)])
    end = tip + along * cut.sleeve
    under = end + np.array([-along[1], along[0]]) * cut.sleeve_end
    pit = np.array([half, cut.pit])
    hem = np.array([cut.hem / 2, cut.length])
    waist = np.array([half - 4, (cut.pit + cut.length) / 2])
    front, back = _neck(cut, cut.front_drop, n, 0.9), _neck(cut, cut.back_drop, n, 0.75)
    seam = front if face == "front" else back
    inner_front = _neck(cut, cut.front_drop - cut.rib, n - cut.rib * 0.75, 0.9)
    inner_back = _neck(cut, cut.back_drop - cut.rib, n - cut.rib * 0.75, 0.75)
    top = inner_back  # what closes the silhouette at the neck, on either face
    right = [np.array([n, 0.0]), tip, end, under, pit, waist, hem]
    left = [p * (-1, 1) for p in reversed(right)]
    outline = np.vstack([top[1:-1], *right, *left])
    t = np.linspace(0, 1, 25)[:, None]
    c1 = tip + np.array([-14, 0.35 * (cut.pit - tip[1])])
    c2 = np.array([half - 52, cut.pit - 38])
    hole = (1 - t) ** 3 * tip + 3 * (1 - t) ** 2 * t * c1 + 3 * (1 - t) * t**2 * c2 + t**3 * pit
    flip = np.array([-1, 1])
    front_by = 8.0 if face == "front" else -3.0  # shoulder seams lie a little to the front
    shoulder = np.array([[n + 1, front_by], tip + np.array([0, front_by])])
    cuff = np.array([end - along * 24, under - along * 24])
    lines = {
        "armhole right": hole,
        "armhole left": hole * flip,
        "hem": np.array([[-hem[0], hem[1] - 23], [hem[0], hem[1] - 23]]),
        "cuff right": cuff,
        "cuff left": cuff * flip,
    }
    if face == "front":
        lines |= {"shoulder right": shoulder, "shoulder left": shoulder * flip}
    away = np.array([0, -drop])
    rib = np.vstack([seam, (inner_front if face == "front" else inner_back)[::-1]])
    gap = np.vstack([inner_front, inner_back[::-1]])
    back_rib = np.vstack([back, inner_back[::-1]])
    return Draft(
        outline=(outline + away).astype(np.float32),
        hole=(gap + away).astype(np.float32),
        neck_seam=(seam + away).astype(np.float32),
        lines={name: (line + away).astype(np.float32) for name, line in lines.items()},
        rib=(rib + away).astype(np.float32),
        back_rib=(back_rib + away).astype(np.float32) if face == "front" else None,
        top=float(-drop),
    )


@dataclass(frozen=True, eq=False)
class Skin:
    """How a garment looks, on a grid of `PER_MM` points a mm from `origin`.

    Attributes
    ----------
    albedo : ndarray, shape (H, W, 3)
        Share of light thrown back, linear red, green, blue.
    cover : ndarray, shape (H, W)
        1 where there is cloth.
    relief : ndarray, shape (H, W)
        Height of seams and rib over the cloth, mm.
    """

    origin: tuple[float, float]
    albedo: F32
    cover: F32
    relief: F32
    colour: tuple[float, float, float]


PLAIN = {
    "white": (0.83, 0.83, 0.82),
    "natural": (0.72, 0.66, 0.52),
    "ash": (0.55, 0.56, 0.56),
    "gold": (0.78, 0.42, 0.03),
    "pink": (0.7, 0.3, 0.4),
    "light blue": (0.36, 0.52, 0.66),
    "red": (0.48, 0.02, 0.03),
    "royal": (0.03, 0.08, 0.38),
    "kelly": (0.02, 0.27, 0.1),
    "charcoal": (0.06, 0.06, 0.065),
    "maroon": (0.12, 0.015, 0.03),
    "forest": (0.015, 0.06, 0.035),
    "navy": (0.016, 0.022, 0.055),
    "black": (0.017, 0.017, 0.018),
}


def skin(
    plan: Draft, cloth: str, colour: str | tuple[float, float, float], rng: np.random.Generator
) -> Skin:
    """Return how a face looks: `cloth` is plain, heather, stripes or print; colour linear RGB."""
    low = plan.outline.min(axis=0) - 20
    high = plan.outline.max(axis=0) + 20
    size = np.ceil((high - low) * PER_MM).astype(int)
    width, height = int(size[0]), int(size[1])

    def fill(shape: F32) -> F32:
        return _filled(shape, low, (height, width))

    def line(path: F32, wide: float) -> F32:
        return _drawn(path, low, (height, width), wide)

    base = np.array(PLAIN[colour] if isinstance(colour, str) else colour, np.float32)
    base *= np.float32(rng.uniform(0.94, 1.06))
    albedo = np.empty((height, width, 3), np.float32)
    albedo[:] = base
    _decorate(albedo, cloth, base, rng)
    knit = rng.normal(0, 1, (height, width)).astype(np.float32)
    knit = cv2.GaussianBlur(knit, (0, 0), sigmaX=0.8, sigmaY=2.2) * 2.0
    albedo *= (1 + 0.035 * knit)[..., None]
    cover = fill(plan.outline)
    relief = np.zeros((height, width), np.float32)
    if plan.back_rib is not None:  # the other face's inside, seen through the neck
        hole = fill(plan.hole)
        inside = albedo * np.float32(0.8)
        inside *= (1 - 0.25 * line(plan.back_rib[:61], 3.0))[..., None]
        albedo += hole[..., None] * (inside - albedo)
        relief -= 2.5 * cv2.GaussianBlur(hole, (0, 0), 3)
    rib = fill(plan.rib)
    x = np.arange(width, dtype=np.float32)[None, :] / PER_MM
    albedo *= (1 - rib * (0.04 + 0.05 * (np.sin(2 * np.pi * x / 2.3) > 0)))[..., None]
    relief += 0.7 * cv2.GaussianBlur(rib, (0, 0), 1.5)
    depth = rng.uniform(0.7, 1.0)
    for path in (plan.neck_seam, *plan.lines.values()):
        thin = line(path, 1.0)
        albedo *= (1 - 0.3 * depth * thin)[..., None]
        bump = cv2.GaussianBlur(line(path, 4.0), (0, 0), 2.5)
        relief += np.float32(0.55 * depth) * bump - 0.5 * cv2.GaussianBlur(thin, (0, 0), 1.0)
    stitch = line(plan.neck_seam + np.array([0, 4], np.float32), 0.8)
    albedo *= (1 - 0.12 * stitch)[..., None]
    np.clip(albedo, 0.008, 0.9, out=albedo)
    seen = cv2.erode(cover, np.ones((9, 9), np.uint8)) > 0.5
    mean = tuple(float(v) for v in albedo[seen].mean(axis=0))
    return Skin((float(low[0]), float(low[1])), albedo, cover, relief, mean)


def _decorate(albedo: F32, cloth: str, base: F32, rng: np.random.Generator) -> None:
    height, width = albedo.shape[:2]
    if cloth == "heather":
        fleck = rng.normal(0, 1, (height, width)).astype(np.float32)
        fleck = cv2.GaussianBlur(fleck, (0, 0), sigmaX=4.0, sigmaY=1.0)
        fleck /= fleck.std()
        other = np.array([0.6, 0.6, 0.6], np.float32) if base.mean() < 0.3 else base * 0.3
        share = 1 / (1 + np.exp(-(fleck - 0.6) * 2.5))
        albedo += 0.55 * share[..., None] * (other - albedo)
    elif cloth == "stripes":
        pitch, part = rng.uniform(14, 60), rng.uniform(0.3, 0.6)
        other = np.array(PLAIN[str(rng.choice(list(PLAIN)))], np.float32)
        y = np.arange(height, dtype=np.float32) / PER_MM
        edge = np.clip((part / 2 - np.abs(y / pitch % 1 - 0.5)) * pitch * PER_MM + 0.5, 0, 1)
        albedo += edge[:, None, None] * (other - albedo)
    elif cloth == "print":
        ink = np.zeros((height, width), np.float32)
        for _ in range(rng.integers(40, 160)):
            at = rng.integers((0, 0), (width, height))
            axes = rng.integers(6, 70, 2)
            turn = float(rng.uniform(0, 180))
            cv2.ellipse(ink, at.tolist(), axes.tolist(), turn, 0, 360, 1.0, -1, cv2.LINE_AA)
        other = np.array(PLAIN[str(rng.choice(list(PLAIN)))], np.float32)
        albedo += (0.9 * ink)[..., None] * (other - albedo)


def _filled(shape: F32, low: NDArray, size: tuple[int, int]) -> F32:
    out = np.zeros(size, np.uint8)
    at = np.round(((shape - low) * PER_MM - 0.5) * 256).astype(np.int32)
    cv2.fillPoly(out, [at], 255, cv2.LINE_AA, 8)
    return out.astype(np.float32) / 255


def _drawn(path: F32, low: NDArray, size: tuple[int, int], wide: float) -> F32:
    out = np.zeros(size, np.uint8)
    at = np.round(((path - low) * PER_MM - 0.5) * 256).astype(np.int32)
    thick = max(1, round(wide * PER_MM))
    cv2.polylines(out, [at], False, 255, thick, cv2.LINE_AA, 8)
    return out.astype(np.float32) / 255
