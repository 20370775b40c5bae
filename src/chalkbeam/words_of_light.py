"""Words that the light itself shows: the list of keys, and how far lines were moved."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calibration.geometry import PlatenFace, rectangle
from chalkbeam.runs.events import Shift
from chalkbeam.target_lettering import LEAST_CAP, wrapped
from chalkbeam.units import Unit, format_length
from overlay.frame import PlatenMap
from overlay.keys import Act, keys_for
from overlay.lettering import set_line
from overlay.marks import LEADING, Mark, Role, Text

LARGEST_CAP = 9.0
"""Cap height of the list of keys where the platen has room, mm."""

_MARGIN = 15.0

_PAGE_CAPS = (14.0, 12.0, 10.0, 9.0, 8.0, LEAST_CAP)
"""Cap heights to try for a page of text, mm."""


BESIDE = 25.0
"""Light beside the platen keeps this far off its edge, mm."""

_BESIDE_CAPS = (50.0, 40.0, 30.0, 24.0, 18.0, 14.0)
"""Cap heights to try for figures beside the platen, mm."""


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


def help_marks(
    face: PlatenFace, acts: Sequence[tuple[Act, str]], height: float = 0.0
) -> tuple[Mark, ...]:
    """Return the list of keys as lettering that fills the platen's face.

    Parameters
    ----------
    face : PlatenFace
    acts : sequence of (Act, str)
        What can be asked for, and in what words.
    height : float
        Of the lit surface above the bare platen, mm.
    """
    keys = [", ".join(keys_for(act)[:2]) for act, _ in acts]
    words = [said for _, said in acts]
    left = max(set_line(line, 1.0).advance for line in keys)
    right = max(set_line(line, 1.0).advance for line in words)
    gap = 1.5
    wide, deep = face.width - 2 * _MARGIN, face.depth - 2 * _MARGIN
    cap = min(LARGEST_CAP, wide / (left + gap + right), deep / (LEADING * (len(acts) - 1) + 1))
    if cap < LEAST_CAP:
        return _short_help(keys, words, (wide, deep), height)
    x = -cap * (left + gap + right) / 2 + cap * left
    marks: list[Mark] = [
        Text((x, 0.0), "\n".join(keys), Role.LAY, cap, (1.0, 0.5), height=height),
        Text((x + gap * cap, 0.0), "\n".join(words), Role.NOTE, cap, (0.0, 0.5), height=height),
    ]
    return tuple(marks)


def _short_help(
    keys: Sequence[str], words: Sequence[str], room: tuple[float, float], height: float
) -> tuple[Mark, ...]:
    """Return as much of the list of keys as can be read on a small platen, the first ones first."""
    most = int((room[1] / LEAST_CAP - 1) / LEADING) + 1
    lines: list[str] = []
    for key, said in zip(keys, words, strict=True):
        more = wrapped(f"{key.partition(',')[0]}: {said}", LEAST_CAP, room[0])
        if len(lines) + len(more) > most:
            break
        lines += more
    return (Text((0.0, 0.0), "\n".join(lines), Role.NOTE, LEAST_CAP, (0.5, 0.5), height=height),)


def waiting_marks(face: PlatenFace) -> tuple[Mark, ...]:
    """Return what is lit while the first picture is being worked out."""
    return (page_mark(face, ["getting ready …"], Role.NOTE),)


def countdown_mark(seconds: int, face: PlatenFace, platen_map: PlatenMap) -> Text | None:
    """Return the seconds of a dwell, to stand in the light beside the platen.

    The platen stays dark while the press is closed. What the projector lights beside it is
    table or the press's foot, lower than the platen: figures there are read, not measured.

    Parameters
    ----------
    seconds : int
    face : PlatenFace
    platen_map : PlatenMap
        Tells what the projector's picture still holds.

    Returns
    -------
    Text or None
        As large as fits, on the operator's side first; None where there is no room.
    """
    widest = set_line("000", 1.0).advance
    for cap in _BESIDE_CAPS:
        near = -face.depth / 2 - BESIDE - cap / 2
        aside = face.width / 2 + BESIDE + widest * cap / 2
        for middle in ((0.0, near), (-aside, 0.0), (aside, 0.0), (0.0, -near)):
            corners = rectangle(widest * cap, cap) + middle
            pixels = platen_map.projector_from_platen(corners, np.zeros(4))
            if (pixels > 2).all() and (pixels < np.array(platen_map.size) - 3).all():
                return Text(middle, str(seconds), Role.CHECK, cap)
    return None


def page_mark(
    face: PlatenFace,
    lines: Sequence[str],
    role: Role,
    height: float = 0.0,
    largest: float = 14.0,
) -> Text:
    """Return lines of text in the middle of the platen, as large as fits, wrapped where needed.

    `largest` is the cap height where there is room, mm.
    """
    wide, deep = face.width - 2 * _MARGIN, face.depth - 2 * _MARGIN
    broken, cap = list(lines), _PAGE_CAPS[-1]
    for cap in (each for each in _PAGE_CAPS if each <= largest):
        broken = [part for line in lines for part in (wrapped(line, cap, wide) or [""])]
        widest = max(set_line(part, cap).advance for part in broken)
        if widest <= wide and cap * (LEADING * (len(broken) - 1) + 1) <= deep:
            break
    else:  # a platen too small for all of it: the beginning, large enough to be read
        most = max(1, int((deep / cap - 1) / LEADING) + 1)
        broken = broken if len(broken) <= most else [*broken[: most - 1], "…"]
    return Text((0.0, 0.0), "\n".join(broken), role, cap, (0.5, 0.5), height=height)
