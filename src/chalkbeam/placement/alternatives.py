"""What would work instead, for a placement that is possible but should not be pressed."""

from __future__ import annotations

from dataclasses import replace

from chalkbeam.artwork import extents
from chalkbeam.basics.sentences import Sentence
from chalkbeam.locations import Axis
from chalkbeam.placement.answers import Impossible, fitting_locations
from chalkbeam.placement.balance import hard_range
from chalkbeam.placement.clearance import SLIVER, Clearance, clearance
from chalkbeam.placement.engine import place
from chalkbeam.placement.solve import Lines, applied_rules, feature_offset
from chalkbeam.placement.values import Placement, Severity

FARTHEST, STEP = 150.0, 2.0
"""A place further off than this is another location; places are tried in these steps, mm."""
SMALLEST, SHRINK = 0.5, 0.95
"""Art below this share of its size is other art; sizes are tried in these steps."""


def alternatives(placement: Placement) -> tuple[Sentence, ...]:
    """Return the nearest places, sizes and locations that spoil nothing.

    Empty where nothing is wrong: no stay-clear area under the ink and none of it under a
    hood. The art is moved straight up and down only, within the
    location's hard rules; sideways it would no longer be at that location.
    """
    if _fine(Clearance(placement.warnings, placement.hidden, placement.covered)):
        return ()
    found = [Sentence(f"{{0}} {way}", (by,)) for way, by in _moves(placement)]
    width = _smaller(placement)
    if width is not None:
        found.append(Sentence("{0} wide", (width,)))
    others = fitting_locations(placement.garment, placement.location, placement.artwork)
    if others:
        found.append(Sentence(f"elsewhere: {', '.join(others)}"))
    return tuple(found)


def _fine(clear: Clearance) -> bool:
    stopped = any(concern.severity is Severity.STOP for concern in clear.warnings)
    return not stopped and clear.covered <= SLIVER


def _lines(placement: Placement) -> Lines:
    """Return the lines along the garment that the rules went by, the foot of a name included."""
    return {r.rule.line: r.line for r in placement.rules if r.rule.axis is Axis.ALONG}


def _moves(placement: Placement) -> list[tuple[str, float]]:
    """Return the shortest way up and down, in words and mm, to where nothing is wrong."""
    pose, artwork, face = placement.garment_from_art, placement.artwork, placement.face
    art = extents(artwork, pose.angle)
    rules = applied_rules(placement.garment, placement.location, _lines(placement))
    terms = [a.term(feature_offset(a.rule, art)) for a in rules if a.rule.axis is Axis.ALONG]
    low, high = hard_range(terms)
    moves = []
    for way, sign in (("higher", -1.0), ("lower", 1.0)):
        by = STEP
        while by <= FARTHEST and low <= placement.centre[1] + sign * by <= high:
            if _fine(clearance(face, artwork, replace(pose, y=pose.y + sign * by))):
                moves.append((way, by))
                break
            by += STEP
    return moves


def _smaller(placement: Placement) -> float | None:
    """Return the largest ink width at which the location's own place is fine; None if none is."""
    factor = SHRINK
    while factor >= SMALLEST:
        artwork = placement.artwork.scaled(factor)
        try:
            tried = place(
                placement.garment,
                placement.location,
                artwork,
                turn=placement.garment_from_art.angle,
                extra=_lines(placement),
            )
        except Impossible:
            return None
        if _fine(Clearance(tried.warnings, tried.hidden, tried.covered)):
            return artwork.ink.width
        factor *= SHRINK
    return None
