"""Where the garment lies: its drawing brought onto the lines that show on the unrolled cloth."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry, Points
from chalkbeam.eye.lines import TURNS, Evidence, profiles
from chalkbeam.eye.outline import Pieces

PRIOR_SPREAD = np.array([1e3, 1e3, 1e2, 0.012, 0.012, math.radians(0.6)])
"""Standard deviations of a lay's numbers before anything is seen: place and turn are free,
widths and lengths vary by 1.2 % from piece to piece, knit leans by 0.6 degrees; from memory."""

SEARCH = 40.0
SEARCH_TURN = math.radians(10.0)
_FINEST = np.array([0.5, 0.8, 3.0])
"""How well the drawing's lines of collar, shoulders, sides lie on a true garment's, mm: hanging
sides are drawn in by folds."""

_AROUND = 14.0  # to how far around a line's surroundings are looked at, mm


@dataclass(frozen=True)
class Lay:
    """A garment's flat lines on the flat frame.

    Attributes
    ----------
    x, y : float
        Where the neck seam meets the centre line, flat frame, mm.
    turn : float
        Counter-clockwise, radians.
    wide, long : float
        Natural logarithm of its width and length over the drawing's.
    lean : float
        How far each mm down lies to the right, of the knit's shear, mm.
    """

    x: float = 0.0
    y: float = 0.0
    turn: float = 0.0
    wide: float = 0.0
    long: float = 0.0
    lean: float = 0.0

    @property
    def vector(self) -> NDArray[np.float64]:
        """All numbers in the order of the attributes."""
        return np.array([self.x, self.y, self.turn, self.wide, self.long, self.lean])

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The linear part of flat_from_garment, shape (2, 2)."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        shape = np.array([[math.exp(self.wide), self.lean], [0.0, -math.exp(self.long)]])
        return np.asarray(np.array([[c, -s], [s, c]]) @ shape)

    @property
    def centre_line(self) -> float:
        """Direction of the centre line towards the hem, from platen -y, radians."""
        return self.turn + math.atan2(self.lean, math.exp(self.long))

    @property
    def lower(self) -> tuple[float, float]:
        """The centre line 300 mm below the neck seam, flat frame, mm."""
        way = self.centre_line
        return self.x + 300 * math.sin(way), self.y - 300 * math.cos(way)

    @property
    def isometry(self) -> Isometry:
        """The nearest way to lay the drawing without stretching it: the centre line is kept."""
        return Isometry(self.x, self.y, self.centre_line, mirrored=True)

    def apply(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Map garment points, shape (..., 2), to the flat frame."""
        return np.asarray(points @ self.matrix.T + (self.x, self.y))

    def normals(self, normals: Points) -> Points:
        """Map normals of lines, shape (N, 2), to unit normals on the flat frame."""
        turned = normals @ np.linalg.inv(self.matrix)
        return np.asarray(turned / np.hypot(*turned.T)[:, None])

    def slopes(self, points: Points) -> NDArray[np.float64]:
        """Return derivatives of mapped points by the six numbers, shape (N, 2, 6)."""
        base, tiny = self.vector, 1e-6
        here = self.apply(points)
        columns = []
        for index in range(6):
            moved = base.copy()
            moved[index] += tiny
            columns.append((Lay(*moved).apply(points) - here) / tiny)
        return np.stack(columns, axis=-1)


@dataclass(frozen=True, eq=False)
class Fit:
    """A lay found, and how well it is known.

    Attributes
    ----------
    lay : Lay
    covariance : ndarray, shape (6, 6)
    shown : float
        Share of the pieces looked for that show where the lay has them, 0 to 1.
    pieces : int
        How many were lit and in view.
    strength : float
        How much of what is looked for shows there, every judge counted alike, 0 to 1.
    residual : float
        How far what shows lies from the lay's lines, as a multiple of what is usual.
    """

    lay: Lay
    covariance: NDArray[np.float64]
    shown: float
    pieces: int
    residual: float
    strength: float

    def spread(self, slope: NDArray[np.float64]) -> float:
        """Return the standard deviation of a number with these derivatives by the lay's."""
        return math.sqrt(max(float(slope @ self.covariance @ slope), 0.0))


