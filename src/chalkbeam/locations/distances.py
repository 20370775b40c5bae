"""The distances in a location's file, changed in its own text: what else stands there stays."""

from __future__ import annotations

import re

from chalkbeam.garments.model import Age
from chalkbeam.locations.schema import Band

_HEAD = re.compile(r"(?m)^\[\[rule\]\][^\n]*\n")
_TABLE = re.compile(r"(?m)^\[")
_BY = r"(?m)^by{age}[ \t]*=[ \t]*(?P<value>\[[^\]\n]*\]|\"[^\"\n]*\")"


def place_of(text: str, rule: int, age: Age) -> tuple[int, int] | None:
    """Return where in a file's text a rule's distance stands; None where it is on no line alone.

    Parameters
    ----------
    text : str
    rule : int
        Its place among the rules, from 0.
    age : str
        Where the ages share one distance, that.
    """
    heads = list(_HEAD.finditer(text))
    if not 0 <= rule < len(heads):
        return None
    start = heads[rule].end()
    after = _TABLE.search(text, start)  # of the next rule, or of how the distance grows
    part = text[start : after.start() if after else len(text)]
    found = re.search(_BY.replace("{age}", rf"\.{age}"), part)
    found = found or re.search(_BY.replace("{age}", ""), part)
    return None if found is None else (start + found.start("value"), start + found.end("value"))


def with_distance(text: str, rule: int, age: Age, band: Band) -> str:
    """Return a file's text with another distance in a rule; millimetres, as they are typed.

    Raises
    ------
    KeyError
        If the rule has no distance that stands on a line alone.
    """
    place = place_of(text, rule, age)
    if place is None:
        raise KeyError(rule)
    low, usual, high = (f'"{each:g} mm"' for each in (band.low, band.usual, band.high))
    value = usual if low == usual == high else f"[{low}, {usual}, {high}]"
    return text[: place[0]] + value + text[place[1] :]
