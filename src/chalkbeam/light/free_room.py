"""Where words fit: the room left free by lines."""

from __future__ import annotations

import copy
import functools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from chalkbeam.placement.platens import Platen
from overlay.marks import LEADING, Mark, Role, Text
from overlay.text.typeface import advance

BORDER = 5.0
"""Lettering, or the box around it, keeps this far from the platen's edge and from lines, mm."""
BOX = 0.56
"""How far a warning's box reaches beyond its lettering, in cap heights (`overlay.draw.frame`)."""
SLOPE = 2.0
"""Beside a pad the cloth comes down over this many of the pad's heights, and the pad's shadow is
no longer: words there would lie at no known height."""
_CELL = 1.0
"""Side of the squares in which free room is counted, mm."""
_NEIGHBOURS = np.ones((3, 3), dtype=np.uint8)
Span = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Where stretches begin and end, each shape (N,), mm."""


@dataclass(frozen=True, eq=False)
class Ground:
    """Level ground on which words may stand, whole and true to scale.

    Attributes
    ----------
    shape : shapely shape
        Platen frame, mm.
    height : float
        Above the platen's bare face, mm.
    """

    shape: BaseGeometry
    height: float


@functools.lru_cache(maxsize=16)
def grounds(platen: Platen, height: float) -> tuple[Ground, ...]:
    """Return where words may stand on a platen, the roomiest first.

    Parameters
    ----------
    platen : Platen
    height : float
        Of the lit surface above the platen's bare face, mm: on the pad, if there is one.

    Returns
    -------
    tuple of Ground
        The platen's face; with a pad the face beside it and the pad's own.
    """
    plate = shapely.Polygon(platen.face.outline())
    if platen.pad is None:
        return (Ground(plate, height),)
    pad = shapely.Polygon(platen.pressed())
    beside = plate.difference(pad.buffer(SLOPE * platen.pad.height))
    found = [Ground(beside, height - platen.pad.height), Ground(pad, height)]
    return tuple(sorted((g for g in found if g.shape.area > 0), key=lambda g: -g.shape.area))


def text_shape(mark: Mark) -> BaseGeometry:
    """Return the room that a block of lettering takes, with its border; empty for other marks."""
    return shapely.box(*_room_of(mark)) if isinstance(mark, Text) else shapely.Polygon()


def _room_of(mark: Text) -> tuple[float, float, float, float]:
    """Return the room of lettering with its border: left, bottom, right, top, platen frame, mm."""
    wide, tall = _extent(mark.text.split("\n"), mark.size)
    left, bottom = mark.anchor[0] - mark.align[0] * wide, mark.anchor[1] - mark.align[1] * tall
    side, below, above = _margins(mark.size, mark.role)
    return left - side, bottom - below, left + wide + side, bottom + tall + above


def _extent(lines: Sequence[str], cap: float) -> tuple[float, float]:
    """Return the width of lines, and their height from the last baseline up, mm."""
    return cap * max(map(advance, lines)), cap * (1 + LEADING * (len(lines) - 1))


def _margins(cap: float, role: Role) -> tuple[float, float, float]:
    """Return the room beside a block of lettering, below its baseline and above its capitals."""
    space = BORDER + (BOX * cap if role is Role.WARN else 0.0)
    # Letters reach 0.3 cap heights below the baseline; accents and brackets 0.2 above.
    return space, 0.3 * cap + space, 0.2 * cap + space


class Room:
    """What is free on a ground: a summed-area table of squares, taken if only partly free.

    Crow, Summed-area tables for texture mapping, SIGGRAPH 1984: how much of a rectangle
    is taken is told from its four corners, so that hundreds of places cost no more than one.

    Parameters
    ----------
    ground : Ground
    blocked : shapely shapes
        What to keep off, platen frame, mm.
    """

    def __init__(self, ground: Ground, blocked: Iterable[BaseGeometry]) -> None:
        left, front, right, back = ground.shape.bounds
        self.ground = ground
        self._corner = np.array([left, front])
        size = np.ceil((np.array([right, back]) - self._corner) / _CELL).astype(int)
        free = np.zeros((size[1], size[0]), dtype=np.uint8)
        self._fill(free, ground.shape)
        self._taken = 1 - free
        for shape in blocked:
            self._fill(self._taken, shape)
        self._count()

    def without(self, texts: Iterable[Text]) -> Room:
        """Return the same room with lettering in it."""
        other = copy.copy(self)
        other._taken = self._taken.copy()
        for text in texts:
            other._fill(other._taken, text_shape(text))
        other._count()
        return other

    def _fill(self, grid: NDArray[np.uint8], shape: BaseGeometry) -> None:
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon" and not part.is_empty:
                rings = [part.exterior, *part.interiors]
                fixed = [(np.asarray(r.coords) - self._corner) / _CELL * 16 - 8 for r in rings]
                cv2.fillPoly(grid, [np.rint(f).astype(np.int32) for f in fixed], 1, shift=4)

    def _count(self) -> None:
        # A square that an edge touches is taken on either side of it.
        around = cv2.copyMakeBorder(self._taken, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=1)
        self._table = cv2.integral(cv2.dilate(around, _NEIGHBOURS)[1:-1, 1:-1])

    def free(self, x: Span, y: Span) -> NDArray[np.bool_]:
        """Return which rectangles are wholly free, shape (M, N), of N spans of x and M of y, mm."""
        table = self._table
        columns, rows = (
            [
                np.clip(edge((each - start) / _CELL), 0, most - 1).astype(int)
                for each, edge in zip(span, (np.floor, np.ceil), strict=True)
            ]
            for span, start, most in zip((x, y), self._corner, table.shape[::-1], strict=True)
        )
        low, high = table[rows[0]], table[rows[1]]
        taken = high[:, columns[1]] - low[:, columns[1]] - high[:, columns[0]] + low[:, columns[0]]
        return np.asarray(taken == 0)


def rooms(where: Iterable[Ground], blocked: Sequence[BaseGeometry]) -> list[Room]:
    """Return what is free on each ground."""
    return [Room(ground, blocked) for ground in where]
