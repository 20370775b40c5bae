"""Pages of help in light."""

from __future__ import annotations

import math
from collections.abc import Sequence

from chalkbeam.basics.units import Unit, format_length
from chalkbeam.light.labels import CAP, LEAST_CAP
from chalkbeam.light.pages import Page, block
from chalkbeam.placement.shift import Shift
from chalkbeam.station.keys import Act, keys_for
from overlay.marks import LEADING, Mark, Role, Text
from overlay.text.typeface import advance
from overlay.text.wrap import wrapped


def shift_words(shift: Shift) -> str:
    """Return how far lines were moved, in the operator's directions; empty if they were not.

    Nudges go in steps of 0.1 mm, finer than eighths of an inch can say, so they are
    told in mm always.
    """
    parts = []
    for value, plus, minus in ((shift.x, "right", "left"), (shift.y, "away", "near")):
        if abs(value) >= 0.05:
            parts.append(f"{format_length(abs(value), Unit.MM, 1)} {plus if value > 0 else minus}")
    degrees = math.degrees(shift.angle)
    if abs(degrees) >= 0.05:
        parts.append(f"{abs(degrees):.1f}° turned {'left' if degrees > 0 else 'right'}")
    return ", ".join(parts)


def help_marks(page: Page, acts: Sequence[tuple[Act, str]]) -> tuple[Mark, ...]:
    """Return the list of keys as lettering that fills a page.

    Parameters
    ----------
    page : Page
    acts : sequence of (Act, str)
        What can be asked for, and in what words.
    """
    keys = [", ".join(keys_for(act)[:2]) for act, _ in acts]
    words = [said for _, said in acts]
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
