"""Trousers and bags as they are worn: legs as tubes under a hip, a bag hanging flat."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.garments import Face, Garment
from chalkbeam.paper.worn.form import ROUNDNESS, ellipse_quarter, smoothstep
from chalkbeam.paper.worn.surfaces import Figure, Place, Surface, span, tube

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LegMap:
    """The front of one leg, from the hip's ellipse down to a tube of its own.

    Frame ``body`` here: origin on the body's axis at the waistband's seam.

    Attributes
    ----------
    side : float
        1 for the wearer's left leg, -1 for the right.
    heights, widths : ndarray
        The flat leg's width by distance below the waistband's seam, mm.
    hip : float
        The flat front's width at the hip, mm: a quarter of the hip's ellipse.
    roundness : float
        Depth of the hip over its width.
    rise : float
        Where the legs part, mm below the waistband's seam.
    """

    side: float
    heights: Floats
    widths: Floats
    hip: float
    roundness: float
    rise: float

    def place(self, points: Points) -> Floats:
        """Map points of the leg's face, mm, shape (N, 2), to the body frame, shape (N, 3)."""
        inwards, down = np.abs(points[:, 0]), points[:, 1]
        hip_width = self.hip / float(ellipse_quarter(self.roundness))
        turn = _from_side(inwards / self.hip, self.roundness)
        hip = np.stack(
            [hip_width * np.cos(turn), -down, hip_width * self.roundness * np.sin(turn)], axis=-1
        )
        radius = np.interp(down, self.heights, self.widths) / math.pi
        outer = np.interp(down, [self.rise, self.heights[-1]], [hip_width, 0.62 * hip_width])
        middle = outer - radius
        around = inwards / radius
        leg = np.stack([middle + radius * np.cos(around), -down, radius * np.sin(around)], axis=-1)
        blend = smoothstep((down - 0.55 * self.rise) / (0.55 * self.rise))[:, None]
        placed: Floats = ((1 - blend) * hip + blend * leg) * (self.side, 1.0, 1.0)
        return placed


def _from_side(share: Floats, roundness: float) -> Floats:
    """Return the angle from an ellipse's side at a share of its quarter arc, radians."""
    turns = np.linspace(0.0, math.pi, 361)
    speed = np.hypot(np.sin(turns), roundness * np.cos(turns))
    arcs = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(turns))])
    angle: Floats = np.interp(share, arcs / arcs[180], turns)
    return angle


def _leg(garment: Garment, name: str) -> LegMap:
    face = garment.face(name)
    side = 1.0 if name == "left_leg" else -1.0
    inner = face.outline * (-side, 1.0)
    inner = inner[inner[:, 0] > 1.0]
    inner = inner[np.argsort(inner[:, 1], kind="stable")]
    rise = face.along["crotch_line"].value
    heights, first = np.unique(np.round(inner[:, 1], 3), return_index=True)
    hip = garment.measures["front_width"].value
    # The flat seam turns to the fork at the last moment; on the body the cloth there lies between
    # the legs, and has to close the gap above where they part.
    fork = float(np.interp(rise, heights, inner[first, 0]))
    widths = np.maximum(
        inner[first, 0],
        np.where(heights <= rise, hip + (fork - hip) * smoothstep(heights / rise / 0.8 - 0.25), 0),
    )
    return LegMap(side, heights, widths, hip, ROUNDNESS[garment.age] * 1.02, rise)


