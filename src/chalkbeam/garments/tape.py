"""Is a length taken on a piece believable? What tape and chart say of each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from calibration.refusal import Phrase, Refusal, Remedy, RemedyKind
from chalkbeam.garments.model import Measure

MAKERS = 1.25
"""How many times larger or smaller than the chart a piece of the same size may be, where the chart
gives the measure: two sizes, or a loose cut; common practice, no source."""

GRADED = 1.5
"""The same where a rule derives the measure, which differs more from maker to maker; common
practice, no source. Twice, and 2.54 times, are beyond."""

SHORT = 100.0
"""Below this, mm, trims differ freely (a rib of 20 or of 40 mm) and none is measured all round."""

TRIMS = 2.2
"""The same of graded measures shorter than `SHORT`; common practice, no source."""

WHOLE_CHART = 1.15
"""How far beyond the largest and the smallest size of its chart a piece may be; common practice,
no source: about the next size."""

NEIGHBOURS = 2
"""Sizes up and down from the stated one whose lengths are believed in any case: a wrong label."""

_ACROSS = ("half_chest", "width", "opening", "pit_depth")
"""Words in the names of measures that may be taken all the way round by mistake."""

_SLIPS = (
    (1.75, 2.25, "was it measured all the way round? Give half of it."),
    (2.25, 2.9, "was it centimetres, typed as inches?"),
    (9.0, 11.0, "was it millimetres, typed as centimetres?"),
    (22.0, 29.0, "was it millimetres, typed as inches?"),
    (1 / 29.0, 1 / 22.0, "was it inches, typed as millimetres?"),
    (1 / 11.0, 1 / 9.0, "was it centimetres, typed as millimetres?"),
    (1 / 2.9, 1 / 2.25, "was it inches, typed as centimetres?"),
    (1 / 2.25, 1 / 1.75, "was the piece folded once more? Give its whole width."),
)
"""What a length was likely meant as, by the ratio to the chart's."""

_OWN_CUT: tuple[Phrase, ...] = (
    "check the length and its unit; a piece that is cut so differs from the whole chart: ",
    Remedy(RemedyKind.CHART, "import its maker's"),
    ".",
)


def check_tape(
    measured: Mapping[str, float],
    usual: Mapping[str, Measure],
    given: Sequence[Mapping[str, float]],
    place: int,
    piece: str,
) -> None:
    """Refuse lengths that no piece of that size has.

    Parameters
    ----------
    measured : mapping of measure name to mm
    usual : mapping of measure name to Measure
        Of the stated size, by chart and rules.
    given : sequence of mappings of measure name to mm
        What the chart gives for each size of the style in that fit, smallest first.
    place : int
        Where the stated size stands among them.
    piece : str
        What it is called: "crew tee M".

    Raises
    ------
    Refusal
        Naming the chart's figure and the likely slip.
    """
    for name, value in measured.items():
        if name not in usual:
            continue
        low, high = believable(name, usual[name], given, place)
        if low <= value <= high:
            continue
        chart = usual[name].value
        ratio = value / chart
        raise Refusal(
            f"The measured {name.replace('_', ' ')} of {length_said(value)} is far from the "
            f"{length_said(chart)} that the chart has for a {piece}: ",
            *_slip(name, ratio),
        )


def believable(
    name: str, usual: Measure, given: Sequence[Mapping[str, float]], place: int
) -> tuple[float, float]:
    """Return the least and the greatest length, mm, that a piece may have."""
    chart = usual.value
    run = [row[name] for row in given if name in row]
    if not run or name not in given[place]:
        factor = TRIMS if chart < SHORT else GRADED
        return chart / factor, chart * factor
    near = [
        row[name]
        for row in given[max(0, place - NEIGHBOURS) : place + NEIGHBOURS + 1]
        if name in row
    ]
    low = max(min(*near, chart / MAKERS), min(run) / WHOLE_CHART)
    high = min(max(*near, chart * MAKERS), max(run) * WHOLE_CHART)
    return low - usual.tolerance, high + usual.tolerance


def _slip(name: str, ratio: float) -> tuple[Phrase, ...]:
    said = slip_of(name, ratio)
    return (said,) if said else _OWN_CUT


def slip_of(name: str, ratio: float) -> str:
    """Return what a length was likely meant as, by its ratio to the chart's; empty if unknown."""
    around = any(word in name for word in _ACROSS)
    for low, high, said in _SLIPS:
        if low <= ratio < high and (around or not 1 / 2.25 <= ratio < 2.25):
            return said
    return ""


def length_said(length: float) -> str:
    """Return a length in both units."""
    return f"{length:.0f} mm ({length / 25.4:.1f} in)"
