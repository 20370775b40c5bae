"""Collars and hoods as they are worn: bands round the neck, and a hood lying down."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.garments import Face, Garment
from chalkbeam.paper.worn.surfaces import Figure, Place, Surface

Floats = NDArray[np.float64]

HOOD_HEIGHT = 0.30
"""How high a lying hood rises off the back at its middle, as a share of its drape; from memory."""


def _neck_line(face: Face) -> Points:
    """Return the neck seam of a face from its x > 0 to its x < 0."""
    top = face.along["shoulder_top"].value
    half = abs(face.across["left_neck_point"].value)
    ring = face.outline
    inner = ring[
        (np.abs(ring[:, 0]) <= half + 1e-6) & (ring[:, 1] <= 1e-6) & (ring[:, 1] >= top - 1e-6)
    ]
    return inner[np.argsort(-inner[:, 0])]


def _round(front: Floats, back: Floats) -> Floats:
    """Join lines round the neck, each from its face's x > 0 to its x < 0, into one.

    It starts at the front's middle and runs over the wearer's left shoulder, which is
    at x > 0 on the front and at x < 0 on the back.
    """
    middle = len(front) // 2
    return np.vstack([front[middle::-1], back[::-1], front[: middle - 1 : -1]])


def _even(line: Floats, count: int) -> Floats:
    """Return `count` points evenly spaced along a polyline, shape (count, 3)."""
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    even = np.linspace(0.0, run[-1], count)
    return np.column_stack([np.interp(even, run, line[:, axis]) for axis in range(3)])


def _neck_ring(garment: Garment, figure: Figure, count: int = 121) -> Floats:
    """Return the neck seam in the body frame, from the front's centre once round."""
    front, back = (
        figure.places[name](_neck_line(garment.face(name))) for name in ("front", "back")
    )
    return _even(_round(front, back), count)


def _inward(ring: Floats) -> Floats:
    centre = np.array([0.0, 0.0, ring[:, 2].mean()])
    inward = (centre - ring) * (1.0, 0.0, 1.0)
    unit: Floats = inward / np.linalg.norm(inward, axis=1, keepdims=True)
    return unit


UP = np.array([0.0, 1.0, 0.0])

GAP = 3
"""How many of a collar's 121 steps its leaf stays open in front, to either side."""


def collar_surfaces(garment: Garment, figure: Figure) -> tuple[Surface, ...]:
    """Return what goes round the neck: a rib, a folded collar, or a hood lying down."""
    from scipy.ndimage import gaussian_filter1d  # takes 17 MB: for who drapes alone

    m = {key: measure.value for key, measure in garment.measures.items()}
    ring = _neck_ring(garment, figure)
    inward = _inward(ring)
    if "hood_drape" in m:
        return _hood(garment, figure, ring, inward, m["hood_drape"])
    lean = 0.55 * inward + 0.83 * UP
    width = np.full(len(ring), m["collar_height"])
    start = ring - 0.5 * inward
    shares = np.linspace(0.0, 1.0, 5)[:, None, None]
    rim = (start + lean * width[:, None])[:-1]
    rim = gaussian_filter1d(rim, 4.0, axis=0, mode="wrap")
    rim = np.vstack([rim, rim[:1]])
    band = (1 - shares) * start + shares * rim
    if "collar_leaf" not in m:
        return (Surface.plain(band, "rib"),)
    return Surface.plain(band, "rib"), Surface.plain(_leaf(garment, figure, band[-1], m), "rib")


def _leaf(garment: Garment, figure: Figure, fold: Floats, m: dict[str, float]) -> Floats:
    """Return a collar's leaf: from the fold down onto the cloth around the neck, open in front."""
    lines = {}
    for name in ("front", "back"):
        face = garment.face(name)
        line = _neck_line(face)
        step = np.gradient(line, axis=0)
        outward = np.column_stack([step[:, 1], -step[:, 0]])
        outward /= np.linalg.norm(outward, axis=1, keepdims=True)
        half, top = abs(line[0, 0]), face.along["shoulder_top"].value
        flat = line + outward * (m["collar_leaf"] - 0.8 * m["collar_height"])
        slope = m["shoulder_drop"] / max((m["shoulder_width"] - m["neck_width"]) / 2, 1.0)
        flat[:, 1] = np.maximum(flat[:, 1], top + slope * np.maximum(np.abs(flat[:, 0]) - half, 0))
        lines[name] = flat
    point = np.array([0.62 * half, 0.75 * m["collar_leaf"]])
    left = lines["front"][lines["front"][:, 0] > 1.35 * point[0]]
    front = figure.places["front"]
    edge = np.vstack([point, left[::-1]])
    low = _even(
        np.vstack(
            [
                front(edge),
                figure.places["back"](lines["back"])[::-1],
                front(edge[::-1] * (-1.0, 1.0)),
            ]
        ),
        len(fold) - 2 * GAP,
    )
    fold = fold[GAP:-GAP]
    away = low - (0.0, 0.0, low[:, 2].mean())
    away[:, 1] = 0.0
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    low = low + 4.0 * UP + 3.0 * away
    shares = np.linspace(0.0, 1.0, 9)[:, None, None]
    bulge = 5.0 * np.sin(math.pi * shares) * (UP + away)[None]
    leaf = fold[None] * (1 - shares) + low[None] * shares + bulge
    return np.asarray(leaf, dtype=np.float64)


def _hood(
    garment: Garment, figure: Figure, ring: Floats, inward: Floats, drape: float
) -> tuple[Surface, ...]:
    """Return a hood lying down: a roll round the neck, and the bag of it on the back."""
    turn = np.linspace(0.0, 2 * math.pi, len(ring))
    behind = (1 - np.cos(turn)) / 2
    thick = drape * (0.10 + 0.22 * behind)
    round_ = np.linspace(-math.pi, math.pi, 25)
    centres = ring - inward * (0.35 * thick * behind)[:, None] + UP * (0.75 * thick)[:, None]
    roll = (
        centres[None]
        + (thick[None, :] * np.cos(round_)[:, None])[..., None] * -inward[None]
        + (1.15 * thick[None, :] * np.sin(round_)[:, None])[..., None] * UP
    )
    back = garment.face("back")
    shadow = next(area for area in back.areas if area.kind == "hood_shadow").polygon
    bag = _bag(figure.places["back"], shadow, HOOD_HEIGHT * drape)
    return Surface.plain(roll, "cloth"), Surface.plain(bag, "cloth")


def _bag(place: Place, rim: Points, height: float) -> Floats:
    """Return a pillow over a polygon of the back."""
    closed = np.vstack([rim, rim[:1]])
    run = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    even = np.linspace(0.0, run[-1], 81)
    edge = np.column_stack([np.interp(even, run, closed[:, axis]) for axis in range(2)])
    centre = np.array([0.0, 0.42 * rim[:, 1].max()])
    shares = np.linspace(0.0, 1.0, 15)
    flat = centre + shares[:, None, None] * (edge - centre)
    lift = height * np.sqrt(np.clip(1 - shares**2.4, 0.0, 1.0)) + 1.0
    points = flat.reshape(-1, 2)
    on = place(points)
    right = place(np.add(points, (1.0, 0.0))) - on
    down = place(np.add(points, (0.0, 1.0))) - on
    normal = np.cross(down, right)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    lifted = on + normal * np.repeat(lift, len(edge))[:, None]
    return np.asarray(lifted.reshape(len(shares), len(edge), 3), dtype=np.float64)