def legs_figure(garment: Garment) -> Figure:
    """Return trousers on a form: both legs, front and back, and the waistband."""
    surfaces: list[Surface] = []
    places: dict[str, Place] = {}
    for name in ("left_leg", "right_leg"):
        lie = _leg(garment, name)
        face = garment.face(name)
        places[name] = lie.place
        surface = _leg_surface(lie, face, name)
        surfaces.append(surface)
        behind = surface.points * (1.0, 1.0, -1.0)
        surfaces.append(Surface.plain(behind, "cloth"))
    rim = np.vstack([s.points[0] for s in surfaces])
    half_width, half_depth = float(np.abs(rim[:, 0]).max()), float(np.abs(rim[:, 2]).max())
    band = garment.measures["waistband_depth"].value
    heights = np.linspace(0.0, band, 4)
    centres = np.stack([0 * heights, heights, 0 * heights], axis=-1)
    x, z = (np.broadcast_to(axis, centres.shape) for axis in ([1.0, 0, 0], [0, 0, 1.0]))
    radii = np.stack([half_width - 0.15 * heights, half_depth - 0.15 * heights], axis=-1)
    turns = np.linspace(-math.pi, math.pi, 73)
    surfaces.append(Surface.plain(tube(centres, x, z, radii, turns), "rib"))
    waist = np.linspace(0.0, 2.2 * band, 8)
    centres = np.stack([0 * waist, band * 0.6 + waist, 0 * waist], axis=-1)
    x, z = (np.broadcast_to(axis, centres.shape) for axis in ([1.0, 0, 0], [0, 0, 1.0]))
    shrink = np.sqrt(np.clip(1 - (np.arange(8) / 7) ** 6, 0, 1))
    radii = np.stack([(half_width - 9) * shrink, (half_depth - 9) * shrink], axis=-1)
    surfaces.append(Surface.plain(tube(centres, x, z, radii, turns), "form"))
    for name in ("left_leg", "right_leg"):
        surfaces.append(_ankle(places[name], garment.face(name)))
    return Figure(tuple(surfaces), places)


def _leg_surface(lie: LegMap, face: Face, name: str) -> Surface:
    ys = span(0.0, face.along["hem"].value)
    # From the viewer's left to right, so that the surface shows its outer side.
    # A little past the centre, where the legs meet.
    shares = np.linspace(1.03, 0.0, 41) if lie.side > 0 else np.linspace(0.0, 1.03, 41)
    wide = np.interp(ys, lie.heights, lie.widths)
    flat = np.stack(
        [-lie.side * shares[None, :] * wide[:, None], np.broadcast_to(ys[:, None], (len(ys), 41))],
        axis=-1,
    )
    points = lie.place(flat.reshape(-1, 2)).reshape(len(ys), 41, 3)
    return Surface(points, "face", name, flat)


def _ankle(place: Place, face: Face) -> Surface:
    end = face.along["hem"].value
    low = face.outline[np.abs(face.outline[:, 1] - end) < 1e-6]
    ends = place(np.array([[low[:, 0].min(), end], [low[:, 0].max(), end]]))
    middle = ends.mean(axis=0) * (1.0, 1.0, 0.0)
    radius = float(np.linalg.norm(ends[0] - ends[1]) / 2) * 0.8
    heights = np.linspace(-20.0, 55.0, 10)
    centres = middle - np.stack([0 * heights, heights, 0 * heights], axis=-1)
    x, z = (np.broadcast_to(axis, centres.shape) for axis in ([1.0, 0, 0], [0, 0, 1.0]))
    radii = radius * np.sqrt(np.clip(1 - (np.arange(10) / 9) ** 8, 0, 1))
    return Surface.plain(tube(centres, x, z, radii, np.linspace(-math.pi, math.pi, 33)), "form")


def bag_figure(garment: Garment) -> Figure:
    """Return a bag or another panel hanging, a little filled; a cap's front is round.

    Origin: middle of its upper edge.
    """
    m = {key: measure.value for key, measure in garment.measures.items()}
    if "crown_width" in m:
        return _cap_figure(garment)
    half, high = m["panel_width"] / 2, m["panel_height"]
    deep = 0.06 * m["panel_width"]

    def place(points: Points) -> Floats:
        across, down = points[:, 0] / half, points[:, 1] / high
        belly = np.clip(1 - across**2, 0, 1) * smoothstep(down * 1.6) * (1 - 0.25 * down)
        placed: Floats = np.stack([points[:, 0], -points[:, 1], 4 + deep * belly], axis=-1)
        return placed

    front = Surface.of_face(place, "panel", span(-half, half), span(0.0, high))
    back = Surface.plain(front.points * (1.0, 1.0, -1.0), "cloth")
    surfaces = [front, *_straps(garment)] if "bib_width" in m else [front, back]
    handle = next((each for each in garment.face("panel").lines if each.name == "handle"), None)
    if handle is None:
        return Figure(tuple(surfaces), {"panel": place})
    count = len(handle.points) // 2
    outer, inner = handle.points[:count], handle.points[count:][::-1]
    for depth in (6.0, -6.0):
        strap = np.stack([np.column_stack([edge[:, 0], -edge[:, 1], np.full(count, depth)])
                          for edge in (outer, inner)])  # fmt: skip
        surfaces.append(Surface.plain(strap, "rib"))
    return Figure(tuple(surfaces), {"panel": place})


