"""Where the garment lies: its drawing brought onto the lines that show on the unrolled cloth.

The drawing may differ from the piece by `outline.MODES`, the unrolled cloth from the true one by a
little for each edge that it hangs over; both are estimated with the pose, with priors, so that the
covariance of the pose knows of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry, PlatenFace, Points
from chalkbeam.eye.lines import Evidence, Sightings, sight
from chalkbeam.eye.net import beyond_edge
from chalkbeam.eye.outline import MODES, Pieces

F64 = NDArray[np.float64]

LAY_SPREAD = np.array([1e3, 1e3, 1e2, 0.015, 0.015, math.radians(0.7)])
"""Standard deviations of a lay's numbers before anything is seen: place and turn are free,
widths and lengths vary by 1.5 % from piece to piece, knit leans by 0.7 degrees; from memory."""

HANGS_OFF = (0.4, 0.4)
"""How far off the unrolled cloth may be beyond an edge: at once, and more for each 50 mm, mm."""

REACHES = (12.0, 8.0, 5.0, 3.5, 2.5, 2.5)
"""How far from the lay lines are looked for, one round each, mm."""

_SCATTER = np.array([0.7, 1.0, 1.2])
"""How well pieces of collar, shoulders, sides lie on their line besides, mm."""

_WANDERS = 0.012
"""How well pieces lie there besides where they hang, of how far they are beyond the edge: what is
unrolled around folds and corners goes astray by so much."""

_LEAPS = 0.1  # the same of the way for which no cloth was measured: it was unrolled round a hole
_LOOKS = 12  # for cloth on the way from the edge
_UNSEEN = 0.12  # strength of a sighting that counts as much as seeing nothing
_SHOWN = 0.25  # strength from which a piece shows
_INNER = 3
_JOINED = 1.0  # a lay so near to another on its way is about to become it, mm
_EDGES = 4


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
        c, s = math.cos(self.turn), math.sin(self.turn)
        x, y = points.T
        wide, long = x * math.exp(self.wide), -y * math.exp(self.long)
        across, nothing = wide + y * self.lean, np.zeros_like(x)
        by_x = [1 + nothing, nothing, -s * across - c * long, c * wide, -s * long, c * y]
        by_y = [nothing, 1 + nothing, c * across - s * long, s * wide, c * long, s * y]
        return np.stack([np.stack(by_x, axis=-1), np.stack(by_y, axis=-1)], axis=1)


def apart(one: Lay, other: Lay) -> float:
    """Return how far apart two lays are, mm: at the neck, and turned, 200 mm from it."""
    return math.hypot(one.x - other.x, one.y - other.y) + 200 * abs(one.turn - other.turn)


@dataclass(frozen=True, eq=False)
class Fit:
    """A lay found, and how well it is known.

    Attributes
    ----------
    lay : Lay
    modes : ndarray, shape (K + 8,)
        How the piece differs from its drawing, and the unrolled cloth from the true one.
    covariance : ndarray, shape (6, 6)
        Of the lay's numbers.
    shown : float
        Share of the pieces looked for that show where the lay has them, 0 to 1.
    pieces : int
        How many were lit and in view.
    cost : float
        How badly what shows fits: less the logarithm of the likelihood.
    pull : float
        The largest of the priors' numbers over its standard deviation.
    sure_of : ndarray of bool, shape (P,)
        Which pieces show.
    """

    lay: Lay
    modes: F64
    covariance: F64
    shown: float
    pieces: int
    cost: float
    pull: float
    sure_of: NDArray[np.bool_]

    @property
    def badness(self) -> float:
        """The cost for each piece looked for, so that different drawings compare."""
        return self.cost / len(self.sure_of)

    def spread(self, slope: F64) -> float:
        """Return the standard deviation of a number with these derivatives by the lay's."""
        return math.sqrt(max(float(slope @ self.covariance @ slope), 0.0))


@dataclass(frozen=True, eq=False)
class _State:
    """A lay with all else that is estimated."""

    lay: Lay
    modes: F64

    def points(self, pieces: Pieces, platen: PlatenFace) -> F64:
        """Return the pieces' samples on the flat frame, shape (P, S, 2)."""
        spots = self.lay.apply(pieces.points)
        return spots + (self.slopes(pieces, platen) @ self.modes)[:, None]

    def slopes(self, pieces: Pieces, platen: PlatenFace) -> F64:
        """Return derivatives of the pieces' places by all but the lay, shape (P, 2, K + 8)."""
        by_mode = np.einsum("ij,pjk->pik", self.lay.matrix, pieces.modes)
        return np.concatenate([by_mode, _hanging(self.lay.apply(pieces.middles), platen)], axis=2)


_PRIOR = np.concatenate([list(MODES.values()), np.repeat(HANGS_OFF, _EDGES)])


def _hanging(at: Points, platen: PlatenFace) -> F64:
    """Return how flat points move by a millimetre of error beyond each edge, shape (P, 2, 8)."""
    half = np.array([platen.width, platen.depth]) / 2
    slopes = np.zeros((len(at), 2, 2 * _EDGES))
    for edge, (axis, sign) in enumerate(((0, -1), (0, 1), (1, -1), (1, 1))):
        out = np.maximum(sign * at[:, axis] - half[axis], 0)
        slopes[:, axis, edge] = sign * np.clip(out / 8, 0, 1)
        slopes[:, axis, _EDGES + edge] = sign * out / 50
    return slopes


