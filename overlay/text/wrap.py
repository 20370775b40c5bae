"""The breaking of lines of text."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator

import numpy as np

from overlay.text.typeface import advance

_GLUED = re.compile(
    r"(?<=\d) (?=(?:in|mm|cm|s|%)\b|of \d|x \d|\d+/\d)|(?<=\d x) (?=\d)|(?<=\d of) (?=\d)"
    r"|(?<=adult) |(?<=youth) |(?<=^\d) "
)
"""Blanks at which no line is broken: inside lengths, sizes and counts."""


def wrapped(text: str, cap: float, room: float) -> list[str]:
    """Break text at blanks and hyphens into lines no longer than `room`, mm, if that is enough."""
    lines: list[str] = []
    for glued in _GLUED.sub("\0", " ".join(text.split())).split():
        word = glued.replace("\0", " ")
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and cap * advance(longer) <= room:
            lines[-1] = longer
        elif cap * advance(word) <= room or "-" not in word[1:-1]:
            lines.append(word)
        else:
            lines += _at_hyphens(word, cap, room)
    return lines


def _at_hyphens(word: str, cap: float, room: float) -> list[str]:
    lines = [""]
    for part in re.findall(r"[^-]*-|[^-]+", word):
        if lines[-1] and cap * advance(lines[-1] + part) > room:
            lines.append("")
        lines[-1] += part
    return lines


@functools.lru_cache(maxsize=1024)
def balanced(text: str, cap: float, room: float) -> tuple[str, ...]:
    """Break text at blanks into as few lines as `wrapped` does, none much shorter than the rest."""
    best = wrapped(text, cap, room)
    if len(best) > 1:
        for narrower in np.linspace(room, room / 2, 12)[1:]:
            other = wrapped(text, cap, float(narrower))
            if len(other) > len(best):
                break
            best = other
    return tuple(best)


def shortened(text: str, cap: float, room: float) -> str:
    """Return as much of the text as is no longer than `room`, mm, and an ellipsis for the rest."""
    if cap * advance(text) <= room:
        return text
    return next(_shorter(text, cap, room), "…")


def _shorter(text: str, cap: float, room: float) -> Iterator[str]:
    for end in range(len(text) - 1, 0, -1):
        shorter = text[:end].rstrip() + "…"
        if cap * advance(shorter) <= room:
            yield shorter
