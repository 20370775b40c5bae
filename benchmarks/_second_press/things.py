"""What else may be on or over the platen: a raised board, a hand."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks._second_press.drape import Plate
from benchmarks._second_press.lens import Lens
from benchmarks._second_press.press import Press
from benchmarks._second_press.trace import View, lit


def raise_board(press: Press, camera: Lens, view: View, high: float) -> View:
    """Return the view with a plain board as large as the platen on it, `high` mm thick."""
    p = press.plate
    board = Plate(p.width, p.depth, p.corner, high, p.bench)
    points, normal = view.points.copy(), view.normal.copy()
    albedo, kind = view.albedo.copy(), view.kind.copy()
    rays = camera.rays()
    start = camera.at.astype(np.float32)
    open_ = np.ones(kind.shape, bool)
    for z in (high, *np.linspace(high - 0.5, 0.2, 6)):
        at = (
            start + rays * ((np.float32(z) - start[2]) / np.minimum(rays[..., 2], -1e-3))[..., None]
        )
        hit = open_ & (board.inside(at[..., 0], at[..., 1]) >= 0)
        points[hit], kind[hit] = at[hit], 3 if z == high else 2
        normal[hit] = (0, 0, 1)
        if z != high:
            nx, ny = board._outwards(at[hit, 0], at[hit, 1])
            normal[hit] = np.column_stack([nx, ny, np.zeros_like(nx)])
        albedo[hit] = (0.66, 0.62, 0.55)
        open_ &= ~hit
    return lit(press, camera, points, normal, albedo, kind, ())


def reach_in(press: Press, camera: Lens, view: View, rng: np.random.Generator) -> View:
    """Return the view with a hand and forearm reaching in from the operator's side."""
    rays = camera.rays()
    start = camera.at.astype(np.float32)
    tip = rng.uniform((-130, -120), (130, 120))
    elbow = np.array([tip[0] + rng.uniform(-120, 120), -press.plate.depth / 2 - 420])
    shape = _arm(tip, elbow)
    points, normal = view.points.copy(), view.normal.copy()
    albedo, kind = view.albedo.copy(), view.kind.copy()
    skin = np.array([0.45, 0.26, 0.18]) * rng.uniform(0.25, 1.2)
    for z in (18.0, 26.0, 34.0):
        at = (
            start + rays * ((np.float32(z) - start[2]) / np.minimum(rays[..., 2], -1e-3))[..., None]
        )
        inside = cv2.remap(
            shape,
            (at[..., 0] + 600).astype(np.float32),
            (at[..., 1] + 800).astype(np.float32),
            cv2.INTER_LINEAR,
        )
        hit = inside > 26.0 * (z - 18) / 16 * 0.45 + 1
        points[hit], kind[hit] = at[hit], 6
        albedo[hit] = skin
        slope = np.clip(1 - inside[hit] / 30, 0, 1)
        normal[hit] = np.column_stack([slope * 0.5, 0 * slope, np.sqrt(1 - (slope * 0.5) ** 2)])
    return lit(press, camera, points, normal, albedo, kind, ())


def _arm(tip: NDArray, elbow: NDArray) -> NDArray[np.float32]:
    """Return how deep within an arm's outline each mm of the plane lies; from (-600, -800)."""
    mask = np.zeros((1400, 1200), np.uint8)
    way = (tip - elbow) / np.linalg.norm(tip - elbow)
    side = np.array([-way[1], way[0]])

    def at(p: NDArray) -> tuple[int, int]:
        return round(float(p[0] + 600)), round(float(p[1] + 800))

    palm = tip - way * 120
    cv2.line(mask, at(elbow), at(palm - way * 30), 255, 74)
    cv2.circle(mask, at(palm), 46, 255, -1)
    for k, long in zip((-1.5, -0.5, 0.5, 1.5), (95, 115, 118, 98), strict=True):
        cv2.line(mask, at(palm + side * k * 20), at(palm + side * k * 26 + way * long), 255, 18)
    cv2.line(mask, at(palm), at(palm + side * 80 + way * 40), 255, 22)
    return cv2.distanceTransform(mask, cv2.DIST_L2, 5)
