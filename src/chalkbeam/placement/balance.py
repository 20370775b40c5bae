"""Least squares with limits, along one axis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Kind = Literal["target", "at_least", "at_most"]


@dataclass(frozen=True)
class Term:
    """One condition on a position.

    Attributes
    ----------
    at : float
        The position aimed at, or the limit, mm.
    kind : {"target", "at_least", "at_most"}
        A limit costs nothing while it is kept.
    weight : float
        Cost of a miss, per square millimetre.
    hard : bool
        A limit that is never broken.
    """

    at: float
    kind: Kind
    weight: float = 1.0
    hard: bool = False

    def counts_at(self, position: float) -> bool:
        """Tell whether a soft term counts at a position."""
        if self.kind == "at_least":
            return position < self.at
        if self.kind == "at_most":
            return position > self.at
        return True


def hard_range(terms: Sequence[Term]) -> tuple[float, float]:
    """Return the lowest and highest position that the hard terms allow; low > high if none is."""
    low = max((t.at for t in terms if t.hard and t.kind == "at_least"), default=-float("inf"))
    high = min((t.at for t in terms if t.hard and t.kind == "at_most"), default=float("inf"))
    return low, high


def balance(terms: Sequence[Term], room: tuple[float, float] | None = None) -> float:
    """Return the position with the least sum of weighted squared misses.

    The cost is convex and quadratic between the limits, its slope rises
    throughout: the slope's sign at each limit tells between which two the minimum
    lies, and there it is a weighted mean. Exact, no iteration. (One axis of the
    bounded least squares that, for instance, `scipy.optimize.lsq_linear` solves.)

    Parameters
    ----------
    terms : sequence of Term
        At least one soft target. Hard terms must not contradict one another.
    room : (float, float), optional
        Their `hard_range`, where it is known.

    Returns
    -------
    float
        Position, mm.
    """
    low, high = hard_range(terms) if room is None else room
    soft = [term for term in terms if not term.hard]
    aimed = _mean([term for term in soft if term.kind == "target"])
    limits = [term for term in soft if term.kind != "target"]
    if not any(limit.counts_at(aimed) for limit in limits):
        return min(max(aimed, low), high)
    knots = sorted(limit.at for limit in limits)

    def slope(position: float) -> float:
        return sum(t.weight * (position - t.at) for t in soft if t.counts_at(position))

    below = [knot for knot in knots if slope(knot) < 0]
    above = [knot for knot in knots if slope(knot) >= 0]
    if below and above:
        inside = (below[-1] + above[0]) / 2
    elif below:
        inside = below[-1] + 1.0
    else:
        inside = above[0] - 1.0 if above else 0.0
    best = _mean([term for term in soft if term.counts_at(inside)])
    return min(max(best, low), high)


def _mean(terms: Sequence[Term]) -> float:
    """Return the weighted mean of the terms' positions."""
    return sum(t.weight * t.at for t in terms) / sum(t.weight for t in terms)
