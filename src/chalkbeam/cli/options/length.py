"""Options that are a length."""

from __future__ import annotations

from chalkbeam.basics.units import parse_length


def read_length(text: str | None) -> float | None:
    """Return a length as typed, mm; None where none is."""
    return None if text is None else parse_length(text)
