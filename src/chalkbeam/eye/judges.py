"""Whether to trust a lay: witnesses that do not share their errors must tell the same.

There are three: the collar's lines, those of shoulders and armholes, sides and hem. Each is left
out in turn, and the other two must still know the place and tell the same as all together. So
every number rests on two kinds of line at least, and one kind that is mistaken is noticed, whether
it leads (a rib's edge taken for the neck seam) or follows.
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

CERTAIN = (1.6, 1.6, 1.7)
"""How well all lines together must know these three: standard deviations, mm."""

REST = (3.2, 4.0, 5.0)
"""How well two judges without the third must know them: a lay that is wrong by much more than
judges may be apart is noticed; standard deviations, mm."""

SHOWN = 0.55
"""Least share of the pieces in view that must show."""

STRETCH = 3.2
"""Standard deviations by which a piece may differ from its drawing."""

_LOOKED = (8.0, 5.0, 3.5, 2.5, 2.5)  # how far from the joint lay two judges look, mm
_NECK, _LOWER = np.zeros(2), np.array([0.0, 300.0])
_TURN = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 1.0])  # derivative of the centre line's direction


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
    def knows(self) -> tuple[bool, bool, bool]:
        """Which of the three the others still know."""
        if self.fit is None:
            return False, False, False
        across, along, below = (s < most for s, most in zip(spreads(self.fit), REST, strict=True))
        return across, along, below

    @property
    def agrees(self) -> bool:
        """Whether what the others know is what all together have; so if they know nothing."""
        if self.fit is None or self.apart is None:
            return True
        if any(k and abs(off) > AGREE for k, off in zip(self.knows, self.apart, strict=True)):
            return False
        turn = self.fit.spread(_TURN)
        return abs(self.turn) <= AGREE_TURN or turn > AGREE_TURN / 2


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
    """Return what speaks against trusting the joint lay, as parts of a sentence; empty if sure."""
    found: list[str] = []
    if any(s > most for s, most in zip(spreads(joint), CERTAIN, strict=True)):
        found.append("too little of it shows to tell its place well")
    for word in words:
        name = _NAMES[word.without]
        for knows, what in zip(word.knows, _TOLD, strict=True):
            if not knows:
                found.append(f"nothing but {name} tells {what}")
        if not word.agrees:
            found.append(f"{name} and the rest do not agree")
    if joint.pull > STRETCH:
        found.append("its lines fit the drawing only if that is stretched")
    if joint.shown < SHOWN:
        found.append("too few of its lines show")
    return list(dict.fromkeys(found))


_TOLD = ("how far to the side it lies", "how far up it lies", "how it is turned")
_NAMES: dict[Judge, str] = {
    "collar": "the collar",
    "shoulders": "the shoulders and armholes",
    "sides": "the sides and hem",
}
