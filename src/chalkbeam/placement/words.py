"""Rules, checks and tolerances in words."""

from __future__ import annotations

from chalkbeam.basics.sentences import Sentence, joined, literal
from chalkbeam.locations import Rule
from chalkbeam.placement.values import CLOSE, CrossCheck, Placement, RuleResult, Verdict

_FEATURES = {
    "ink_top": "top of the ink",
    "ink_bottom": "bottom of the ink",
    "ink_left": "left edge of the ink",
    "ink_right": "right edge of the ink",
    "ink_middle": "middle of the ink",
    "optical_centre": "optical centre",
    "baseline": "baseline",
    "sheet_top": "top of the sheet",
    "sheet_bottom": "bottom of the sheet",
    "sheet_left": "left edge of the sheet",
    "sheet_right": "right edge of the sheet",
}
_SIDES = {
    "along": ("above", "below"),
    "below": ("above", "below"),
    "above": ("below", "above"),
    "across": ("left of", "right of"),
    "right_of": ("left of", "right of"),
    "left_of": ("right of", "left of"),
}
_LINES = {
    "centre": "centre line",
    "name_foot": "foot of the name",
    "hood_drape": "lying hood's lower edge",
    "shoulder_top": "top of the shoulder",
}


def line_words(name: str) -> str:
    """Return a garment line's name in words."""
    return _LINES.get(name, name.replace("_", " "))


def distance_words(rule: Rule, distance: float) -> Sentence:
    """Return a signed distance from a rule's line: "64 mm above the pit line"."""
    line = line_words(rule.line)
    if abs(distance) <= CLOSE:
        return Sentence(f"on the {line}")
    side = _SIDES[rule.direction][distance > 0]
    return Sentence(f"{{0}} {side} the {line}", (abs(distance),))


def feature_words(rule: Rule) -> str:
    """Return a rule's feature of the art in words."""
    return _FEATURES[rule.art]


def result_words(result: RuleResult) -> Sentence:
    """Return where a rule's feature came to lie: "optical centre 64 mm above the pit line"."""
    where = distance_words(result.rule, result.got)
    return Sentence(f"{feature_words(result.rule)} {where.template}", where.lengths)


def asked_words(result: RuleResult) -> Sentence:
    """Return what a rule asks for: a distance, its band, or a limit."""
    band, bound = result.asked, result.rule.bound
    if bound != "target":
        # A limit at or beyond the line reads better from its other side.
        word = {"at_least": "at least", "at_most": "at most"}[bound]
        if abs(band.usual) <= CLOSE:
            side = _SIDES[result.rule.direction][bound == "at_least"]
            return Sentence(f"not {_OPPOSITE[side]} the {line_words(result.rule.line)}")
        return Sentence(f"{word} {{0}}", (band.usual,))
    if band.high - band.low <= CLOSE:
        return Sentence("on it") if abs(band.usual) <= CLOSE else Sentence("{0}", (band.usual,))
    return Sentence("{0} ({1} to {2})", (band.usual, band.low, band.high))


_OPPOSITE = {"above": "below", "below": "above", "left of": "right of", "right of": "left of"}


def _begun(says: str) -> str:
    """Return a rule as people wrote it, to begin a sentence's template."""
    return literal(says[:1].upper() + says[1:])


def check_words(check: CrossCheck) -> Sentence:
    """Return a cross-check in words."""
    result = check.checked_by
    low, high = result.asked.low, result.asked.high
    lies = result_words(result)
    band = joined([lies, _band_words(result)], "; common practice is ")
    beyond = max(low - result.got, result.got - high)
    if beyond <= CLOSE:
        judged = Sentence("the rules agree")
    elif check.agrees:
        judged = Sentence("{0} beyond, no more than pieces of a box differ by", (beyond,))
    else:
        judged = Sentence("{0} apart: the rules disagree, look before pressing", (beyond,))
    said = joined([band, judged], ": ")
    return Sentence(f"{_begun(result.rule.says)}: {said.template}.", said.lengths)


def _band_words(result: RuleResult) -> Sentence:
    """Return a band by its two ends, each on the side of the line where it lies."""
    low, high = result.asked.low, result.asked.high
    if min(low, high) > CLOSE:
        return Sentence("{0} to {1}", (low, high))
    ends = [distance_words(result.rule, end) for end in (low, high)]
    line = line_words(result.rule.line)
    words = [
        Sentence(end.template.removesuffix(f" the {line}"), end.lengths)
        if end.lengths
        else Sentence("on it")
        for end in ends
    ]
    return joined(words, " to ")


def reasons(placement: Placement) -> tuple[Sentence, ...]:
    """Return why the art lies where it lies: the rules that decided, in the shop's words."""
    lines = []
    for result in placement.rules:
        rule = result.rule
        decided = rule.bound == "target" or abs(result.miss) <= CLOSE
        if rule.check or not decided:
            continue
        where = result_words(result)
        tail = "" if result.verdict is not Verdict.MISSED else ", outside common practice"
        text = f"{_begun(rule.says)}: {where.template}{tail}."
        lines.append(Sentence(text, where.lengths))
    centre = placement.artwork.optical_centre.reason
    lines.append(Sentence(f"Optical centre: {centre.template}.", centre.lengths))
    return tuple(lines)


def tolerance_words(placement: Placement) -> Sentence:
    """Return the tolerance band in words, and which graded lines it rests on."""
    across, along = placement.tolerance
    graded = sorted(
        {
            line_words(result.rule.line)
            for result in placement.rules
            if result.line.derived and not result.rule.check and result.rule.bound == "target"
        }
    )
    if max(across, along) <= CLOSE:
        text = "The same on every piece: no line it is counted from differs."
    else:
        ways = [("{0} to either side", across), ("{1} higher or lower", along)]
        listed = " and ".join(words for words, by in ways if by > CLOSE)
        text = f"From piece to piece of a box it may lie up to {listed}."
    if graded:
        text += f" Graded, not measured: {', '.join(graded)}."
    return Sentence(text, (across, along))
