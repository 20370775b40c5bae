"""What of a garment's drawing the eye looks for: short pieces of its lines, by who judges them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from chalkbeam.garments import Face

Judge = Literal["collar", "shoulders", "sides"]
JUDGES: tuple[Judge, ...] = get_args(Judge)

PIECE = 24.0
"""Length of a piece, mm: short enough to be straight, long enough to rise above the knit."""

SPACING = 2.0
"""From sample to sample along a piece, mm."""

_OF: dict[str, Judge] = {
    "collar": "collar",
    "hood": "collar",
    "shoulder seam": "shoulders",
    "armhole seam": "shoulders",
    "raglan seam": "shoulders",
    "hem": "sides",
    "hem seam": "sides",
}


@dataclass(frozen=True, eq=False)
class Pieces:
    """Short straight pieces of a face's lines, garment frame.

    Attributes
    ----------
    points : ndarray, shape (P, S, 2), mm
        Samples of each piece.
    normals : ndarray, shape (P, 2)
        Unit, square to each piece.
    judge : ndarray of int, shape (P,)
        Index into `JUDGES`.
    """

    points: NDArray[np.float64]
    normals: Points
    judge: NDArray[np.intp]

    @property
    def middles(self) -> Points:
        """Middle of each piece, shape (P, 2), mm."""
        return np.asarray(self.points.mean(axis=1))

    def of(self, chosen: NDArray[np.bool_]) -> Pieces:
        """Return some of the pieces."""
        return Pieces(self.points[chosen], self.normals[chosen], self.judge[chosen])


def pieces_of(face: Face) -> Pieces:
    """Cut the lines of a face that can be seen on cloth into pieces.

    Sleeves are left out: they flop.
    """
    cut: list[tuple[NDArray[np.float64], Points, int]] = []
    for line in face.lines:
        judge = _OF.get(line.name)
        if judge is None:
            continue
        ring = np.vstack([line.points, line.points[:1]]) if line.closed else line.points
        cut += [(*piece, JUDGES.index(judge)) for piece in _cut(ring)]
    cut += [(*piece, JUDGES.index("sides")) for side in _sides(face) for piece in _cut(side)]
    points, normals, judges = zip(*cut, strict=True)
    return _once(Pieces(np.array(points), np.array(normals), np.array(judges, np.intp)))


def _sides(face: Face) -> tuple[Points, Points]:
    """Return the panel's edges below the armholes, at x > 0 and at x < 0."""
    ring, pit = face.outline, face.along["pit_line"].value if "pit_line" in face.along else 0.0
    hem = float(ring[:, 1].max())
    low = (ring[:, 1] > pit - 1e-6) & (ring[:, 1] < hem + 1e-6)
    found = []
    for sign in (1.0, -1.0):
        side = ring[low & (sign * ring[:, 0] > 0)]
        found.append(side[np.argsort(side[:, 1])])
    return found[0], found[1]


def _cut(line: Points) -> list[tuple[NDArray[np.float64], Points]]:
    """Cut a polyline into pieces of one length; each with its samples and its normal."""
    step = np.hypot(*np.diff(line, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(step)])
    count = int(run[-1] // PIECE)
    samples = int(PIECE / SPACING)
    cut = []
    for number in range(count):
        first = number * PIECE + (run[-1] - count * PIECE) / 2
        at = first + (np.arange(samples) + 0.5) * SPACING
        points = np.column_stack([np.interp(at, run, line[:, k]) for k in (0, 1)])
        along = points[-1] - points[0]
        length = float(np.hypot(*along))
        if length < 0.85 * PIECE * (1 - 1 / samples):  # it turns a corner
            continue
        cut.append((points, np.array([-along[1], along[0]]) / length))
    return cut


def _once(pieces: Pieces) -> Pieces:
    """Drop pieces that run where an earlier one runs (a collar's and a shoulder's ends meet)."""
    middles = pieces.middles
    keep = np.ones(len(middles), bool)
    for index in range(1, len(middles)):
        near = np.hypot(*(middles[:index] - middles[index]).T) < PIECE / 3
        near &= np.abs(pieces.normals[:index] @ pieces.normals[index]) > 0.9
        keep[index] = not np.any(near & keep[:index])
    return pieces.of(keep)
