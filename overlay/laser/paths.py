"""Lines in millimetres as the path that a scanner's beam runs through, point by point.

Mirrors are slow: points stand close, corners and ends are dwelt on, and before the beam is lit
again the mirrors are given time to settle. All of that takes points, and points take time: a path
that takes too long flickers.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import XY, Points, as_points

SignalMap = Callable[[Points, float], Points]
"""Platen points, shape (N, 2), mm, and a height, mm, to signals, shape (N, 2), -1 to 1."""

CORNER = math.radians(30)
"""Where a line turns by more than this it has a corner."""

SEEN = 4
"""More tries to order lines better than this many rounds find nothing."""


@dataclass(frozen=True)
class LitLine:
    """A polyline to be lit.

    Attributes
    ----------
    name : str
        What it is.
    points : tuple of (x, y)
        Platen frame, mm.
    closed : bool
    height : float
        Of the lit surface, mm.
    """

    name: str
    points: tuple[XY, ...]
    closed: bool = False
    height: float = 0.0


@dataclass(frozen=True)
class Pace:
    """How a scanner is driven.

    Attributes
    ----------
    lit, dark : float
        Longest step from point to point, in signal, lit and not.
    corner, settle : int
        Points spent at a corner or an end, and in the dark before the beam is lit.
    """

    lit: float
    dark: float
    corner: int = 5
    settle: int = 8


@dataclass(frozen=True, eq=False)
class BeamPath:
    """One round of the beam.

    Attributes
    ----------
    signals : ndarray, shape (N, 2), -1 to 1
    lit : ndarray of bool, shape (N,)
        Whether the beam is lit on the way to a point and at it.
    """

    signals: Points
    lit: NDArray[np.bool_]

    def rate(self, points_a_second: float) -> float:
        """Return how often the round is run through in a second."""
        return points_a_second / len(self.signals)


def beam_path(lines: Sequence[LitLine], signal_of: SignalMap, pace: Pace) -> BeamPath:
    """Return the round of a beam over all lines, with as little dark way as is found.

    Parameters
    ----------
    lines : sequence of LitLine
        At least one.
    signal_of : callable
    pace : Pace
    """
    runs = _ordered([_sampled(line, signal_of, pace) for line in lines])
    signals: list[Points] = []
    lit: list[bool] = []

    def add(points: Points, on: bool) -> None:
        signals.append(points)
        lit.extend([on] * len(points))

    at = runs[-1][-1]
    for run in runs:
        far = float(np.hypot(*(run[0] - at)))
        steps = max(1, math.ceil(far / pace.dark))
        add(at + (run[0] - at) * (np.arange(1, steps + 1) / steps)[:, None], False)
        add(np.repeat(run[:1], pace.settle, axis=0), False)
        add(run, True)
        at = run[-1]
    return BeamPath(np.vstack(signals), np.array(lit))


def _sampled(line: LitLine, signal_of: SignalMap, pace: Pace) -> Points:
    """Return a line's lit points, its corners and ends repeated."""
    corners = as_points(line.points)
    if line.closed:
        corners = np.vstack([corners, corners[:1]])
    mapped = signal_of(corners, line.height)
    pieces: list[Points] = []
    for (start, end), (from_, to) in zip(
        itertools.pairwise(corners), itertools.pairwise(mapped), strict=True
    ):
        count = max(1, math.ceil(float(np.hypot(*(to - from_))) / pace.lit))
        pieces.append(start + (end - start) * (np.arange(count) / count)[:, None])
    points = np.vstack([*pieces, corners[-1:]])
    stays = np.ones(len(points), dtype=int)
    at = np.cumsum([0, *map(len, pieces)])
    stays[[0, -1]] = pace.corner
    for k in range(1, len(corners) - 1):
        before, after = mapped[k] - mapped[k - 1], mapped[k + 1] - mapped[k]
        cross = before[0] * after[1] - before[1] * after[0]
        if abs(math.atan2(cross, float(before @ after))) > CORNER:
            stays[at[k]] = pace.corner
    return np.repeat(signal_of(points, line.height), stays, axis=0)


def _ordered(runs: Sequence[Points]) -> list[Points]:
    """Return runs in an order and in directions that leave little dark way between them.

    The nearest end next, then pieces of the round turned about as long as that helps (2-opt).
    """
    left, found = list(runs[1:]), [runs[0]]
    while left:
        at = found[-1][-1]
        ends = [
            (float(np.hypot(*(run[end] - at))), k, end)
            for k, run in enumerate(left)
            for end in (0, -1)
        ]
        _, k, end = min(ends)
        run = left.pop(k)
        found.append(run if end == 0 else run[::-1])
    for _ in range(SEEN):
        better = False
        for i, j in itertools.combinations(range(len(found) + 1), 2):
            tried = [*found[:i], *(run[::-1] for run in found[i:j][::-1]), *found[j:]]
            if dark_way(tried) < dark_way(found) - 1e-9:
                found, better = tried, True
        if not better:
            break
    return found


def dark_way(runs: Sequence[Points]) -> float:
    """Return how far the beam runs unlit in one round, in signal."""
    pairs = zip(runs, [*runs[1:], runs[0]], strict=True)
    return sum(float(np.hypot(*(after[0] - before[-1]))) for before, after in pairs)
