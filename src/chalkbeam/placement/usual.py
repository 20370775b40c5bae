"""Art of the usual size, made smaller where the garment has no room for it."""

from __future__ import annotations

import math

from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork, extents
from chalkbeam.basics.units import MM_PER_INCH
from chalkbeam.garments import Garment
from chalkbeam.locations import Axis, Band, Location
from chalkbeam.placement.answers import largest_factor
from chalkbeam.placement.clearance import clearance
from chalkbeam.placement.solve import Applied, RuleConflict, applied_rules, pose, solve
from chalkbeam.placement.values import Severity

ROUND = MM_PER_INCH / 8
"""Art that is made smaller gets a width that a ruler shows, mm."""
SHRINK, SMALLEST = 0.9, 0.5
"""Sizes are tried in these steps, then each eighth of an inch between the last two by halving;
art below this share of the usual size is other art."""


def fitted(garment: Garment, location: Location, artwork: Artwork) -> Artwork:
    """Return the art, made smaller until it goes where the location puts it.

    For art whose size nobody chose. It keeps within the location's limits to either side (two
    inches from the side seams on most), within those that are never broken, and off seams,
    collar and pocket where any size does. The same object where it goes as it is.
    """
    try:
        applied = applied_rules(garment, location)
        face = garment.face(location.face)
    except Refusal:  # the garment does not have the place: said where it is placed
        return artwork
    top = largest_factor(_kept(applied), artwork, location.turn, lambda rule: rule.hard)
    if top is None:
        return artwork

    def at(factor: float) -> tuple[Artwork, bool]:
        """Return the art so large, and whether it goes there."""
        tried = artwork if factor == 1.0 else artwork.scaled(_round(factor, artwork))
        centre = solve(applied, extents(tried, location.turn))
        if isinstance(centre, RuleConflict):
            return tried, False
        found = clearance(face, tried, pose(tried, centre, location.turn))
        return tried, not any(each.severity is Severity.STOP for each in found.warnings)

    largest, goes = at(top)
    factor = top
    while not goes and factor * SHRINK >= SMALLEST:
        factor *= SHRINK
        tried, goes = at(factor)
    if not goes or factor == top:
        return largest  # where no size goes (a zip), what is wrong is said of this one
    low, high = _eighths(factor, artwork), _eighths(factor / SHRINK, artwork)
    while high - low > 1:
        middle = (low + high) // 2
        better, goes = at((middle + 0.5) * ROUND / artwork.ink.width)
        if goes:
            low, tried = middle, better
        else:
            high = middle
    return tried


def _kept(applied: tuple[Applied, ...]) -> tuple[Applied, ...]:
    """Return the rules as art keeps them whose size is free.

    Limits to either side, and the near end of the band in which an edge is aimed at.
    """
    kept = []
    for each in applied:
        rule, near = each.rule, each.asked.low
        if rule.bound == "target" and not rule.check and rule.art in ("ink_top", "ink_bottom"):
            limit = rule.model_copy(update={"bound": "at_least", "hard": True})
            kept.append(Applied(limit, each.line, Band(near, near, near)))
        elif rule.axis is Axis.ACROSS and rule.bound != "target":
            kept.append(Applied(rule.model_copy(update={"hard": True}), each.line, each.asked))
        else:
            kept.append(each)
    return tuple(kept)


def _round(factor: float, artwork: Artwork) -> float:
    """Return the factor made a little smaller, so that the width is a whole eighth of an inch."""
    return _eighths(factor, artwork) * ROUND / artwork.ink.width


def _eighths(factor: float, artwork: Artwork) -> int:
    """Return the whole eighths of an inch in the width of the art made so much smaller."""
    return max(math.floor(factor * artwork.ink.width / ROUND), 1)
