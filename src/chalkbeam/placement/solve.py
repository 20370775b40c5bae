"""The rules that count for a garment, and the position that satisfies them best."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass

from calibration.geometry import XY, Isometry
from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork, Extents
from chalkbeam.garments import Garment, Landmark
from chalkbeam.locations import Axis, Band, Location, Rule, locations
from chalkbeam.placement.balance import Term, balance, hard_range
from chalkbeam.placement.words import line_words

SLACK = 1e-6
"""Hard limits that meet within this, mm, do not contradict one another."""

MOST_INSTEAD = 3
"""So many locations are named in place of one that the garment cannot take."""

Lines = Mapping[str, Landmark]


@dataclass(frozen=True)
class Applied:
    """A rule that counts for a garment: the line it measures from, and its distance.

    Attributes
    ----------
    rule : Rule
    line : Landmark
    asked : Band
    """

    rule: Rule
    line: Landmark
    asked: Band

    def term(self, offset: float) -> Term:
        """Return the condition on the optical centre, given the feature's `offset` from it, mm."""
        at = self.line.value + self.rule.sign * self.asked.usual - offset
        kind = self.rule.bound
        if self.rule.sign < 0 and kind != "target":
            kind = "at_most" if kind == "at_least" else "at_least"
        return Term(at, kind, self.rule.weight, self.rule.hard)


@dataclass(frozen=True)
class RuleConflict:
    """Two hard rules that no position satisfies.

    Attributes
    ----------
    first, second : Applied
    short : float
        By how much room is missing, mm.
    """

    first: Applied
    second: Applied
    short: float


def feature_offset(rule: Rule, art: Extents) -> float:
    """Return where a rule's feature lies, relative to the optical centre, mm along its axis."""
    if rule.art == "optical_centre":
        return 0.0
    if rule.art == "baseline":
        return art.ink.bottom if art.baseline is None else art.baseline
    if rule.art == "ink_top" and aims(rule) and art.cap_line is not None:
        return art.cap_line  # what rises above the capitals moves no name against the others
    part, _, side = rule.art.partition("_")
    box = art.ink if part == "ink" else art.sheet
    if side == "middle":
        return box.centre[rule.axis.value]
    return float(getattr(box, side))


def applied_rules(
    garment: Garment, location: Location, extra: Lines | None = None
) -> tuple[Applied, ...]:
    """Return the rules of a location that count for a garment.

    Raises
    ------
    Refusal
        If the garment lacks the face, or a line that a rule needs, or no rule is
        left that aims at a place.
    """
    return _applied(garment, location, extra) if extra else _plainly(garment, location)


@functools.lru_cache(maxsize=512)
def _plainly(garment: Garment, location: Location) -> tuple[Applied, ...]:
    """Return the rules without further lines: the same for every artwork of an order."""
    return _applied(garment, location, {})


def _applied(garment: Garment, location: Location, extra: Lines) -> tuple[Applied, ...]:
    face = garment.face(location.face)
    applied = []
    for rule in _counting(garment, location, extra):
        if rule.axis is Axis.ACROSS:
            line = face.across.get(rule.line)
        else:
            line = extra.get(rule.line) or face.along.get(rule.line)
        if line is None:
            if rule.check:
                continue
            raise _lacking(garment, location, rule)
        applied.append(Applied(rule, line, _asked(rule, garment, location)))
    for axis, way in ((Axis.ACROSS, "left and right"), (Axis.ALONG, "up and down")):
        if not any(a.rule.axis is axis and aims(a.rule) for a in applied):
            raise Refusal(
                f"No rule of {location.title} places art {way} on a "
                f"{garment.style.replace('_', ' ')}: choose another location."
            )
    return tuple(applied)


def _counting(garment: Garment, location: Location, extra: Lines) -> list[Rule]:
    """Return the rules that count for a garment's age, fit and lines."""
    face = garment.face(location.face)
    known = face.along.keys() | face.across.keys() | extra.keys()
    return [
        rule
        for rule in location.rules
        if garment.age in rule.ages
        and garment.fit in rule.fits
        and known.issuperset(rule.when)
        and not known & set(rule.unless)
    ]


def takes(location: Location, lettering: bool) -> bool:
    """Tell whether a location is for upright art of any size, or only for a line of letters.

    Not counted are names and figures, and what is slanted or runs along an arm.
    """
    stands = any(rule.art == "baseline" for rule in location.rules)
    return not (location.turn or location.preset.height or (stands and not lettering))


def _lacking(garment: Garment, location: Location, rule: Rule) -> Refusal:
    """Return the refusal for a line that the garment lacks, naming locations that it has."""
    face = garment.face(location.face)
    known = face.along.keys() | face.across.keys()
    wanted = location.preset.width.get(garment.age)

    def unlike(other: Location) -> float:
        width = other.preset.width.get(garment.age)
        return abs(width.usual - wanted.usual) if width and wanted else math.inf

    instead = sorted(
        (
            other
            for other in locations().values()
            if other.face == location.face
            and takes(other, lettering=False)
            and all(r.check or r.line in known for r in _counting(garment, other, {}))
        ),
        key=unlike,
    )
    names = ", ".join(other.name for other in instead[:MOST_INSTEAD])
    return Refusal(
        f"{location.title.capitalize()} goes by the {line_words(rule.line)}, which the "
        f"{face.name.replace('_', ' ')} of a {garment.style.replace('_', ' ')} does not have: "
        f"choose another location{f', such as {names}' if names else ''}."
    )


def _asked(rule: Rule, garment: Garment, location: Location) -> Band:
    band = rule.by[garment.age]
    if rule.grows is not None:
        band = rule.band(garment.age, {name: m.value for name, m in garment.measures.items()})
    house = location.house(garment.style, garment.age)
    # The shop's taste goes before what is soft; a check stays common practice's.
    if house is None or rule.hard or rule.check:
        return band
    return band.shifted(rule.sign * house.by[rule.axis.value])


def aims(rule: Rule) -> bool:
    """Tell whether a rule aims at a place, rather than limiting or checking it."""
    return rule.bound == "target" and not rule.check


def solve(applied: tuple[Applied, ...], art: Extents) -> XY | RuleConflict:
    """Return the optical centre in the garment frame, mm, or the hard rules that conflict."""
    place = [0.0, 0.0]
    for axis in Axis:
        rules = [a for a in applied if a.rule.axis is axis and not a.rule.check]
        terms = [a.term(feature_offset(a.rule, art)) for a in rules]
        low, high = hard_range(terms)
        if low > high + SLACK:
            pairs = list(zip(rules, terms, strict=True))
            first = next(a for a, t in pairs if t.hard and t.kind == "at_least" and t.at == low)
            second = next(a for a, t in pairs if t.hard and t.kind == "at_most" and t.at == high)
            return RuleConflict(first, second, low - high)
        place[axis.value] = balance(terms, (low, high))
    return place[0], place[1]


def pose(artwork: Artwork, centre: XY, angle: float) -> Isometry:
    """Return ``garment_from_art`` with the optical centre at `centre`, turned by `angle`."""
    shift = Isometry(angle=angle).apply([artwork.optical_centre.point])[0]
    return Isometry(centre[0] - float(shift[0]), centre[1] - float(shift[1]), angle)
