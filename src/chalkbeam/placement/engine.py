"""The engine: garment, location, artwork → placement. A pure function."""

from __future__ import annotations

import math

from calibration.geometry import XY
from chalkbeam.artwork import Artwork, Extents, extents
from chalkbeam.basics.sentences import Sentence, joined, literal
from chalkbeam.basics.units import MM_PER_INCH
from chalkbeam.garments import Garment, Landmark
from chalkbeam.locations import Axis, Location
from chalkbeam.placement.answers import impossible
from chalkbeam.placement.clearance import Clearance, clearance
from chalkbeam.placement.solve import (
    SLACK,
    Applied,
    Lines,
    RuleConflict,
    aims,
    applied_rules,
    feature_offset,
    pose,
    solve,
)
from chalkbeam.placement.usual import fitted
from chalkbeam.placement.values import (
    CLOSE,
    Concern,
    CrossCheck,
    Placement,
    RuleResult,
    Severity,
    Verdict,
    worst_first,
)
from chalkbeam.placement.words import asked_words, check_words, result_words


def place(
    garment: Garment,
    location: Location,
    artwork: Artwork,
    *,
    turn: float | None = None,
    extra: Lines | None = None,
) -> Placement:
    """Work out where artwork goes.

    Parameters
    ----------
    garment : Garment
    location : Location
    artwork : Artwork
        At true size.
    turn : float, optional
        Turn of the art about its optical centre in the garment frame (y down),
        radians, in place of the location's.
    extra : mapping of name to Landmark, optional
        Further lines along the garment, such as the foot of a name already placed
        (`foot_of`).

    Returns
    -------
    Placement

    Raises
    ------
    Impossible
        If hard rules contradict one another; says which, and the nearest answers.
    Refusal
        If the garment lacks what the location needs.
    """
    angle = location.turn if turn is None else turn
    art = extents(artwork, angle)
    applied = applied_rules(garment, location, extra)
    centre = solve(applied, art)
    if isinstance(centre, RuleConflict):
        raise impossible(garment, location, artwork, angle, extra, centre)
    garment_from_art = pose(artwork, centre, angle)
    results = tuple(_result(a, centre, art) for a in applied)
    checks = _cross_checks(results)
    clear = clearance(garment.face(location.face), artwork, garment_from_art)
    if location.preset.inside:
        outside = tuple(each for each in clear.warnings if each.about != "hood")
        clear = Clearance(outside)
    warnings = [
        *clear.warnings,
        *_rule_warnings(results),
        *(_check_warning(check) for check in checks if not check.agrees),
        *_art_warnings(artwork, results),
        *_size_warnings(garment, location, artwork),
        *_remarks(garment),
        *_house(garment, location),
    ]
    return Placement(
        garment=garment,
        location=location,
        artwork=artwork,
        garment_from_art=garment_from_art,
        rules=results,
        cross_checks=checks,
        tolerance=(_tolerance(results, Axis.ACROSS), _tolerance(results, Axis.ALONG)),
        warnings=worst_first(warnings),
        hidden=clear.hidden,
        covered=clear.covered,
    )


def foot_of(placement: Placement, name: str = "name_foot") -> dict[str, Landmark]:
    """Return the foot of placed art as a line for what goes under it.

    Lettering stands on its baseline: what hangs below it (a Q's tail, the swell of an
    O) does not move a team's numbers up and down from shirt to shirt. Nor does the length of
    an arched one, which hangs lower at its ends: all leave the same room.
    """
    artwork, pose = placement.artwork, placement.garment_from_art
    if artwork.baseline is not None and pose.angle == 0.0:
        arc = artwork.letters.arc if artwork.letters else None
        foot = pose.y + artwork.baseline
        if arc is not None and arc > UNDER_ARCH:
            foot += arc - math.sqrt(arc**2 - UNDER_ARCH**2)
    else:
        foot = float(placement.hull()[:, 1].max())
    return {name: Landmark(foot, placement.tolerance[1])}


UNDER_ARCH = 4 * MM_PER_INCH
"""How far from the middle figures under an arched name reach, mm: half of the usual width."""


def _result(applied: Applied, centre: XY, art: Extents) -> RuleResult:
    rule = applied.rule
    feature = centre[rule.axis.value] + feature_offset(rule, art)
    got = float(rule.sign * (feature - applied.line.value))
    return RuleResult(rule, applied.line, applied.asked, got)


def _tolerance(results: tuple[RuleResult, ...], axis: Axis) -> float:
    """Return how far the place follows its lines' tolerances along an axis, ± mm.

    A hard limit that stops the art decides alone. Otherwise the place is a weighted
    mean, and so is the most it can move: pieces of one box err together.
    """
    here = [r for r in results if r.rule.axis is axis and not r.rule.check]
    stops = [r for r in here if r.rule.hard and abs(r.miss) <= SLACK]
    pulls = [r for r in here if aims(r.rule) or (_strained(r) and not r.rule.hard)]
    if stops and any(abs(r.miss) > SLACK for r in pulls):
        return stops[0].line.tolerance
    total = sum(r.rule.weight for r in pulls)
    return sum(r.rule.weight * r.line.tolerance for r in pulls) / total


def _strained(result: RuleResult) -> bool:
    """Tell whether a limit holds the art back: soft limits give way a little when they do."""
    if result.rule.bound == "at_least":
        return result.miss < -SLACK
    return result.rule.bound == "at_most" and result.miss > SLACK


