"""Whether to trust a lay: witnesses that do not share their errors must tell the same.

There are three: the collar's lines, those of shoulders and armholes, sides and hem. Each is left
out in turn, and the other two must still know the place well enough to rule out a gross mistake,
and tell the same as all together. So one kind that is mistaken is noticed, whether it leads (a
rib's edge taken for the neck seam) or follows. What hangs out of sight does not judge: whether the
rest is enough is for the covariance to say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chalkbeam.eye.lines import Evidence
from chalkbeam.eye.outline import JUDGES, Judge, Pieces
from chalkbeam.eye.pose import Fit, Lay, refine

AGREE = 3.0
"""How far apart judges may have the neck across and along the centre line, and the centre line
300 mm below it, mm."""

AGREE_TURN = math.radians(0.7)

CERTAIN = (1.8, 1.8, 2.2)
"""How well all lines together must know these three: standard deviations, mm."""

REST = (4.0, 6.0, 6.0)
"""How well two judges without the third must know them, so that a gross mistake of the third (a
rib's edge taken for the neck seam is 15 to 20 mm) is ruled out; standard deviations, mm."""

SHOWN = 0.55
"""Least share of the pieces in view that must show."""

STRETCH = 3.2
"""Standard deviations by which a piece may differ from its drawing."""

_STRETCHED = 2.0  # standard deviations that are unlikely
_LOOKED = (8.0, 5.0, 3.5, 2.5, 2.5)  # how far from the joint lay two judges look, mm
_NECK, _LOWER = np.zeros(2), np.array([0.0, 300.0])


@dataclass(frozen=True, eq=False)
class Word:
    """What two judges say without the third.

    Attributes
    ----------
    without : Judge
        The one left out.
    fit : Fit or None
        None where the others have too little to look at.
    apart : (across, along, below) or None
        How far from the joint lay they have the neck across and along the centre line, and the
        centre line 300 mm below it, mm.
    turn : float
        How far they have the centre line turned from the joint one, radians.
    """

    without: Judge
    fit: Fit | None
    apart: tuple[float, float, float] | None = None
    turn: float = 0.0

    @property
    def lacks(self) -> tuple[float, float, float]:
        """How well the others know each of the three, over what they ought to: 1 is just enough."""
        if self.fit is None:
            return math.inf, math.inf, math.inf
        across, along, below = (s / most for s, most in zip(spreads(self.fit), REST, strict=True))
        return across, along, below

    @property
    def agrees(self) -> bool:
        """Whether what the others have is what all together have; who sees nothing is not heard.

        However well they know the place: 3 mm and 0.7 degrees are what the light may be off.
        """
        if self.fit is None or self.apart is None:
            return True
        near = all(abs(off) <= AGREE for off in self.apart)
        return near and abs(self.turn) <= AGREE_TURN


def hear(seen: Evidence, pieces: Pieces, joint: Fit) -> tuple[Word, ...]:
    """Let judges find the lay two by two.

    Parameters
    ----------
    seen : Evidence
    pieces : Pieces
    joint : Fit
        As all lines together have it: where they start to look.
    """
    return tuple(_word(seen, pieces, joint, judge) for judge in JUDGES)


def _word(seen: Evidence, pieces: Pieces, joint: Fit, judge: Judge) -> Word:
    rest = pieces.of(pieces.judge != JUDGES.index(judge))
    fit = refine(seen, rest, joint.lay, _LOOKED, joint.modes)
    if fit is None:
        return Word(judge, None)
    way = joint.lay.centre_line
    right = np.array([math.cos(way), math.sin(way)])
    down = np.array([math.sin(way), -math.cos(way)])
    neck, below = (fit.lay.apply(at) - joint.lay.apply(at) for at in (_NECK, _LOWER))
    apart = float(neck @ right), float(neck @ down), float(below @ right)
    return Word(judge, fit, apart, fit.lay.centre_line - way)


def spreads(fit: Fit) -> tuple[float, float, float]:
    """Return how well a fit knows the neck across and along, and below it: deviations, mm."""
    (across, along), (below, _) = _axes(fit.lay, _NECK), _axes(fit.lay, _LOWER)
    return fit.spread(across), fit.spread(along), fit.spread(below)


def _axes(lay: Lay, point: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return derivatives of a point's place across and along the centre line."""
    slopes = lay.slopes(point[None])[0]
    way = lay.centre_line
    right, down = (
        np.array([math.cos(way), math.sin(way)]),
        np.array([math.sin(way), -math.cos(way)]),
    )
    return right @ slopes, down @ slopes


def doubts(words: tuple[Word, ...], joint: Fit) -> list[str]:
    """Return what speaks against trusting the joint lay, the weightiest first; empty if sure."""
    found: list[str] = []
    if joint.shown < SHOWN:
        found.append("too few of its lines show")
    if joint.pull > STRETCH:
        found.append("its lines fit the drawing only if that is stretched")
    found += [f"{_NAMES[word.without]} and the rest do not agree" for word in words
              if not word.agrees]  # fmt: skip
    alone = [
        (lack, f"nothing but {_NAMES[word.without]} {what if word.fit else 'shows'}")
        for word in words
        for lack, what in zip(word.lacks, _TOLD, strict=True)
        if lack > 1
    ]
    found += [part for _, part in sorted(alone, key=lambda each: -each[0])]
    loose = [s / most for s, most in zip(spreads(joint), CERTAIN, strict=True)]
    if max(loose) > 1:
        found.append(f"too little {_TOLD[loose.index(max(loose))]}")
    return found


def misfits(words: tuple[Word, ...], joint: Fit) -> bool:
    """Tell whether the drawing itself seems to be wrong: only then another is worth a look."""
    return joint.shown < SHOWN or joint.pull > _STRETCHED or not all(word.agrees for word in words)


_TOLD = ("tells how far to the side it lies", "tells how far up it lies", "tells how it is turned")
_NAMES: dict[Judge, str] = {
    "collar": "the collar",
    "shoulders": "the shoulders and armholes",
    "sides": "the sides and hem",
}
