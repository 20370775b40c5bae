"""What the operator's corrections say of the rig and the loading.

Two tests on the correction *added* at each press (by the operator there, not carried over from
the batch), along x and along y of the platen:

- **growing**: Kendall's rank correlation of the correction with the number of the press
  (M. G. Kendall, "A new measure of rank correlation", Biometrika 30, 1938). If nothing is
  off, corrections come in no order. A rising or falling run of them means drift.
- **one-sided**: the sign test. If nothing is off, corrections go as often one way as the
  other. Mostly one way means that everything is off by about the same.

A finding needs both a small chance (p below 0.01 divided by the four tests made, after
Bonferroni) and a size worth acting on: half a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chalkbeam.placement.shift import Shift

CHANCE = 0.01
"""How often a run with nothing wrong may be called off."""

WORTH_MM = 0.5
"""Corrections smaller than this are within the care of laying a sheet (common practice, no
source)."""

FEWEST = 8
"""Presses below which nothing is concluded."""

_WAYS = {
    "x": ("to the left", "to the right"),
    "y": ("towards the operator", "away from the operator"),
}


@dataclass(frozen=True)
class Trend:
    """The corrections along one axis of the platen.

    Attributes
    ----------
    axis : str
        ``x`` (operator's right) or ``y`` (away from the operator).
    total : tuple of float
        Whole correction at each press, carried over and added, mm.
    slope, middle : float
        Theil's line through `total`, the median of all pairwise slopes: mm a press, and mm at
        the middle of the run.
    growing, one_sided : float
        Chances of so much order, and of so much one-sidedness, if nothing is off.
    change : float
        Mean of the last third of `total` less that of the first, mm.
    typical : float
        Median of the added corrections that are not zero, mm; 0 if there are none.
    """

    axis: str
    total: tuple[float, ...]
    slope: float
    middle: float
    growing: float
    one_sided: float
    change: float
    typical: float

    @property
    def judged(self) -> bool:
        """Whether there were presses enough to conclude anything."""
        return len(self.total) >= FEWEST

    @property
    def drifts(self) -> bool:
        """Whether the corrections grow, by chance and by size."""
        return self.growing < CHANCE / 4 and abs(self.change) >= WORTH_MM

    @property
    def leans(self) -> bool:
        """Whether the corrections go one way, by chance and by size."""
        size = max(abs(self.typical), abs(self.change))
        return self.one_sided < CHANCE / 4 and size >= WORTH_MM

    def sentence(self) -> str | None:
        """Return what was found and what to do; None if nothing was."""
        if self.drifts:
            way = _WAYS[self.axis][self.change > 0]
            return (
                f"Corrections grow {way}, by {abs(self.change):.1f} mm over the run "
                f"(Kendall, p {_chance(self.growing)}): the rig or the loading is drifting; "
                "check the rig and how garments are threaded."
            )
        if self.leans:
            way = _WAYS[self.axis][self.typical > 0]
            return (
                f"Corrections mostly go {way}, {abs(self.typical):.1f} mm at a time "
                f"(sign test, p {_chance(self.one_sided)}): the rig or the loading is off that "
                "way; touch up the rig, and check how garments are threaded."
            )
        return None


def _chance(p: float) -> str:
    return f"= {p:.4f}" if p >= 0.0001 else "< 0.0001"


def trend(axis: str, added: Sequence[float], total: Sequence[float]) -> Trend:
    """Return the trend of corrections along an axis.

    Parameters
    ----------
    axis : str
        ``x`` or ``y``.
    added, total : sequence of float
        For each press in order, what the operator added there and the whole correction, mm.
    """
    from scipy import stats

    here, whole = np.asarray(added, dtype=float), np.asarray(total, dtype=float)
    count = len(whole)
    if count < FEWEST:
        return Trend(axis, tuple(map(float, whole)), 0.0, 0.0, 1.0, 1.0, 0.0, 0.0)
    order = np.arange(count)
    slope, intercept, _, _ = stats.theilslopes(_thinned(whole), _thinned(order))
    growing = 1.0
    if np.ptp(here) > 0:
        growing = float(stats.kendalltau(order, here).pvalue)
    moved = here[np.abs(here) > 1e-9]
    one_sided = 1.0
    if len(moved):
        one_sided = float(stats.binomtest(int(np.sum(moved > 0)), len(moved)).pvalue)
    third = max(1, count // 3)
    return Trend(
        axis,
        tuple(map(float, whole)),
        float(slope),
        float(intercept + slope * (count - 1) / 2),
        growing,
        one_sided,
        float(whole[-third:].mean() - whole[:third].mean()),
        float(np.median(moved)) if len(moved) else 0.0,
    )


def _thinned(values: np.ndarray, most: int = 1000) -> np.ndarray:
    """Return every so-many-th value: Theil's line looks at all pairs, 50 million for 10,000."""
    return values[:: -(-len(values) // most)]


def trends(added: Sequence[Shift], total: Sequence[Shift]) -> tuple[Trend, Trend]:
    """Return the trends along x and y of the platen."""
    return (
        trend("x", [shift.x for shift in added], [shift.x for shift in total]),
        trend("y", [shift.y for shift in added], [shift.y for shift in total]),
    )
