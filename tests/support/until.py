"""Waiting for what another thread or process does, however busy the machine is."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")

PATIENCE = 120.0
"""Longest wait, s: for what never comes, not for what comes late."""


def until(state: Callable[[], T], pause: float = 0.02) -> T:
    """Ask again and again until there is an answer that holds; return it."""
    ends = time.monotonic() + PATIENCE
    while time.monotonic() < ends:
        if found := state():
            return found
        time.sleep(pause)
    raise AssertionError("it has not come")
