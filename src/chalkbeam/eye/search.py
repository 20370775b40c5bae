"""The first guess of where a garment lies: every lay about the usual one, coarsely scored."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.eye.lines import Evidence
from chalkbeam.eye.outline import Pieces
from chalkbeam.eye.pose import Lay, apart

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]

SEARCH = 45.0
"""How far from the usual lay it is looked for, mm."""

SEARCH_TURN = math.radians(10.0)

KEPT = 6
"""So many lays are handed on."""

_CELL = 3.0  # of the coarse maps, mm
_SOFT = 3.0  # of the lines looked for, mm
_NEAR = 20.0  # what else lies so near competes with a line, mm
_GRAIN = 0.02  # shade that plain cloth shows
_CREASE = 8.0
_RIM = 7.0  # how far to both sides of the rim cloth and none are looked for, mm
_WEIGHT = np.array([1.5, 1.0, 0.5])  # of collar, shoulders, sides: the sides slide along themselves


@dataclass(frozen=True, eq=False)
class Maps:
    """Coarse maps of what shows: second and first derivatives of the shade, and the cloth."""

    origin: tuple[float, float]
    planes: F32
    about: F32
    cloth: F32


@dataclass(frozen=True)
class Candidate:
    """A lay of the coarse search with its score, 0 to 1."""

    lay: Lay
    score: float


def maps_of(seen: Evidence) -> Maps:
    """Return the coarse maps of what shows on the unrolled cloth."""
    scale = seen.flat.step / _CELL
    size = tuple(int(side * scale) for side in seen.shade.shape[::-1])
    inner = cv2.erode(seen.cloth * seen.known, np.ones((9, 9), np.uint8), borderValue=0)
    shade, cloth, use = (
        cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
        for plane in (seen.shade, seen.cloth, inner)
    )
    at = np.arange(-4, 5) * _CELL
    bell = np.exp(-(at**2) / (2 * _SOFT**2))
    bell /= bell.sum()
    slope, bend = at / _SOFT * bell, (at**2 / _SOFT**2 - 1) * bell

    def filtered(by_x: F64, by_y: F64) -> F32:
        return np.asarray(cv2.sepFilter2D(shade, cv2.CV_32F, by_x, by_y), np.float32)

    planes = [filtered(bend, bell), filtered(slope, slope), filtered(bell, bend),
              filtered(slope, bell), filtered(bell, slope)]  # fmt: skip
    row, column = np.mgrid[0 : size[1], 0 : size[0]]
    x, y = column * _CELL + seen.flat.origin[0], row * _CELL + seen.flat.origin[1]
    ox, oy = np.abs(x) - seen.platen.width / 2, np.abs(y) - seen.platen.depth / 2
    crease = (np.abs(np.maximum(ox, oy)) < _CREASE).astype(np.float32)
    use = (use > 0.9) * (1 - crease)
    planes = [np.asarray(plane * use, np.float32) for plane in planes]
    energy = np.sum([plane**2 for plane in planes], axis=0) / 2
    soft, whole = (cv2.GaussianBlur(p, (0, 0), _NEAR / _CELL) for p in (energy, use))
    about = soft / np.maximum(whole, 0.05) + _GRAIN**2
    return Maps(
        seen.flat.origin,
        np.ascontiguousarray(np.stack(planes, axis=-1), np.float32),
        np.asarray(about, np.float32),
        np.asarray(cloth, np.float32),
    )


def search(maps: Maps, pieces: Pieces, about: Lay) -> list[Candidate]:
    """Return the best lays near `about`, best first, each in its own dip of the score.

    Parameters
    ----------
    maps : Maps
    pieces : Pieces
    about : Lay
        The usual lay.
    """
    found: list[Candidate] = []
    shifts = np.arange(-SEARCH, SEARCH + 1, 5.0)
    grid = np.stack(np.meshgrid(shifts, shifts), axis=-1).reshape(-1, 2)
    for turn in np.arange(-SEARCH_TURN, SEARCH_TURN + 1e-9, math.radians(2.0)):
        lay = replace(about, turn=about.turn + float(turn))
        scores = _scores(maps, pieces, lay, grid)
        for index in np.argsort(scores)[::-1][:6]:
            dx, dy = grid[index]
            found.append(Candidate(replace(lay, x=lay.x + dx, y=lay.y + dy), float(scores[index])))
    found.sort(key=lambda candidate: -candidate.score)
    kept: list[Candidate] = []
    for candidate in found:
        if all(apart(candidate.lay, other.lay) > 8.0 for other in kept):
            kept.append(candidate)
        if len(kept) == KEPT:
            break
    climbed = [_climbed(maps, pieces, candidate) for candidate in kept]
    return sorted(climbed, key=lambda candidate: -candidate.score)


def _climbed(maps: Maps, pieces: Pieces, start: Candidate) -> Candidate:
    """Walk to the top of the score in smaller steps."""
    best = start
    for step, turn in ((2.5, math.radians(1.0)), (1.25, math.radians(0.5))):
        for _ in range(2):
            grid = np.array(list(itertools.product((-step, 0.0, step), repeat=2)))
            for by in (-turn, 0.0, turn):
                lay = replace(best.lay, turn=best.lay.turn + by)
                scores = _scores(maps, pieces, lay, grid)
                index = int(np.argmax(scores))
                if scores[index] > best.score:
                    dx, dy = (float(value) for value in grid[index])
                    best = Candidate(replace(lay, x=lay.x + dx, y=lay.y + dy), float(scores[index]))
    return best


def _scores(maps: Maps, pieces: Pieces, lay: Lay, grid: Points) -> F64:
    """Return how much of the pieces shows for each shift of a lay, 0 to 1."""
    normals = lay.normals(pieces.normals)
    middles = lay.apply(pieces.middles)
    rim = pieces.rim
    total = np.zeros((len(grid), len(middles)), np.float32)
    high, wide = maps.cloth.shape
    cloth, about = maps.cloth.ravel(), maps.about.ravel()
    steps = grid / _CELL

    def places(spots: Points) -> NDArray[np.intp]:
        column, row = ((spots - maps.origin) / _CELL).T
        row = np.clip(np.rint(row + steps[:, 1:]), 0, high - 1)
        return np.asarray(
            row * wide + np.clip(np.rint(column + steps[:, :1]), 0, wide - 1), np.intp
        )

    seam = ~rim
    spot, n = places(middles[seam]), normals[seam].astype(np.float32)
    xx, xy, yy, x, y = np.moveaxis(maps.planes.reshape(-1, 5)[spot], -1, 0)
    even = xx * n[:, 0] ** 2 + 2 * xy * n[:, 0] * n[:, 1] + yy * n[:, 1] ** 2
    odd = x * n[:, 0] + y * n[:, 1]
    energy = even**2 + odd**2
    total[:, seam] = energy / (energy + about[spot])
    inner = cloth[places(middles[rim] - _RIM * normals[rim])]
    outer = cloth[places(middles[rim] + _RIM * normals[rim])]
    total[:, rim] = np.clip(inner - outer, 0, 1)
    weight = _WEIGHT[pieces.judge]
    return np.asarray(total @ weight / weight.sum())
