"""What the light says, in the page's language: of the values at the press those that are words."""

from __future__ import annotations

import re
from typing import Any

from chalkbeam.web.words import say

WORDS = ("heading", "piece", "whose", "where", "fitting", "lie", "settings", "prepress",
         "meanwhile", "afterwards", "moved", "remark", "trouble", "time")  # fmt: skip
"""Values that are one sentence, or a list in one."""

_NUMBER = re.compile(r"(\d  )?(.*)", re.DOTALL)
"""An answer's number stands before its words."""


def spoken(values: dict[str, Any]) -> dict[str, Any]:
    """Return the values of the page at the press in its language."""
    found: dict[str, Any] = {name: say(values[name]) for name in WORDS if values.get(name)}
    for name in ("coming", "results"):
        found[name] = [[say(each) for each in row] for row in values.get(name, ())]
    found["cooling"] = [[say(what), left] for what, left in values.get("cooling", ())]
    found["locations"] = [[say(name), here] for name, here in values.get("locations", ())]
    found["warnings"] = [[weight, say(said)] for weight, said in values.get("warnings", ())]
    found["asked"] = [_answer(each) for each in values.get("asked", ())]
    return values | found


def _answer(words: str) -> str:
    number, said = _NUMBER.fullmatch(words).groups("")  # type: ignore[union-attr]
    return number + say(said)
