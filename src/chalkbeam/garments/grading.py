"""From what chart and tape give to every measure a draft needs, by stated rules."""

from __future__ import annotations

from collections.abc import Mapping

from calibration.refusal import Refusal
from chalkbeam.garments.library import Size
from chalkbeam.garments.model import Measure
from chalkbeam.garments.schema import MM_PER, Rule, RuleBook, Style

TAPE_TOLERANCE = 3.0
"""± mm of a length taken with a tape on a garment lying flat; common practice, no source."""


def _named(measure: str) -> str:
    return measure.replace("_", " ")


def _derive(rule: Rule, unit: str, of: Measure) -> Measure:
    scale = MM_PER[unit]
    value = rule.value(of.value / scale) * scale
    if len(rule.points) == 1:
        how = f"the same for every size: {rule.points[0][1]:g} {unit}"
    else:
        pairs = ", ".join(f"{given:g} → {result:g}" for given, result in rule.points)
        how = f"graded over {_named(rule.of)}, in {unit}: {pairs}"
    return Measure(value, rule.tolerance * scale, f"{_named(rule.measure)}, {how}", rule.basis)


def measure_names(style: Style, book: RuleBook) -> tuple[str, ...]:
    """Return the names of all measures that a chart or a tape may give for a style."""
    graded = [rule.measure for rule in (*style.rule, *book.rule)]
    return tuple(
        dict.fromkeys(
            ["half_chest", "body_length", *graded]
            if style.cut == "top"
            else [*(rule.of for rule in book.rule), *graded]
        )
    )


def measures_of(
    style: Style, book: RuleBook, size: Size, measured: Mapping[str, float]
) -> dict[str, Measure]:
    """Return every measure of a garment: tape before chart before rule.

    Parameters
    ----------
    style, book : Style, RuleBook
        The style, and the grading rules of its cut.
    size : Size
        The row of the chart.
    measured : mapping of name to mm
        What was measured on the very piece.

    Raises
    ------
    Refusal
        If a measured name is unknown or its length is not positive.
    """
    known = dict(size.given)
    names = set(measure_names(style, book)) | set(known)
    for name, value in measured.items():
        if name not in names:
            raise Refusal(
                f"“{name}” is not a measure of a {style.label.lower()}: "
                f"take one of {', '.join(sorted(names))}."
            )
        if not 0 < value < 3000:
            raise Refusal(f"The measured {_named(name)} must lie between 0 and 3 m.")
        known[name] = Measure(value, TAPE_TOLERANCE, source="measured on the piece")
    rules = [
        (rule, unit)
        for owner, unit in ((style.rule, style.unit), (book.rule, book.unit))
        for rule in owner
        if size.age in rule.ages and size.fit in rule.fits
    ]
    waiting = [(rule, unit) for rule, unit in rules if rule.measure not in known]
    while waiting:
        ready = next(((rule, unit) for rule, unit in waiting if rule.of in known), None)
        if ready is None:
            break
        rule, unit = ready
        known[rule.measure] = _derive(rule, unit, known[rule.of])
        waiting = [(rule, unit) for rule, unit in waiting if rule.measure not in known]
    return known
