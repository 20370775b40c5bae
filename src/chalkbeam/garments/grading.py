"""From what chart and tape give to every measure a draft needs, by stated rules."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from calibration.refusal import Refusal
from chalkbeam.garments.library import Size, rules_of
from chalkbeam.garments.model import Measure
from chalkbeam.garments.schema import MM_PER, GradingRule, Style
from chalkbeam.garments.tape import check_tape

TAPE_TOLERANCE = 3.0
"""± mm of a length taken with a tape on a garment lying flat; common practice, no source."""


def _named(measure: str) -> str:
    return measure.replace("_", " ")


def _derive(rule: GradingRule, unit: str, of: Measure) -> Measure:
    scale = MM_PER[unit]
    value = rule.value(of.value / scale) * scale
    if len(rule.points) == 1:
        how = f"the same for every size: {rule.points[0][1]:g} {unit}"
    else:
        pairs = ", ".join(f"{given:g} → {result:g} {unit}" for given, result in rule.points)
        how = f"graded over {_named(rule.of)}: {pairs}"
    return Measure(value, rule.tolerance * scale, f"{_named(rule.measure)}, {how}", rule.basis)


def measures_of(
    style: Style, size: Size, measured: Mapping[str, float], sizes: Sequence[Size] = ()
) -> dict[str, Measure]:
    """Return every measure of a garment: tape before chart before rule.

    Parameters
    ----------
    style : Style
    size : Size
        The row of the chart.
    measured : mapping of name to mm
        What was measured on the very piece.
    sizes : sequence of Size
        All sizes of the style in that fit, smallest first, by which `measured` is judged.

    Raises
    ------
    Refusal
        If a measured name is unknown, or its length is far from the chart's.
    """
    known = dict(size.given)
    rules = [
        (rule, unit)
        for rule, unit in rules_of(style)
        if size.age in rule.ages and size.fit in rule.fits
    ]
    names = {*known, *(rule.measure for rule, _ in rules), *(rule.of for rule, _ in rules)}
    for name, value in measured.items():
        if name not in names:
            raise Refusal(
                f"“{name}” is not a measure of a {style.label.lower()}: "
                f"take one of {', '.join(sorted(names))}."
            )
        if not 0 < value < 3000:
            raise Refusal(f"The measured {_named(name)} must lie between 0 and 3 m.")
        known[name] = Measure(value, TAPE_TOLERANCE, source="measured on the piece")
    if measured:
        run = list(sizes) or [size]
        check_tape(
            measured,
            measures_of(style, size, {}),
            [{name: each.value for name, each in row.given.items()} for row in run],
            run.index(size),
            f"{style.label[0].lower()}{style.label[1:]} {size.name}",
        )
    waiting = [(rule, unit) for rule, unit in rules if rule.measure not in known]
    while waiting:
        ready = next(((rule, unit) for rule, unit in waiting if rule.of in known), None)
        if ready is None:
            break
        rule, unit = ready
        known[rule.measure] = _derive(rule, unit, known[rule.of])
        waiting = [(rule, unit) for rule, unit in waiting if rule.measure not in known]
    return known