def refine(
    seen: Evidence,
    pieces: Pieces,
    start: Lay,
    reaches: tuple[float, ...] = REACHES,
    modes: F64 | None = None,
    dearest: float = math.inf,
    known: Sequence[Lay] = (),
) -> Fit | None:
    """Bring a lay onto the lines near it, by robust least squares with the priors.

    Each piece is drawn to all places where its line may be, by how likely each is (an EM over
    which sighting is the line).

    Parameters
    ----------
    seen : Evidence
    pieces : Pieces
    start : Lay
    reaches : tuple of float
    modes : ndarray, optional
        What to start the piece's own differences from.
    dearest : float
        A lay that still costs more after two rounds is given up.
    known : sequence of Lay
        Lays found already: one that comes to one of these after two rounds is given up.

    Returns
    -------
    Fit or None
        None where too few pieces are in view, or it is given up.
    """
    state = _State(start, np.zeros(len(_PRIOR)) if modes is None else modes)
    fit = None
    for number, reach in enumerate(reaches):
        state, fit = _round(seen, pieces, state, reach, start)
        if fit is None or (number == 1 and fit.cost > dearest):
            return None
        if 0 < number < len(reaches) - 1 and any(apart(state.lay, lay) < _JOINED for lay in known):
            return None
    return fit


def _round(
    seen: Evidence, pieces: Pieces, state: _State, reach: float, about: Lay
) -> tuple[_State, Fit | None]:
    lay = state.lay
    normals = lay.normals(pieces.normals)
    seen_at = sight(seen, pieces, state.points(pieces, seen.platen), normals, reach)
    if int(seen_at.known.sum()) < 3:
        return state, None
    by_lay = lay.slopes(pieces.middles)
    slopes = np.concatenate([by_lay, state.slopes(pieces, seen.platen)], axis=2)
    rows = np.einsum("pi,pik->pk", normals, slopes)
    base = np.concatenate([lay.vector, state.modes])
    prior = np.concatenate([LAY_SPREAD, _PRIOR])
    middle = np.zeros_like(base)
    middle[:3] = base[:3]
    scatter = np.hypot(_SCATTER[pieces.judge], _wander(seen, lay.apply(pieces.middles)))[:, None]
    sharp = np.hypot(seen_at.spread, scatter)
    blur = np.hypot(sharp, reach / 3)
    step = np.zeros_like(base)
    for _ in range(_INNER):
        miss = seen_at.offset - (rows @ step)[:, None]
        chance = seen_at.strength * np.exp(-0.5 * (miss / blur) ** 2)
        share = chance / (chance.sum(axis=1, keepdims=True) + _UNSEEN)
        weight = share / np.hypot(sharp, 0.3 * blur) ** 2 * seen_at.known[:, None]
        normal = (rows * weight.sum(axis=1)[:, None]).T @ rows + np.diag(prior**-2.0)
        target = rows.T @ (weight * seen_at.offset).sum(axis=1) - (base - middle) / prior**2
        step = np.linalg.solve(normal, target)
    after = base + step
    miss = seen_at.offset - (rows @ step)[:, None]
    moved = _State(Lay(*(float(v) for v in after[:6])), after[6:])
    return moved, _judged(moved, rows, miss, sharp, seen_at, prior, after, pieces)


def _wander(seen: Evidence, at: Points) -> F64:
    """Return how far astray the unrolled cloth may be at flat points, shape (P,), mm."""
    away, way = beyond_edge(seen.platen, at)
    steps = (np.arange(_LOOKS) + 0.5) / _LOOKS
    between = at[:, None] - way[:, None] * (away[:, None] * steps)[..., None]
    column, row = np.rint(seen.flat.cells(between.reshape(-1, 2))).astype(int).T
    high, wide = seen.flat.cloth.shape
    there = seen.flat.cloth[np.clip(row, 0, high - 1), np.clip(column, 0, wide - 1)]
    gap = away * (1 - there.reshape(len(at), _LOOKS).mean(axis=1))
    return np.asarray(_WANDERS * away + _LEAPS * gap)


def _judged(
    state: _State,
    rows: F64,
    miss: F64,
    sharp: F64,
    seen_at: Sightings,
    prior: F64,
    after: F64,
    pieces: Pieces,
) -> Fit:
    close = seen_at.strength * np.exp(-0.5 * (miss / (1.5 * sharp)) ** 2)
    best = close.max(axis=1) * seen_at.known
    share = close / (close.sum(axis=1, keepdims=True) + _UNSEEN)
    weight = (share / sharp**2).sum(axis=1) * seen_at.known
    useful = (rows * (weight * _ALIKE)[:, None]).T @ rows + np.diag(prior**-2.0)
    pulls = after[3:] / prior[3:]
    known = int(seen_at.known.sum())
    likely = np.where(seen_at.known, (1 - _UNSEEN) * close.sum(axis=1) + _UNSEEN, 2 * _UNSEEN)
    each = -np.log(np.minimum(likely, 1.0)) * _WEIGHT[pieces.judge]
    shows = best > _SHOWN
    return Fit(
        state.lay,
        state.modes,
        np.linalg.inv(useful)[:6, :6],
        float(shows.sum() / max(known, 1)),
        known,
        float(each.sum() + 0.5 * (pulls**2).sum()),
        float(np.abs(pulls).max()),
        shows,
    )


_ALIKE = 0.7  # neighbours err alike: two pieces tell as much as one
_WEIGHT = np.array([1.0, 1.0, 0.4])  # of collar, shoulders, sides: of these there are many
