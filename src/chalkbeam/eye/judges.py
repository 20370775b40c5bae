"""Whether to trust a lay: witnesses that do not share their errors must tell the same."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chalkbeam.eye.lines import Evidence
from chalkbeam.eye.outline import JUDGES, Judge, Pieces
from chalkbeam.eye.pose import Fit, Lay, refine

AGREE = 3.0
"""How far apart judges may have the centre line, and the neck seam along it, mm."""

AGREE_TURN = math.radians(0.7)
SHOWN = 0.45
"""Least share of the pieces in view that must show for a judge to speak."""

_KNOWN = 1.5  # how well a judge must know the place, standard deviation, mm
_KNOWN_TURN = math.radians(0.7)
_KNOWN_JOINTLY = math.radians(0.4)
_PIECES = 5
_STRETCH = 0.03  # pieces of one size differ less than this, of 1; from memory
_OFFERED = {"collar": 8.0, "shoulders": 8.0, "sides": 8.0}  # how far off a judge looks, mm


@dataclass(frozen=True, eq=False)
class Word:
    """What one judge says.

    Attributes
    ----------
    judge : Judge
    fit : Fit or None
        None where it has too little to look at.
    place, along, turn : float or None
        How far from the joint lay it has the centre line sideways (at its own pieces' middle),
        the neck seam along it, mm, and the centre line's direction, radians; None where it
        cannot tell.
    """

    judge: Judge
    fit: Fit | None
    place: float | None = None
    along: float | None = None
    turn: float | None = None

    @property
    def speaks(self) -> bool:
        """Whether it can tell anything."""
        return self.place is not None or self.along is not None


def hear(seen: Evidence, pieces: Pieces, joint: Lay) -> tuple[Word, ...]:
    """Let every judge find the lay from its own lines alone, the drawing's size being known.

    Parameters
    ----------
    seen : Evidence
    pieces : Pieces
    joint : Lay
        As all lines together have it: where each judge starts to look.
    """
    return tuple(_word(seen, pieces, joint, judge) for judge in JUDGES)


def _word(seen: Evidence, pieces: Pieces, joint: Lay, judge: Judge) -> Word:
    own = pieces.of(pieces.judge == JUDGES.index(judge))
    if len(own.judge) == 0:
        return Word(judge, None)
    fit = refine(seen, own, joint, (_OFFERED[judge], 5.0, 4.0, 3.0))
    if fit is None or fit.pieces < _PIECES or fit.shown < SHOWN:
        return Word(judge, fit)
    middle, low = _pivot(fit, 0), _pivot(fit, 1)
    sideways, along = _axes(fit.lay, middle)[0], _axes(fit.lay, low)[1]
    turn = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 1.0])
    moved, slid = (fit.lay.apply(point) - joint.apply(point) for point in (middle, low))
    way = joint.centre_line
    right, down = (
        np.array([math.cos(way), math.sin(way)]),
        np.array([math.sin(way), -math.cos(way)]),
    )
    return replace(
        Word(judge, fit),
        place=float(moved @ right) if fit.spread(sideways) < _KNOWN else None,
        along=float(slid @ down) if fit.spread(along) < _KNOWN else None,
        turn=fit.lay.centre_line - joint.centre_line if fit.spread(turn) < _KNOWN_TURN else None,
    )


def _pivot(fit: Fit, axis: int) -> NDArray[np.float64]:
    """Return the centre line's point whose place across (0) or along it (1) is known best.

    An arc turned about its own centre looks the same: there its place is known, elsewhere not.
    """
    points = np.column_stack([np.zeros(23), np.linspace(-150.0, 400.0, 23)])
    return min(points, key=lambda point: fit.spread(_axes(fit.lay, point)[axis]))


def _axes(lay: Lay, middle: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return derivatives of a point's place across and along the centre line."""
    slopes = lay.slopes(middle[None])[0]
    way = lay.centre_line
    right, down = (
        np.array([math.cos(way), math.sin(way)]),
        np.array([math.sin(way), -math.cos(way)]),
    )
    return right @ slopes, down @ slopes


def doubts(words: tuple[Word, ...], joint: Fit) -> list[str]:
    """Return what speaks against trusting the joint lay, as parts of a sentence; empty if sure."""
    by = {word.judge: word for word in words}
    found: list[str] = []
    if by["collar"].along is None:
        found.append("the collar's lines do not show clearly")
    if sum(word.along is not None for word in words) < 2:
        found.append("nothing but one kind of line tells how far up it lies")
    # A back's flat neck cannot tell left from right: then shoulders and sides must.
    if sum(word.place is not None for word in words) < 2:
        found.append("nothing but one kind of line tells how far to the side it lies")
    if max(abs(joint.lay.wide), abs(joint.lay.long)) > _STRETCH:
        found.append("its lines fit the drawing only if that is stretched")
    told = [word for word in words if word.speaks]
    for word in told:
        for off, most in ((word.place, AGREE), (word.along, AGREE), (word.turn, AGREE_TURN)):
            if off is not None and abs(off) > most:
                found.append(f"{_NAMES[word.judge]} alone would have it elsewhere")
                break
    pairs = [(a, b) for a in told for b in told if a.judge < b.judge]
    for a, b in pairs:
        gaps = ((a.place, b.place, AGREE), (a.along, b.along, AGREE), (a.turn, b.turn, AGREE_TURN))
        if any(p is not None and q is not None and abs(p - q) > most for p, q, most in gaps):
            found.append(f"{_NAMES[a.judge]} and {_NAMES[b.judge]} do not agree")
    turned = joint.spread(np.array([0.0, 0.0, 1.0, 0.0, 0.0, 1.0]))
    if turned > _KNOWN_JOINTLY or not any(word.turn is not None for word in told):
        found.append("how it is turned does not show clearly")
    if joint.shown < SHOWN:
        found.append("too few of its lines show")
    return list(dict.fromkeys(found))


_NAMES: dict[Judge, str] = {
    "collar": "the collar",
    "shoulders": "the shoulders and armholes",
    "sides": "the sides and hem",
}
