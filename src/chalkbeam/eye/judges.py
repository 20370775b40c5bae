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
"""How far apart judges who know the place may have the neck across and along the centre line, and
the centre line 300 mm below it, mm: as far as the light may be off."""

AGREE_TURN = math.radians(0.7)

KNOWS = 1.96
"""A place is known if so many standard deviations, 95 % of errors, stay within `AGREE`."""

DIFFERS = 2.5
"""Who does not know a place may differ by so many standard deviations of the difference."""

GROSS = 15.0
"""The least gross mistake, mm: a rib's edge taken for the neck seam is 15 to 20."""

REST = (GROSS - AGREE) / 2
"""How well two judges without the third must know each of the three, so that a gross mistake of the
third is ruled out by two standard deviations; a standard deviation, mm."""

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
    joint : (across, along, below, turn)
        How well all lines together know these, standard deviations, mm and radians.
    """

    without: Judge
    fit: Fit | None
    apart: tuple[float, float, float] | None = None
    turn: float = 0.0
    joint: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)

    @property
    def lacks(self) -> tuple[float, float, float]:
        """How well the others know each of the three, over what they ought to: 1 is just enough."""
        if self.fit is None:
            return math.inf, math.inf, math.inf
        across, along, below = (each / REST for each in spreads(self.fit))
        return across, along, below

    @property
    def agrees(self) -> bool:
        """Whether what the others have is what all together have; who sees nothing is not heard.

        Where they know the place it is the same within 3 mm and 0.7 degrees. Where they do not,
        it differs by no more than they can err, and by so little that a gross mistake would show.
        A part's estimate less the whole's has the variance of the one less that of the other
        (Hausman 1978, "Specification tests in econometrics", Econometrica 46-6).
        """
        if self.fit is None or self.apart is None:
            return True
        off = (*self.apart, self.turn)
        known = (*spreads(self.fit), turn_spread(self.fit))
        most = (AGREE, AGREE, AGREE, AGREE_TURN)
        return all(
            abs(each) <= _may_differ(alone, whole, agree)
            for each, alone, whole, agree in zip(off, known, self.joint, most, strict=True)
        )


def _may_differ(alone: float, whole: float, agree: float) -> float:
    """Return how far a part's estimate may be from the whole's; `agree` where the part knows."""
    if KNOWS * alone <= agree:
        return agree
    wide = DIFFERS * math.sqrt(max(alone**2 - whole**2, 0.0))
    return max(agree, min(wide, agree * GROSS / AGREE - 2 * alone))


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
    turn = fit.lay.centre_line - way
    return Word(judge, fit, apart, turn, (*spreads(joint), turn_spread(joint)))


def spreads(fit: Fit) -> tuple[float, float, float]:
    """Return how well a fit knows the neck across and along, and below it: deviations, mm."""
    (across, along), (below, _) = _axes(fit.lay, _NECK), _axes(fit.lay, _LOWER)
    return fit.spread(across), fit.spread(along), fit.spread(below)


def turn_spread(fit: Fit) -> float:
    """Return how well a fit knows the centre line's direction: standard deviation, radians."""
    (top, _), (below, _) = _axes(fit.lay, _NECK), _axes(fit.lay, _LOWER)
    return fit.spread((below - top) / _LOWER[1])


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
        for lack, what in zip(word.lacks, _TOLD, strict=False)
        if lack > 1
    ]
    found += [part for _, part in sorted(alone, key=lambda each: -each[0])]
    loose = [KNOWS * s / AGREE for s in spreads(joint)]
    loose.append(KNOWS * turn_spread(joint) / AGREE_TURN)
    if max(loose) > 1:
        found.append(f"too little {_TOLD[loose.index(max(loose))]}")
    return found


def misfits(words: tuple[Word, ...], joint: Fit) -> bool:
    """Tell whether the drawing itself seems to be wrong: only then another is worth a look."""
    return joint.shown < SHOWN or joint.pull > _STRETCHED or not all(word.agrees for word in words)


_TURNED = "tells how it is turned"
_TOLD = ("tells how far to the side it lies", "tells how far up it lies", _TURNED, _TURNED)
_NAMES: dict[Judge, str] = {
    "collar": "the collar",
    "shoulders": "the shoulders and armholes",
    "sides": "the sides and hem",
}
