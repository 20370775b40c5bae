"""Where a laser's line must cross the platen's edges so that it lies right on the cloth.

A laser is aimed with nothing on the platen, at ticks level with its bare face. Cloth and pad
lift the lit surface by a height h, and on it a plane of light that leans lies nearer to the side
that the light comes from, by ``h tan(tilt)``. So the tick is set off by as much to the other
side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from calibration.geometry import XY, PlatenFace
from calibration.refusal import Refusal
from chalkbeam.lasers.hung import LineLaser, Move
from chalkbeam.lasers.lines import LaserLine, normal


class Edge(Enum):
    """An edge of the platen, as the operator stands."""

    NEAR = "near"
    FAR = "far"
    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True)
class EdgeTick:
    """Where a line crosses an edge.

    Attributes
    ----------
    edge : Edge
    at : float
        Along the edge from its middle: platen x for the near and the far edge, y for the left
        and the right one, mm.
    """

    edge: Edge
    at: float

    def point(self, face: PlatenFace) -> XY:
        """Return the place, platen frame, mm."""
        half_w, half_d = face.width / 2, face.depth / 2
        return {
            Edge.NEAR: (self.at, -half_d), Edge.FAR: (self.at, half_d),
            Edge.LEFT: (-half_w, self.at), Edge.RIGHT: (half_w, self.at),
        }[self.edge]  # fmt: skip


def tilt_of(laser: LineLaser, line: LaserLine) -> float | None:
    """Return how far a laser's plane leans when it lights a line, radians; None if unknown.

    Positive where the light comes from the side of `normal`.
    """
    if laser.place is None or Move.SHIFT in laser.moves:
        return laser.tilt
    x, y = normal(line.angle)
    away = line.offset - (x * laser.place[0] + y * laser.place[1])
    return math.atan2(-away, laser.place[2] - line.height)


def bare_offset(laser: LineLaser, line: LaserLine) -> float:
    """Return where a laser's line lies on the bare platen when it lights a line on the cloth, mm.

    Along the normal, as `LaserLine.offset`; where the tilt is unknown nothing is allowed for.
    """
    tilt = tilt_of(laser, line)
    return line.offset - (0.0 if tilt is None else line.height * math.tan(tilt))


def error_at(height: float, degrees: float) -> float:
    """Return how far off a line lies whose tilt of so many degrees is not allowed for, mm."""
    return height * math.tan(math.radians(degrees))


def crossings(angle: float, offset: float, face: PlatenFace) -> tuple[EdgeTick, EdgeTick]:
    """Return where a line on the bare platen crosses its edges, carried on past round corners.

    Parameters
    ----------
    angle, offset : float
        As of `LaserLine`, on the bare face.
    face : PlatenFace

    Raises
    ------
    Refusal
        If it does not.
    """
    nx, ny = normal(angle)
    half_w, half_d = face.width / 2, face.depth / 2
    found = []
    for edge, y in ((Edge.NEAR, -half_d), (Edge.FAR, half_d)):
        if abs(nx) > 1e-12 and abs(x := (offset - ny * y) / nx) <= half_w:
            found.append(EdgeTick(edge, x))
    for edge, x in ((Edge.LEFT, -half_w), (Edge.RIGHT, half_w)):
        if abs(ny) > 1e-12 and abs(y := (offset - nx * x) / ny) < half_d:
            found.append(EdgeTick(edge, y))
    if len(found) != 2:
        raise Refusal(
            "A line would miss the platen: hang its laser straighter above it, or use a larger "
            "platen."
        )
    return found[0], found[1]
