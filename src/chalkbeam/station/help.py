"""Pages of help in light."""

from __future__ import annotations

import math
from collections.abc import Sequence

from chalkbeam.basics.units import MM_PER_INCH, Unit, format_length
from chalkbeam.light.labels import CAP, LEAST_CAP
from chalkbeam.light.pages import Page, block
from chalkbeam.placement.shift import Shift
from chalkbeam.station.keys import COARSE, FINE, Act, keys_for
from overlay.marks import LEADING, Mark, Role, Text
from overlay.text.typeface import advance
from overlay.text.wrap import wrapped


def shift_words(shift: Shift, unit: Unit) -> str:
    """Return how far lines were moved, in the operator's directions; empty if they were not."""
    parts = []
    for value, plus, minus in ((shift.x, "right", "left"), (shift.y, "away", "near")):
        if abs(value) >= 0.05:
            parts.append(f"{small_length(abs(value), unit)} {plus if value > 0 else minus}")
    degrees = math.degrees(shift.angle)
    if abs(degrees) >= 0.05:
        parts.append(f"{abs(degrees):.1f}° turned {'left' if degrees > 0 else 'right'}")
    return ", ".join(parts)


def small_length(millimetres: float, unit: Unit) -> str:
    """Return a length of some tenths of a millimetre: steps are finer than eighths of an inch."""
    if unit is Unit.MM:
        return format_length(millimetres, Unit.MM, 1)
    inches = millimetres / MM_PER_INCH
    return f"{inches:.2f} in" if inches >= 0.02 else f"{inches:.3f} in"


def help_marks(
    page: Page, acts: Sequence[tuple[Act, str]], unit: Unit = Unit.MM
) -> tuple[Mark, ...]:
    """Return the list of keys as lettering that fills a page.

    Parameters
    ----------
    page : Page
    acts : sequence of (Act, str)
        What can be asked for, and in what words.
    unit : Unit
        What the steps of a nudge are told in.
    """
    keys = [", ".join(keys_for(act)[:2]) for act, _ in acts]
    words = [_NUDGES[unit] if act is Act.NUDGE else said for act, said in acts]
    left, right = max(map(advance, keys)), max(map(advance, words))
    gap = 1.5
    wide, deep = page.room
    cap = min(CAP, wide / (left + gap + right), deep / (LEADING * (len(acts) - 1) + 1))
    if cap < LEAST_CAP:
        return _short_help(keys, words, page)
    x, y = page.centre[0] - cap * (left + gap + right) / 2 + cap * left, page.centre[1]
    marks: list[Mark] = [
        Text((x, y), "\n".join(keys), Role.LAY, cap, (1.0, 0.5), height=page.height),
        Text((x + gap * cap, y), "\n".join(words), Role.NOTE, cap, (0.0, 0.5), height=page.height),
    ]
    return tuple(marks)


_NUDGES = {
    each: f"move {small_length(COARSE, each).removesuffix('.0 mm')}{' mm' * (each is Unit.MM)} "
    f"(Shift: {small_length(FINE, each).split()[0]})"
    for each in Unit
}
"""What the arrows do: in inches, a millimetre is 0.04 of them."""


def _short_help(keys: Sequence[str], words: Sequence[str], page: Page) -> tuple[Mark, ...]:
    """Return as much of the list of keys as can be read on a small page, the first ones first."""
    most = int((page.room[1] / LEAST_CAP - 1) / LEADING) + 1
    lines: list[str] = []
    for key, said in zip(keys, words, strict=True):
        more = wrapped(f"{key.partition(',')[0]}: {said}", LEAST_CAP, page.room[0])
        if len(lines) + len(more) > most:
            break
        lines += more
    return (block(lines, Role.NOTE, LEAST_CAP, page),)
