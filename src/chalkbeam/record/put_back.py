"""Tables that are changed so that each change can be taken back."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

_T = TypeVar("_T")


def put(table: dict[str, _T], key: str, value: _T) -> Callable[[], None]:
    """Set a value; return how to put back what was there."""
    back = _restore(table, key)
    table[key] = value
    return back


def take(table: dict[str, _T], key: str) -> Callable[[], None]:
    """Remove a value; return how to put it back."""
    back = _restore(table, key)
    table.pop(key, None)
    return back


def all_back(*undo: Callable[[], None]) -> Callable[[], None]:
    """Return how to take several changes back, the last one first."""

    def back() -> None:
        for each in reversed(undo):
            each()

    return back


def _restore(table: dict[str, _T], key: str) -> Callable[[], None]:
    if key in table:
        old = table[key]
        return lambda: table.__setitem__(key, old)
    return lambda: (table.pop(key, None), None)[-1]
