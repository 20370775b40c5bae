"""The body form that a top is shown on: a stack of ellipses under a shoulder line.

Frame ``body``: millimetres; origin on the form's axis at the height of the high
point of the shoulder; x to the wearer's left, y up, z forwards.

Below the pit line each ellipse has the garment's own girth at that height, so
the form fills the garment as a body with ease does: the cloth is neither
stretched nor folded across. How deep an ellipse is for its width follows the age
and the belly. Above the pit line the ellipses widen to the shoulders, and front
and back close onto the shoulder line along a quarter sine wave. Folds, and the
pull of a tight garment, are not modelled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chalkbeam.garments import Age, Face, Garment

Floats = NDArray[np.float64]

ROUNDNESS: dict[Age, float] = {"infant": 0.88, "toddler": 0.82, "youth": 0.74, "adult": 0.72}
"""Depth of a body over its width at the chest, by age; from memory."""

SHOULDER_ROUNDNESS = 0.5
"""The same at the height of the shoulders; from memory."""

BELLY = 0.3
"""How much rounder the fullest belly is than the chest; from memory."""

RIDGE = 0.12
"""How far behind the axis the shoulder line lies, as a share of the half width; from memory."""

FULLNESS = 0.3
"""How much fuller than a sine wave the chest is below the shoulder line; from memory."""

ROUNDING = 0.35
"""How gently the shoulder line starts at the neck, as a share of half the neck's width."""

SIDE_FALL = 0.9
"""How far the pit hangs below the high point of the shoulder, as a share of the flat depth: the
same for front and back, so that their side seams meet; from memory."""

ROLL = 0.1
"""How much lower the shoulder's end lies than its slope alone says, as a share of its length."""


def ellipse_quarter(roundness: ArrayLike) -> Floats:
    """Return a quarter of the perimeter of an ellipse with half axes 1 and `roundness`.

    Ramanujan's second approximation (1914), better than 1e-5 for the shapes used here.
    """
    r = np.asarray(roundness, dtype=np.float64)
    h = ((1 - r) / (1 + r)) ** 2
    quarter: Floats = math.pi / 4 * (1 + r) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    return quarter


def smoothstep(t: ArrayLike) -> Floats:
    """Return 0 below 0, 1 above 1, and 3 t² - 2 t³ between."""
    clipped = np.clip(np.asarray(t, dtype=np.float64), 0.0, 1.0)
    step: Floats = clipped * clipped * (3 - 2 * clipped)
    return step


@dataclass(frozen=True, eq=False)
class Half:
    """The front or back half of a form.

    Attributes
    ----------
    forward : float
        1 for the front, -1 for the back.
    falls : ndarray, shape (K,)
        Heights below the high point of the shoulder, mm, rising.
    half_width, roundness : ndarray, shape (K,)
        The ellipse at each.
    beyond : ndarray, shape (K,)
        Roundness of the other half, onto which cloth runs on past the side.
    neck, shoulder : float
        Half the neck's width, and half the shoulders'.
    slope : float
        Fall of the shoulder line per mm outwards.
    reach : float
        How far below the shoulder line the half has its full depth, mm.
    """

    forward: float
    falls: Floats
    half_width: Floats
    roundness: Floats
    beyond: Floats
    neck: float
    shoulder: float
    slope: float
    reach: float

    def shoulder_line(self, out: ArrayLike) -> Floats:
        """Return how far the shoulder line has fallen at a distance from the axis, mm."""
        length = max(self.shoulder - self.neck, 1.0)
        past = np.abs(np.asarray(out, dtype=np.float64)) - self.neck
        along = (past + np.hypot(past, ROUNDING * self.neck)) / 2
        line: Floats = self.slope * along + ROLL * length * (along / length) ** 3
        return line

    def ellipse(self, fall: Floats) -> tuple[Floats, Floats]:
        """Return half width and half depth at heights, mm."""
        width: Floats = np.interp(fall, self.falls, self.half_width)
        return width, width * np.interp(fall, self.falls, self.roundness)

    def surface(self, angle: ArrayLike, fall: ArrayLike) -> Floats:
        """Return points of the form, shape (N, 3), body frame, mm.

        Parameters
        ----------
        angle : array_like, shape (N,)
            From the middle of the half, radians; positive towards the face's x > 0.
        fall : array_like, shape (N,)
            Below the high point of the shoulder, mm.
        """
        turn = np.asarray(angle, dtype=np.float64)
        down = np.asarray(fall, dtype=np.float64)
        width, depth = self.ellipse(down)
        other = width * np.interp(down, self.falls, self.beyond)
        out = width * np.sin(turn)
        below = down - self.shoulder_line(out)
        deep = np.sin(math.pi / 2 * np.clip(below / self.reach, -1.0, 1.0))
        full = deep * (1 + FULLNESS * (1 - np.abs(deep)))
        ridge = -RIDGE * width * self.forward
        ahead = np.where(np.cos(turn) >= 0, depth, other) * np.cos(turn)
        bulge = ridge + (ahead - ridge) * full
        return np.stack([self.forward * out, -down, self.forward * bulge], axis=-1)


def top_half(garment: Garment, name: str, belly: float = 0.25) -> Half:
    """Return the half of the form on which a top's front or back lies.

    Parameters
    ----------
    garment : Garment
        A top.
    name : {"front", "back"}
    belly : float
        From 0 (none) to 1 (the fullest).
    """
    face = garment.face(name)
    m = {key: measure.value for key, measure in garment.measures.items()}
    pit, length = m["pit_depth"], m["body_length"]
    falls = np.arange(0.0, length + 40.0, 4.0)
    sunk = (falls - pit) / max(length - pit, 1.0)
    bump = np.exp(-(((sunk - 0.55) / 0.35) ** 2)) * smoothstep(sunk / 0.3)
    up = 1 - smoothstep(falls / pit)
    rounds = {
        which: (ROUNDNESS[garment.age] + belly * BELLY * share * bump) * (1 - up)
        + SHOULDER_ROUNDNESS * up
        for which, share in (("front", 1.0), ("back", 0.2))
    }
    roundness = rounds[name]
    flat = side_at(face, falls + face.along["shoulder_top"].value + (1 - SIDE_FALL) * pit)
    # Front and back share one width, so that they meet; together they have the girth. A belly
    # so draws the side seams forwards, as it does.
    lower = 2 * flat / (ellipse_quarter(rounds["front"]) + ellipse_quarter(rounds["back"]))
    shoulder = m["shoulder_width"] / 2
    half_width = lower + (max(shoulder * 1.1, float(lower[0])) - lower) * up
    slope = m["shoulder_drop"] / max(shoulder - m["neck_width"] / 2, 1.0)
    return Half(
        1.0 if name == "front" else -1.0,
        falls,
        half_width,
        roundness,
        rounds["back" if name == "front" else "front"],
        m["neck_width"] / 2,
        shoulder,
        slope,
        0.85 * pit,
    )


def side_at(face: Face, ys: Floats) -> Floats:
    """Return half a top's flat width by height, mm; above the pit line, that at the pit."""
    side = face.outline[face.outline[:, 0] >= 0]
    below = side[side[:, 1] >= face.along["pit_line"].value - 1e-6]
    below = below[np.argsort(below[:, 1], kind="stable")]
    widths: Floats = np.interp(ys, below[:, 1], below[:, 0])
    return widths
