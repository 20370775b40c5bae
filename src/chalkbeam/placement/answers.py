"""When no position satisfies the hard rules: which of them conflict, and what would be allowed."""

from __future__ import annotations

from collections.abc import Callable

from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork, extents
from chalkbeam.basics.sentences import Sentence, joined, literal
from chalkbeam.basics.units import Unit
from chalkbeam.garments import Garment
from chalkbeam.locations import Location, Rule, locations
from chalkbeam.placement.clearance import clearance
from chalkbeam.placement.solve import (
    Applied,
    Lines,
    RuleConflict,
    applied_rules,
    feature_offset,
    pose,
    solve,
    takes,
)
from chalkbeam.placement.values import Severity

SMALLEST = 0.25
"""Art shrunk below this share of its size is other art."""
_BODY = {"front", "back"}
MOST_OTHERS = 3
"""So many other locations are offered."""


class Impossible(Refusal):
    """No position satisfies the hard rules.

    Attributes
    ----------
    words : Sentence
        The whole message, its lengths open.
    conflict : RuleConflict
        The two rules.
    width : float or None
        Ink width that would fit, mm, if shrinking helps.
    others : tuple of str
        Locations of this garment that can take the art as it is.
    """

    def __init__(
        self, words: Sentence, conflict: RuleConflict, width: float | None, others: tuple[str, ...]
    ) -> None:
        super().__init__(words.say(Unit.MM))
        self.words = words
        self.conflict = conflict
        self.width = width
        self.others = others


def impossible(
    garment: Garment,
    location: Location,
    artwork: Artwork,
    turn: float,
    extra: Lines | None,
    conflict: RuleConflict,
) -> Impossible:
    """Return the refusal for hard rules in conflict, with the nearest allowed answers."""
    applied = applied_rules(garment, location, extra)
    factor = largest_factor(applied, artwork, turn)
    width = None if factor is None else factor * artwork.ink.width
    others = fitting_locations(garment, location, artwork)
    size = (artwork.ink.width, artwork.ink.height)
    label = garment.label[:1].lower() + garment.label[1:]
    rules = f"“{conflict.first.rule.says}” and “{conflict.second.rule.says}”"
    where = literal(f"{location.title} of a {label}: {rules}")
    what = Sentence(
        f"The art ({{0}} x {{1}}) does not fit the {where} leave {{2}} too little room",
        (*size, conflict.short),
    )
    answers = []
    if width is not None:
        answers.append(Sentence("make it {0} wide", (width,)))
    if others:
        answers.append(Sentence(f"put it elsewhere ({', '.join(others)})"))
    if not answers:
        answers.append(Sentence("take a larger garment or other art"))
    advice = joined(answers, ", or ")
    words = joined([what, Sentence(advice.template + ".", advice.lengths)], ": ")
    return Impossible(words, conflict, width, tuple(others))


def largest_factor(
    applied: tuple[Applied, ...],
    artwork: Artwork,
    turn: float,
    kept: Callable[[Rule], bool] = lambda rule: rule.hard,
) -> float | None:
    """Return the largest scale, at most 1, at which the rules kept leave room; None if none does.

    Features move in proportion to the scale, so each pair of opposite limits bounds
    it linearly.
    """
    art = extents(artwork, turn)
    hard = [(a, feature_offset(a.rule, art)) for a in applied if kept(a.rule)]
    factor = 1.0
    for first, first_offset in hard:
        for second, second_offset in hard:
            low, high = first.term(0.0), second.term(0.0)
            opposite = low.kind == "at_least" and high.kind == "at_most"
            if first.rule.axis is not second.rule.axis or not opposite:
                continue
            room, need = high.at - low.at, second_offset - first_offset
            if need > room:
                if room <= 0 or need <= 0:
                    return None
                factor = min(factor, room / need)
    return factor if factor >= SMALLEST else None


def fitting_locations(garment: Garment, location: Location, artwork: Artwork) -> list[str]:
    """Return names of other locations that take the art as it is, the same face first."""
    found: list[tuple[bool, str]] = []
    for other in locations().values():
        usual = other.preset.width.get(garment.age)
        near = {other.face, location.face} <= _BODY or other.face == location.face
        if other.name == location.name or other.face not in garment.faces or not near:
            continue
        if not takes(other, lettering=artwork.baseline is not None):
            continue
        if usual and not 0.7 * usual.low <= artwork.ink.width <= 1.3 * usual.high:
            continue
        try:
            centre = solve(applied_rules(garment, other), extents(artwork, other.turn))
        except Refusal:
            continue
        if isinstance(centre, RuleConflict):
            continue
        clear = clearance(garment.face(other.face), artwork, pose(artwork, centre, other.turn))
        if any(warning.severity is Severity.STOP for warning in clear.warnings):
            continue
        found.append((other.face != location.face, other.name))
    return [name for _, name in sorted(found)[:MOST_OTHERS]]