def _cross_checks(results: tuple[RuleResult, ...]) -> tuple[CrossCheck, ...]:
    """Pair every check with the rule that weighs most along its axis.

    They agree where the place lies in the check's band, give or take what pieces of
    the garment differ by.
    """
    checks = []
    for second in results:
        if not second.rule.check:
            continue
        axis = second.rule.axis
        placing = [r for r in results if aims(r.rule) and r.rule.axis is axis]
        first = max(placing, key=lambda r: r.rule.weight)
        apart = -second.rule.sign * second.miss
        slack = max(first.line.tolerance, second.line.tolerance)
        checks.append(CrossCheck(first, second, apart, _in_band(second, slack)))
    return tuple(checks)


def _in_band(result: RuleResult, slack: float = 0.0) -> bool:
    """Tell whether a feature lies within a rule's band, give or take so many mm."""
    low, high = result.asked.low, result.asked.high
    return low - slack - CLOSE <= result.got <= high + slack + CLOSE


def _rule_warnings(results: tuple[RuleResult, ...]) -> list[Concern]:
    missed = [r for r in results if not r.rule.check and r.verdict is Verdict.MISSED]
    if not missed:
        return []
    # What a check finds usual is not called unusual by a limit to the same measure.
    usual = {(r.rule.art, r.rule.line) for r in results if r.rule.check and _in_band(r)}
    warnings = []
    for result in missed:
        rule = result.rule
        if (rule.art, rule.line) in usual:
            continue
        words = joined([result_words(result), asked_words(result)], "; common practice is ")
        text = f"{words.template[:1].upper()}{words.template[1:]}."
        # A limit is there to be kept; a target beside its band is a matter of taste.
        loud = rule.missed or ("note" if rule.bound == "target" else "caution")
        severity = Severity.NOTE if loud == "note" else Severity.CAUTION
        warnings.append(Concern(severity, "rule", Sentence(text, words.lengths)))
    return warnings


def _check_warning(check: CrossCheck) -> Concern:
    return Concern(Severity.NOTE, "check", check_words(check))


def _art_warnings(artwork: Artwork, results: tuple[RuleResult, ...]) -> list[Concern]:
    warnings = [Concern(Severity.NOTE, "art", note) for note in artwork.said()]
    warnings += [Concern(Severity.NOTE, "file", remark) for remark in artwork.remarks]
    sheet = artwork.sheet
    if max(sheet.width, sheet.height) > LARGEST_SHEET:
        words = "The sheet would be {0} x {1}: crop the picture, or give the sheet's margin."
        size = (sheet.width, sheet.height)
        warnings.append(Concern(Severity.CAUTION, "art", Sentence(words, size)))
    if artwork.baseline is None and any(r.rule.art == "baseline" for r in results):
        words = "No baseline was found in the art: the bottom of its ink stands in for it."
        warnings.append(Concern(Severity.CAUTION, "art", Sentence(words)))
    return warnings


def _remarks(garment: Garment) -> list[Concern]:
    words = Sentence(literal(garment.remark))
    return [Concern(Severity.CAUTION, "garment", words)] if garment.remark else []


def _house(garment: Garment, location: Location) -> list[Concern]:
    moved = location.house(garment.style, garment.age)
    if moved is None or moved.by == (0.0, 0.0):
        return []
    ways = [(each, way) for each, way in ((moved.by[0], ("right", "left")),
                                          (moved.by[1], ("down", "up"))) if each]  # fmt: skip
    words = " and ".join(
        f"{{{number}}} {way[value < 0]}" for number, (value, way) in enumerate(ways)
    )
    style = garment.style.replace("_", " ")
    text = f"The shop's own rule for a {literal(style)}: {words} from the plain place."
    lengths = tuple(abs(value) for value, _ in ways)
    return [Concern(Severity.NOTE, "house", Sentence(text, lengths))]


LARGEST_SHEET = 2100.0
"""No sheet of transfers is longer, mm: rolls are cut at 80 in; common practice, no source."""
UNUSUAL = 1.5
"""Art beyond the usual sizes by this factor is rarely meant: a unit or a location mistaken."""


def _roomy(garment: Garment, location: Location, artwork: Artwork, low: float) -> bool:
    """Tell whether art of a usual size would go there."""
    usual = artwork.scaled(low / artwork.ink.width)
    return fitted(garment, location, usual).ink.width > UNUSUAL * artwork.ink.width


def _size_warnings(garment: Garment, location: Location, artwork: Artwork) -> list[Concern]:
    """Compare the art's size with what is usual at the location for the garment's age."""
    preset, ink, letters = location.preset, artwork.ink, artwork.letters
    # Letters are judged by their height: a short name is narrow.
    as_high = letters is not None and letters.cap >= location.letter_height(garment.age)[1] - CLOSE
    warnings = []
    for word, size, usual in (
        ("wide", ink.width, preset.width.get(garment.age)),
        ("high", ink.height, preset.height.get(garment.age)),
    ):
        if usual is None or usual.low - CLOSE <= size <= usual.high + CLOSE:
            continue
        if word == "wide" and size < usual.low and as_high:
            continue
        title = literal(location.title)
        words = (
            f"The art is {{0}} {word}; usual here ({title}, {garment.age} sizes) is {{1}} to {{2}}."
        )
        lengths = (size, usual.low, usual.high)
        meant = usual.low / UNUSUAL <= size <= usual.high * UNUSUAL
        if not meant and size < usual.low and not _roomy(garment, location, artwork, usual.low):
            words = f"{words.removesuffix('.')}: there is no room for more."
            meant = True
        if not meant:
            words += " So far off, a unit or the location may be mistaken: check before pressing."
        severity = Severity.NOTE if meant else Severity.CAUTION
        warnings.append(Concern(severity, "size", Sentence(words, lengths)))
    return warnings