@dataclass(frozen=True)
class Candidate:
    """A lay of the coarse search with its score, 0 to 1."""

    lay: Lay
    score: float


def search(
    seen: Evidence, pieces: Pieces, about: Lay, maps: tuple[NDArray[np.float32], float]
) -> list[Candidate]:
    """Return the best lays near `about`, best first, each in its own dip of the score.

    Parameters
    ----------
    seen : Evidence
    pieces : Pieces
    about : Lay
        The usual lay.
    maps : tuple
        As `energy_maps` gives.
    """
    energy, cell = maps
    found: list[Candidate] = []
    shifts = np.arange(-SEARCH, SEARCH + 1, 4.0)
    grid = np.stack(np.meshgrid(shifts, shifts), axis=-1).reshape(-1, 2)
    for turn in np.arange(-SEARCH_TURN, SEARCH_TURN + 1e-9, math.radians(1.25)):
        lay = replace(about, turn=about.turn + float(turn))
        scores = _scores(energy, cell, seen, pieces, lay, grid)
        for index in np.argsort(scores)[::-1][:6]:
            dx, dy = grid[index]
            found.append(Candidate(replace(lay, x=lay.x + dx, y=lay.y + dy), float(scores[index])))
    found.sort(key=lambda candidate: -candidate.score)
    kept: list[Candidate] = []
    for candidate in found:
        if all(_apart(candidate.lay, other.lay) > 9.0 for other in kept):
            kept.append(candidate)
        if len(kept) == 5:
            break
    return [_climbed(energy, cell, seen, pieces, candidate) for candidate in kept]


def _climbed(
    energy: NDArray[np.float32], cell: float, seen: Evidence, pieces: Pieces, start: Candidate
) -> Candidate:
    """Walk to the top of the score in smaller steps."""
    best = start
    for step, turn in ((2.0, math.radians(0.6)), (1.0, math.radians(0.3))):
        for _ in range(2):
            grid = np.array(list(itertools.product((-step, 0.0, step), repeat=2)))
            for by in (-turn, 0.0, turn):
                lay = replace(best.lay, turn=best.lay.turn + by)
                scores = _scores(energy, cell, seen, pieces, lay, grid)
                index = int(np.argmax(scores))
                if scores[index] > best.score:
                    dx, dy = (float(value) for value in grid[index])
                    best = Candidate(replace(lay, x=lay.x + dx, y=lay.y + dy), float(scores[index]))
    return best


def _apart(one: Lay, other: Lay) -> float:
    return math.hypot(one.x - other.x, one.y - other.y) + 200 * abs(one.turn - other.turn)


def _scores(
    energy: NDArray[np.float32],
    cell: float,
    seen: Evidence,
    pieces: Pieces,
    lay: Lay,
    grid: Points,
) -> NDArray[np.float64]:
    """Return the mean energy on the pieces for each shift of a lay; pieces out of view count 0."""
    every = pieces.points[:, 2::4]
    spots = lay.apply(every).reshape(-1, 2)
    normals = np.repeat(lay.normals(pieces.normals), every.shape[1], axis=0)
    angle = np.arctan2(normals[:, 1], normals[:, 0])
    turn = np.rint(angle * TURNS / math.pi).astype(int) % TURNS
    at = seen.flat.origin
    columns = np.rint((spots[:, 0] - at[0] + grid[:, None, 0]) / cell).astype(int)
    rows = np.rint((spots[:, 1] - at[1] + grid[:, None, 1]) / cell).astype(int)
    _, high, wide = energy.shape
    inside = (rows >= 0) & (rows < high) & (columns >= 0) & (columns < wide)
    value = energy[turn[None, :], np.clip(rows, 0, high - 1), np.clip(columns, 0, wide - 1)]
    weight = np.repeat(_WEIGHT[pieces.judge], every.shape[1])
    return np.asarray((value * inside) @ weight / weight.sum(), np.float64)


