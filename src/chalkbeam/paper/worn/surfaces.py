"""The surfaces that a worn garment is made of, as grids in the body frame.

Frame ``body``: see `chalkbeam.paper.worn.form`. A surface that shows a face of the
garment knows, for each of its vertices, the point of the flat face it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.garments import Garment
from chalkbeam.paper.worn.drape import Drape, drape
from chalkbeam.paper.worn.form import Half, smoothstep, top_half

Floats = NDArray[np.float64]
Place = Callable[[Points], Floats]
"""From points of a face, mm, shape (N, 2), to the body frame, mm, shape (N, 3)."""

Material = Literal["face", "cloth", "rib", "form"]

STEP = 8.0
"""Distance of a surface's vertices, mm."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A grid of vertices.

    Attributes
    ----------
    points : ndarray, shape (R, C, 3)
        Body frame, mm.
    material : Material
        "face" shows the texture of `face`; "form" is the body form itself.
    face : str
        Which face it shows; "" for none.
    flat : ndarray, shape (R, C, 2)
        The point of the face at each vertex, mm; zeros if it shows none.
    """

    points: Floats
    material: Material
    face: str
    flat: Floats

    @classmethod
    def plain(cls, points: Floats, material: Material) -> Surface:
        """Return a surface that shows no face."""
        return cls(points, material, "", np.zeros((*points.shape[:2], 2)))

    @classmethod
    def of_face(cls, place: Place, face: str, xs: Floats, ys: Floats) -> Surface:
        """Return the surface of a face over a grid of its own coordinates."""
        flat = np.stack(np.meshgrid(xs, ys), axis=-1)
        points = place(flat.reshape(-1, 2)).reshape(len(ys), len(xs), 3)
        return cls(points, "face", face, flat)


@dataclass(frozen=True, eq=False)
class Figure:
    """A garment on its form.

    Attributes
    ----------
    surfaces : tuple of Surface
    places : mapping of face name to `Place`
        How each face that is worn lies.
    """

    surfaces: tuple[Surface, ...]
    places: Mapping[str, Place]


def span(low: float, high: float) -> Floats:
    """Return evenly spaced values from `low` to `high`, `STEP` apart or a little closer."""
    return np.linspace(low, high, max(2, math.ceil((high - low) / STEP) + 1))


def tube(centres: Floats, across: Floats, forward: Floats, radii: Floats, turns: Floats) -> Floats:
    """Return a tube's vertices, shape (R, len(turns), 3).

    Parameters
    ----------
    centres, across, forward : ndarray, shape (R, 3)
        The axis, and two unit vectors that span each ring.
    radii : ndarray, shape (R,) or (R, 2)
        Of each ring, along `across` and along `forward`.
    turns : ndarray
        Angles round the ring from `across` towards `forward`, radians.
    """
    both = np.broadcast_to(radii[:, None] if radii.ndim == 1 else radii, (len(radii), 2))
    points: Floats = (
        centres[:, None]
        + both[:, None, :1] * np.cos(turns)[None, :, None] * across[:, None]
        + both[:, None, 1:] * np.sin(turns)[None, :, None] * forward[:, None]
    )
    return points


@dataclass(frozen=True, eq=False)
class SleeveMap:
    """A sleeve hanging down: its outer line bends over the shoulder, then runs straight.

    Attributes
    ----------
    start : ndarray, shape (3,)
        The shoulder's end, where the outer line begins.
    side : float
        1 for the wearer's left, -1 for the right.
    bend : float
        Length of the bend, mm.
    lengths, radii : ndarray
        The tube's radius by distance along the outer line, mm.
    """

    start: Floats
    side: float
    bend: float
    lengths: Floats
    radii: Floats

    FIRST = math.radians(32)
    LAST = math.radians(80)

    def axis(self, down: Floats) -> tuple[Floats, Floats, Floats]:
        """Return outer line, outward normals and radii at distances along it."""
        run = np.linspace(0.0, max(float(down.max(initial=0.0)), 1.0), 200)
        heading = self.FIRST + (self.LAST - self.FIRST) * np.clip(run / self.bend, 0.0, 1.0)
        steps = np.diff(run)
        x = np.concatenate(
            [[0.0], np.cumsum((np.cos(heading[1:]) + np.cos(heading[:-1])) / 2 * steps)]
        )
        y = np.concatenate(
            [[0.0], np.cumsum((np.sin(heading[1:]) + np.sin(heading[:-1])) / 2 * steps)]
        )
        at = np.interp(down, run, heading)
        outer = self.start + np.stack(
            [self.side * np.interp(down, run, x), -np.interp(down, run, y), 0.06 * down], axis=-1
        )
        normal = np.stack([self.side * np.sin(at), np.cos(at), np.zeros_like(at)], axis=-1)
        return outer, normal, np.interp(down, self.lengths, self.radii)

    def place(self, points: Points) -> Floats:
        """Map points of the sleeve's face, mm, shape (N, 2), to the body frame, shape (N, 3)."""
        outer, normal, radius = self.axis(points[:, 1])
        turn = points[:, 0] / radius * -self.side
        ahead = np.array([0.0, 0.0, 1.0])
        around = np.cos(turn)[:, None] * normal + np.sin(turn)[:, None] * ahead
        placed: Floats = outer + radius[:, None] * (around - normal)
        return placed


