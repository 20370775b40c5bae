"""Names that were mistyped: those that may be meant, first."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

LIKE = 0.6
"""Ratio from which two names count as like each other, as `difflib` has it."""


def near(name: str, known: Sequence[str], most: int = 3) -> tuple[str, ...]:
    """Return the names that are like one that was mistyped, the likest first."""
    folded = {each.casefold().replace("_", "-"): each for each in known}
    wanted = name.casefold().replace("_", "-").replace(" ", "-")
    return tuple(folded[each] for each in difflib.get_close_matches(wanted, folded, most, LIKE))


def choices(name: str, known: Sequence[str], also: Sequence[str] = ()) -> str:
    """Return "did you mean “left-chest”? There are …", or "take one of …" where none is like it.

    Parameters
    ----------
    name : str
        As typed.
    known : sequence of str
        Every name there is.
    also : sequence of str
        Names that are understood besides, listed only where one of them is near.
    """
    like = near(name, (*known, *also))
    if not like:
        return f"take one of {', '.join(known)}"
    meant = " or ".join(f"“{each}”" for each in like)
    return f"did you mean {meant}? Take one of {', '.join(known)}"
