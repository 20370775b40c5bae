"""Which way each character of a line of text runs, by Unicode's bidirectional algorithm.

Unicode Standard Annex #9, for one line without explicit formatting characters (`STEERING`),
which have no effect here. Rules are named as there. HarfBuzz does not do this: it sets one
run at a time.
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Iterator
from typing import Literal

Direction = Literal["ltr", "rtl"]

STEERING = frozenset({"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"})
"""Bidirectional classes of the characters that steer direction by hand."""

_LETTER = {
    "L": "L", "R": "R", "AL": "A", "EN": "E", "AN": "N", "ES": "S", "CS": "C", "ET": "T",
    "NSM": "M", **dict.fromkeys(("BN", *STEERING), "B"),
}  # fmt: skip
"""One letter for each class that the rules tell apart; all others are neutral, O."""

_TURNS = re.compile(
    "[\u0590-\u08ff\u200f\ufb1d-\ufdff\ufe70-\ufeff\U00010800-\U00010fff\U0001e800-\U0001efff]"
)
"""The blocks of Unicode that are for what is written from right to left."""

_BRACKETS = {"(": ")", "[": "]", "{": "}"}
"""Rule N0 is for these pairs; other brackets go with what stands around them."""


def goes_left(text: str) -> bool:
    """Return whether any of a line is written from right to left."""
    return _TURNS.search(text) is not None


def base_direction(text: str) -> Direction:
    """Return the direction of the first letter that has one: rules P2 and P3."""
    first = next((c for c in map(unicodedata.bidirectional, text) if c in {"L", "R", "AL"}), "L")
    return "ltr" if first == "L" else "rtl"


def visual_runs(text: str, base: Direction) -> list[tuple[int, int, Direction]]:
    """Return the runs of a line from left to right as they are shown.

    Parameters
    ----------
    text : str
        One line, in the order in which it is read.
    base : {"ltr", "rtl"}
        Direction of the line as a whole.

    Returns
    -------
    list of (int, int, {"ltr", "rtl"})
        Start and end in `text`, and which way the characters in between run.
    """
    if base == "ltr" and not goes_left(text):
        return [(0, len(text), "ltr")]
    level = int(base == "rtl")
    levels = _levels(text, level)
    runs: list[tuple[int, int, int]] = []
    for each, alike in itertools.groupby(levels):
        start = runs[-1][1] if runs else 0
        runs.append((start, start + len([*alike]), each))
    for turned in range(max(levels, default=0), 0, -1):  # L2
        runs = list(_turned(runs, turned))
    return [(start, end, "rtl" if each % 2 else "ltr") for start, end, each in runs]


def _turned(runs: list[tuple[int, int, int]], level: int) -> Iterator[tuple[int, int, int]]:
    """Yield runs with every stretch at or above a level turned round."""
    stretch: list[tuple[int, int, int]] = []
    for run in runs:
        if run[2] >= level:
            stretch.append(run)
            continue
        yield from reversed(stretch)
        stretch = []
        yield run
    yield from reversed(stretch)


def _levels(text: str, base: int) -> list[int]:
    """Return the embedding level of each character of a line whose own level is `base`."""
    given = "".join(_LETTER.get(unicodedata.bidirectional(c) or "L", "O") for c in text)
    kept = [index for index, each in enumerate(given) if each != "B"]  # X9
    found = _resolved("".join(text[i] for i in kept), "".join(given[i] for i in kept), "LR"[base])
    higher = {"L": base, "R": 1 - base, "E": 2 - base, "N": 2 - base}  # I1, I2
    levels = dict(zip(kept, (base + higher[each] for each in found), strict=True))
    end = len(text.rstrip())  # L1
    for index, each in enumerate(given):
        if index >= end or each == "B":
            levels[index] = base if index >= end else levels.get(index - 1, base)
    return [levels[index] for index in range(len(text))]


def _resolved(text: str, given: str, base: str) -> str:
    """Return each character's class, one of L, R, E and N: rules W1 to N2.

    A class is a letter of `_LETTER`; `base` stands before the line and after it.
    """
    found = re.sub("^M+", lambda m: base * len(m[0]), given)
    found = re.sub("(.)M+", lambda m: m[1] * len(m[0]), found)  # W1
    found = re.sub("A[^LR]*", lambda m: m[0].replace("E", "N"), found)  # W2
    found = found.replace("A", "R")  # W3
    found = re.sub("(?<=E)[SC](?=E)", "E", found)  # W4
    found = re.sub("(?<=N)C(?=N)", "N", found)
    found = re.sub("T*E[ET]*", lambda m: "E" * len(m[0]), found)  # W5
    found = re.sub("[STC]", "O", found)  # W6
    found = re.sub("(^|L)[^LR]*", lambda m: _numbers(m, base), found)  # W7
    found = _bracketed(text, given, found, base)  # N0

    def between(match: re.Match[str]) -> str:
        before = match.string[match.start() - 1] if match.start() else base
        after = match.string[match.end()] if match.end() < len(found) else base
        sides = {"L" if side == "L" else "R" for side in (before, after)}  # N1, N2
        return (sides.pop() if len(sides) == 1 else base) * len(match[0])

    return re.sub("O+", between, found)


def _numbers(match: re.Match[str], base: str) -> str:
    """Return a stretch whose last letter, or the line's own direction, is L: its numbers are L."""
    return match[0].replace("E", "L") if match[1] or base == "L" else match[0]


def _bracketed(text: str, given: str, found: str, base: str) -> str:
    """Return classes with pairs of brackets going with the letters that they enclose: rule N0.

    What combines with a bracket goes with it.
    """
    classes = list(found)
    for start, end in _pairs(text, found):
        strong = {"L" if each == "L" else "R" for each in classes[start + 1 : end] if each != "O"}
        if not strong:
            continue
        before = next((each for each in reversed(classes[:start]) if each != "O"), base)
        outside = "L" if before == "L" else "R"
        for bracket in (start, end):
            after = len(given) - len(given[bracket + 1 :].lstrip("M"))
            classes[bracket:after] = [base if base in strong else outside] * (after - bracket)
    return "".join(classes)


def _pairs(text: str, found: str) -> list[tuple[int, int]]:
    """Return the places of brackets that belong together, by their openings."""
    opened: list[tuple[str, int]] = []
    pairs = []
    for index, character in enumerate(text):
        if found[index] != "O":
            continue
        if character in _BRACKETS:
            opened.append((_BRACKETS[character], index))
        elif any(character == closing for closing, _ in opened):
            while opened[-1][0] != character:
                opened.pop()
            pairs.append((opened.pop()[1], index))
    return sorted(pairs)