def sleeve_map(garment: Garment, name: str, start: Floats) -> SleeveMap:
    """Return how a sleeve hangs from the shoulder's end."""
    face = garment.face(name)
    half = face.outline[face.outline[:, 0] >= 0]
    cap = face.along["pit_line"].value
    below = half[half[:, 1] >= cap - 1e-6]
    below = below[np.argsort(below[:, 1])]
    lengths = np.concatenate([[0.0], below[:, 1]])
    radii = np.concatenate([[below[0, 0]], below[:, 0]]) / math.pi
    return SleeveMap(start, 1.0 if name == "left_sleeve" else -1.0, 1.1 * cap, lengths, radii)


def _panel(garment: Garment, lie: Drape, name: str) -> Surface:
    face = garment.face(name)
    wide = float(face.outline[:, 0].max()) + 16.0
    return Surface.of_face(
        lie.place, name, span(-wide, wide), span(float(lie.ys[0]), float(lie.ys[-1]))
    )


def _torso_form(half: Half, joint: float, sunk: float) -> Surface:
    """Return the form under one half of a top, smaller than the cloth and `sunk` mm below it."""
    turns = np.linspace(-math.pi / 2, math.pi / 2, 61)
    falls = span(0.0, float(half.falls[-1]))
    grid = np.stack(np.meshgrid(turns, falls), axis=-1).reshape(-1, 2)
    points = half.surface(grid[:, 0], grid[:, 1]).reshape(len(falls), len(turns), 3)
    room = (joint + (half.shoulder + joint) * smoothstep(falls / half.reach - 0.6))[:, None]
    points[..., 0] = np.clip(points[..., 0], -room, room)
    top = half.shoulder_line(points[..., 0])
    points[..., 1] = np.minimum(points[..., 1], -top)
    points *= (0.96, 1.0, 0.96)
    # Under the shoulders it keeps well below the cloth; inside the neck it is seen.
    aside = smoothstep(np.abs(points[..., 0]) / half.neck - 0.6)
    points[..., 1] -= (4.0 + sunk * aside) * (1 - smoothstep(falls / half.reach))[:, None]
    return Surface.plain(points, "form")


def _shoulder(lie: SleeveMap, neck: Floats) -> Surface:
    """Return the cloth that runs on from a sleeve's upper end under the shoulder, to a point."""
    outer, normal, radius = lie.axis(np.array([0.0]))
    share = np.linspace(1.0, -0.15, 16)[:, None]
    line = outer + 0.75 * share * (neck - outer)
    taper = np.clip(share, 0.0, 1.0) ** 1.6
    radii = 0.99 * radius * np.concatenate([1 - 0.9 * taper, 1 - taper], axis=1)
    centres = line - normal * (radii[:, :1] + 5.0)
    across = np.broadcast_to(normal, centres.shape)
    ahead = np.broadcast_to([0.0, 0.0, 1.0], centres.shape)
    return Surface.plain(
        tube(centres, across, ahead, radii, np.linspace(-math.pi, math.pi, 33)), "cloth"
    )


def _arm(lie: SleeveMap, length: float) -> Surface:
    """Return the form's arm, inside the sleeve's tube."""
    down = np.concatenate([span(6.0, length - 30.0), np.linspace(length - 27.0, length, 12)])
    outer, normal, room = lie.axis(down)
    top = float(lie.radii[0])
    thin = np.interp(down / length, [0.0, 0.5, 1.0], [0.72, 0.58, 0.42]) * top
    thin = np.minimum(thin, 0.86 * room)
    end = np.clip((length - down) / thin[-1], 0.0, 1.0)
    thin = thin * np.sqrt(1 - (1 - end) ** 2)
    centres = outer - normal * room[:, None]
    ahead = np.broadcast_to([0.0, 0.0, 1.0], centres.shape)
    return Surface.plain(
        tube(centres, normal, ahead, thin, np.linspace(-math.pi, math.pi, 33)), "form"
    )


def neck_form(garment: Garment) -> tuple[Surface, ...]:
    """Return the form's neck, cut off flat."""
    wide = garment.measures["neck_width"].value
    heights = np.linspace(-0.5 * wide, 0.55 * wide, 20)
    centres = np.stack([0 * heights, heights, 0.02 * wide + 0.1 * heights], axis=-1)
    radii = np.stack([0.29 * wide + 0 * heights, 0.215 * wide + 0 * heights], axis=-1)
    x, z = (np.broadcast_to(axis, centres.shape) for axis in ([1.0, 0, 0], [0, 0, 1.0]))
    turns = np.linspace(-math.pi, math.pi, 49)
    lid = np.repeat(centres[-1:], 6, axis=0)
    closing = radii[-1] * np.linspace(1.0, 0.0, 6)[:, None]
    return (
        Surface.plain(tube(centres, x, z, radii, turns), "form"),
        Surface.plain(tube(lid, x[:6], z[:6], closing, turns), "form"),
    )


