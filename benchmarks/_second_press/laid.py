"""Transfers laid on the cloth: paper, matte or clear film, with ink on them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks._second_press.trace import View

PER_MM = 4
DOWN = 76.2
"""The target: the ink's top edge lies this far below the neck seam, its middle on the centre
line (centre chest and full front, 3 in, common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Laid:
    """A sheet on the cloth.

    Attributes
    ----------
    art : ndarray, shape (H, W, 4), uint8, RGBA
        Its ink, cut to its bounds, as it will read on the garment; `PER_MM` pixels a mm.
    middle, turn
        Where the ink's middle lies, mm, and the turn of its right from platen x, radians.
    """

    kind: str
    art: NDArray[np.uint8]
    margin: tuple[float, float]
    middle: NDArray[Any]
    turn: float
    truth: dict[str, Any]

    def on(self, view: View) -> View:
        """Return the view with the sheet in it."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        x = view.points[..., 0] - np.float32(self.middle[0])
        y = view.points[..., 1] - np.float32(self.middle[1])
        right, down = c * x + s * y, s * x - c * y
        height, width = (side / PER_MM for side in self.art.shape[:2])
        half = width / 2 + self.margin[0], height / 2 + self.margin[1]
        inside = np.minimum(half[0] - np.abs(right), half[1] - np.abs(down))
        pixel = float(np.median(np.abs(np.diff(view.points[..., 0], axis=1)))) + 0.1
        cover = np.clip(inside / pixel + 0.5, 0, 1) * (view.kind == 4)
        at = ((right + width / 2) * PER_MM - 0.5, (down + height / 2) * PER_MM - 0.5)
        smooth = cv2.GaussianBlur(self.art.astype(np.float32), (0, 0), max(0.4, pixel * 0.35 * 4))
        ink = cv2.remap(
            smooth,
            *(a.astype(np.float32) for a in at),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
        )
        alpha = ink[..., 3:] / 255
        colour = (ink[..., :3] / 255) ** np.float32(2.2)
        haze, tone, ghost, shine = {
            "paper": (0.97, 0.8, 0.05, 0.0),
            "matte film": (0.3, 0.75, 0.85, 0.01),
            "dark on clear film": (0.04, 0.8, 0.97, 0.02),
            "white on clear film": (0.04, 0.8, 0.93, 0.02),
        }[self.kind]
        below = view.albedo * (1 - haze) + haze * tone
        if self.kind != "paper":
            below = below * 0.94
        below = below + ghost * alpha * (colour - below)
        edge = np.exp(-((inside / 0.7) ** 2)) * (0.25 if self.kind != "paper" else 0.1)
        below = below * (1 - edge[..., None] * (inside > 0)[..., None])
        albedo = view.albedo + cover[..., None] * (below - view.albedo)
        gloss = view.gloss + np.float32(shine) * cover
        points = view.points.copy()
        points[..., 2] += 0.15 * (cover > 0.5)
        kind = np.where(cover > 0.5, 5, view.kind).astype(np.uint8)
        return replace(
            view,
            albedo=albedo.astype(np.float32),
            gloss=gloss.astype(np.float32),
            points=points,
            kind=kind,
        )


def lay(
    kind: str,
    rng: np.random.Generator,
    neck: NDArray[Any],
    along: NDArray[Any],
    off: tuple[float, float, float] | None = None,
) -> Laid:
    """Return a sheet laid about where it belongs, or `off` it (mm right, mm away, degrees)."""
    if off is None:
        off = (*rng.uniform(-5, 5, 2), float(rng.uniform(-3, 3)))
    width = float(rng.uniform(75, 250))
    art = artwork(rng, width, "white" if kind.startswith("white") else "dark")
    height = art.shape[0] / PER_MM
    width = art.shape[1] / PER_MM
    target = neck + along * (DOWN + height / 2)
    straight = float(np.arctan2(along[0], -along[1]))
    turn = straight + np.radians(off[2])
    middle = target + np.array(off[:2])
    margin = (float(rng.uniform(6, 25)), float(rng.uniform(6, 25)))
    truth = {
        "off_mm": [float(v) for v in off[:2]],
        "turned_deg": float(off[2]),
        "ink_middle_mm": [float(v) for v in middle],
        "ink_turn_deg": float(np.degrees(turn)),
        "target_mm": [float(v) for v in target],
        "target_turn_deg": float(np.degrees(straight)),
        "ink_size_mm": [width, height],
        "sheet_margin_mm": list(margin),
        "rule": f"the ink's top {DOWN} mm below the neck seam, its middle on the centre line",
        "sheet": kind,
    }
    return Laid(kind, art, margin, middle, turn, truth)


def artwork(rng: np.random.Generator, width: float, tone: str) -> NDArray[np.uint8]:
    """Return ink cut to its bounds, about `width` mm wide, RGBA: a rowing club's words and oars."""
    w = round(width * PER_MM)
    h = round(w * float(rng.uniform(0.45, 0.9)))
    mask = np.zeros((h + 40, w + 40), np.uint8)
    text = str(rng.choice(["TERN HARBOUR", "ROWING CLUB", "REGATTA", "STROKE"]))
    font = cv2.FONT_HERSHEY_DUPLEX
    (tw, th), _ = cv2.getTextSize(text, font, 1.0, 2)
    scale = 0.95 * w / tw
    bold = max(2, round(scale * 2.2))
    base = 20 + round(th * scale) + bold
    cv2.putText(mask, text, (20 + round(0.025 * w), base), font, scale, 255, bold, cv2.LINE_AA)
    top = base + bold + 6
    low = h + 20 - bold
    if low - top > 30:
        for flip in (1, -1):
            a = (round(20 + w / 2 - flip * w * 0.3), low)
            b = (round(20 + w / 2 + flip * w * 0.3), top)
            cv2.line(mask, a, b, 255, bold, cv2.LINE_AA)
            cv2.ellipse(mask, b, (bold * 3, bold * 2), 30, 0, 360, 255, -1, cv2.LINE_AA)
        r = (low - top) // 5
        cv2.circle(mask, (20 + w // 5, (top + low) // 2), r, 255, -1, cv2.LINE_AA)
    ys, xs = np.nonzero(mask > 127)
    mask = mask[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1]
    dark = [(25, 30, 70), (15, 15, 15), (120, 20, 30), (10, 70, 40)]
    ink = (245, 245, 245) if tone == "white" else dark[rng.integers(0, len(dark))]
    out = np.empty((*mask.shape, 4), np.uint8)
    out[..., :3], out[..., 3] = ink, mask
    return out