def _straps(garment: Garment) -> list[Surface]:
    """Return an apron's loop round the neck and its two ties, which run to the wearer's back."""
    outline = garment.face("panel").outline
    half, wide = garment.measures["bib_width"].value / 2 - STRAP, float(outline[:, 0].max())
    level = float(outline[outline[:, 0] > wide - 1.0, 1].min()) + STRAP / 2
    turns = np.linspace(0.0, math.pi, 33)
    loop = np.stack([
        np.stack([side * half * np.cos(turns), LOOP * side * np.sin(turns),
                  4.0 - 0.6 * LOOP * np.sin(turns)], axis=-1)
        for side in (1.0, 1.0 + STRAP / half)
    ])  # fmt: skip
    straps = [Surface.plain(loop, "rib")]
    out = np.linspace(0.0, 1.0, 9)
    for side in (1.0, -1.0):
        tie = np.stack([
            np.stack([side * (wide + 0.5 * LOOP * np.sin(out * math.pi / 2)),
                      -level - low - 0.15 * LOOP * out, 4.0 - LOOP * out**1.5], axis=-1)
            for low in (0.0, STRAP)
        ])  # fmt: skip
        straps.append(Surface.plain(tie if side > 0 else tie[::-1], "rib"))
    return straps


STRAP, LOOP = 25.0, 190.0
"""Width of an apron's straps, and how far the loop for the neck rises, mm; from memory."""


def _cap_figure(garment: Garment) -> Figure:
    """Return the front of a cap, bent round a head. Origin: the top of its centre seam."""
    face = garment.face("panel")
    half = garment.measures["crown_width"].value / 2
    high = garment.measures["crown_height"].value

    def place(points: Points) -> Floats:
        turn, down = points[:, 0] / HEAD, points[:, 1]
        back = HEAD * (1 - np.sqrt(np.clip(1 - (1 - np.clip(down / high, 0, 1)) ** 2 * 0.6, 0, 1)))
        placed: Floats = np.stack(
            [HEAD * np.sin(turn), -down, HEAD * np.cos(turn) - HEAD - back], axis=-1
        )
        return placed

    front = Surface.of_face(place, face.name, span(-half, half), span(0.0, high))
    return Figure((front,), {face.name: place})


def hood_figure(garment: Garment, name: str) -> Figure:
    """Return one side of a hood, worn up and looked at from its side. Origin: its top's middle."""
    face = garment.face(name)
    (x0, y0), (x1, y1) = face.outline.min(axis=0), face.outline.max(axis=0)
    half, high = float(x1 - x0) / 2, float(y1 - y0)

    def place(points: Points) -> Floats:
        across, down = points[:, 0] / half, points[:, 1] / high
        round_ = np.clip(1 - across**2, 0, 1) * np.clip(1 - (1 - np.clip(down, 0, 1)) ** 4, 0, 1)
        placed: Floats = np.stack([points[:, 0], -points[:, 1], HOOD * round_], axis=-1)
        return placed

    side = Surface.of_face(place, name, span(-half, half), span(0.0, high))
    return Figure((side,), {name: place})


HOOD = 60.0
"""How far the side of a hood stands out round a head, mm; from memory."""
HEAD = 93.0
"""Radius of a head of 23 in round, mm; from memory."""