def _gusset(garment: Garment, places: Mapping[str, Place], side: float, sleeved: bool) -> Surface:
    """Return the cloth between front and back along the shoulder and, under a sleeve, the armhole.

    The two panels meet there but for the few mm that laying them leaves.
    """
    edges = []
    for name, forward in (("front", 1.0), ("back", -1.0)):
        face = garment.face(name)
        pit = face.along["pit_line"].value
        # A panel's outline starts at the shoulder's tip at x > 0 and runs down the armhole.
        armhole = face.outline[: int(np.argmax(face.outline[:, 1] >= pit - 1e-6)) + 1]
        neck = np.array(
            [abs(face.across["left_neck_point"].value), face.along["shoulder_top"].value]
        )
        shoulder = neck + np.linspace(0.0, 1.0, 12)[:, None] * (armhole[0] - neck)
        line = np.vstack([shoulder, armhole[1:]]) if sleeved else shoulder
        edges.append(places[name](line * (side * forward, 1.0)))
    shares = np.linspace(0.0, 1.0, 5)[:, None, None]
    return Surface.plain((1 - shares) * edges[0] + shares * edges[1], "cloth")


def top_figure(garment: Garment, belly: float) -> Figure:
    """Return a top on its form: panels, sleeves, arms and neck (its collar comes apart)."""
    m = {key: measure.value for key, measure in garment.measures.items()}
    halves = {name: top_half(garment, name, belly) for name in ("front", "back")}
    lies = {name: drape(halves[name], garment.face(name)) for name in halves}
    places: dict[str, Place] = {name: lie.place for name, lie in lies.items()}
    surfaces = [_panel(garment, lie, name) for name, lie in lies.items()]
    joint = min(m["shoulder_width"] / 2, 0.8 * m["half_chest"] / 2)
    sleeved = "left_sleeve" in garment.faces
    arm_length = max(0.8 * m["body_length"], m.get("sleeve_length", 0.0) + 45.0 if sleeved else 0.0)
    for half in halves.values():
        surfaces.append(
            _torso_form(half, joint, 16.0) if sleeved else _torso_form(half, 0.94 * joint, 6.0)
        )
    for name, side in (("left_sleeve", 1.0), ("right_sleeve", -1.0)):
        surfaces.append(_gusset(garment, places, side, sleeved))
        if sleeved:
            tips = [
                lie.place(np.array([[forward * side * m["shoulder_width"] / 2,
                                     garment.face(which).along["shoulder_tip"].value]]))[0]
                for (which, lie), forward in zip(lies.items(), (1.0, -1.0), strict=True)
            ]  # fmt: skip
            start = (tips[0] + tips[1]) / 2
            sleeve = sleeve_map(garment, name, start)
            face = garment.face(name)
            places[name] = sleeve.place
            surfaces.append(_sleeve(sleeve, name, face.along["sleeve_hem"].value))
            neck = np.array([side * m["neck_width"] / 2, -4.0, start[2]])
            surfaces.append(_shoulder(sleeve, neck))
        else:
            out = 0.98 * joint  # the arm begins under the strap, so that nothing gapes beside it
            fall = float(halves["front"].shoulder_line(out))
            start = np.array([side * out, -fall - 12.0, -0.1 * joint])
            thick = 0.215 * m["half_chest"] / 2 * np.ones(2) * 1.25
            # A broad form's shoulders bend outwards for longer, so that the arm hangs beside it.
            broad = float(halves["front"].ellipse(np.array([m["pit_depth"]]))[0][0])
            bend = max(110.0, (broad + 0.5 * float(thick[0]) - out) / 0.55)
            sleeve = SleeveMap(start, side, bend, np.array([0.0, 1.0]), thick)
        surfaces.append(_arm(sleeve, arm_length))
    surfaces.extend(neck_form(garment))
    return Figure(tuple(surfaces), places)


def _sleeve(lie: SleeveMap, name: str, length: float) -> Surface:
    """Return the whole tube of a sleeve; round the arm's inside it shows no face's outline."""
    downs = span(0.0, length)
    turns = np.linspace(-math.pi, math.pi, 49)
    radii = np.interp(downs, lie.lengths, lie.radii)
    flat = np.stack(
        [turns[None, :] * radii[:, None], np.broadcast_to(downs[:, None], (len(downs), 49))],
        axis=-1,
    )
    points = lie.place(flat.reshape(-1, 2)).reshape(len(downs), 49, 3)
    return Surface(points, "face", name, flat)