_WEIGHT = np.array([1.5, 1.0, 0.5])  # of collar, shoulders, sides: the sides slide along themselves


def refine(
    seen: Evidence, pieces: Pieces, start: Lay, reaches: tuple[float, ...] = (10.0, 6.0, 4.0, 3.0)
) -> Fit | None:
    """Bring a lay onto the lines near it, by robust least squares with the priors.

    Parameters
    ----------
    seen : Evidence
    pieces : Pieces
    start : Lay
    reaches : tuple of float
        How far from the lay lines are looked for, one round each, mm.

    Returns
    -------
    Fit or None
        None where too few pieces are in view.
    """
    lay, fit = start, None
    for reach in reaches:
        fit = _round(seen, pieces, lay, reach)
        if fit is None:
            return None
        lay = fit.lay
    return fit


def _round(seen: Evidence, pieces: Pieces, lay: Lay, reach: float) -> Fit | None:
    normals = lay.normals(pieces.normals)
    offsets, energy, known = profiles(seen, lay.apply(pieces.points), normals, _AROUND)
    if int(known.sum()) < 4:
        return None
    offset, weight = _peaks(offsets, energy, reach)
    weight = weight * known
    rows = np.einsum("nk,nkp->np", normals, lay.slopes(pieces.middles))
    sigma = np.maximum(0.25 * reach, _FINEST[pieces.judge])
    prior = np.diag(PRIOR_SPREAD**-2.0)
    step = np.zeros(6)
    base = lay.vector
    bias = np.array([0.0, 0.0, 0.0, base[3], base[4], base[5]])
    for _ in range(6):
        miss = offset - rows @ step
        robust = weight / (1 + (miss / sigma) ** 2)
        spread = np.maximum(_FINEST[pieces.judge], 0.18 * sigma)
        normal = (rows * (robust / spread**2)[:, None]).T @ rows + prior
        target = (rows * (robust / spread**2)[:, None]).T @ offset - prior @ bias
        step = np.linalg.solve(normal, target)
    miss = offset - rows @ step
    spread = _FINEST[pieces.judge]
    good = (np.abs(miss) < 3 * spread) & (weight > 0.25)
    wide = 1.4826 * float(np.median(np.abs(miss[good]) / spread[good])) if good.any() else reach
    useful = rows.T @ (rows * (weight * good / (2 * max(wide, 1.0) * spread) ** 2)[:, None]) + prior
    return Fit(
        Lay(*(float(value) for value in base + step)),
        np.linalg.inv(useful),
        float(good.sum() / max(int(known.sum()), 1)),
        int(known.sum()),
        wide,
        _strength(pieces, weight * np.exp(-0.5 * (miss / spread) ** 2), known),
    )


def _strength(pieces: Pieces, shown: NDArray[np.float64], known: NDArray[np.bool_]) -> float:
    total = most = 0.0
    for judge, weight in enumerate(_WEIGHT):
        own = known & (pieces.judge == judge)
        if own.any():
            total += weight * float(shown[own].mean())
            most += weight
    return total / most if most else 0.0


def _peaks(
    offsets: NDArray[np.float64], energy: NDArray[np.float64], reach: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where each piece's line shows, mm along its normal, and how much it stands out."""
    near = np.abs(offsets) <= reach
    part, at = energy[:, near], offsets[near]
    top = np.argmax(part, axis=1)
    rows = np.arange(len(part))
    high = part[rows, top]
    left = part[rows, np.maximum(top - 1, 0)]
    right = part[rows, np.minimum(top + 1, part.shape[1] - 1)]
    bend = left - 2 * high + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    floor = np.median(energy, axis=1) + 2e-5
    ratio = high / (floor + 1e-12)
    edge = (top == 0) | (top == part.shape[1] - 1)
    weight = np.clip((ratio - 2.5) / 8.0, 0.0, 1.0) * ~edge
    step = float(at[1] - at[0])
    return at[top] + np.clip(shift, -0.5, 0.5) * step, weight
