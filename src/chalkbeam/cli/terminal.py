"""The terminal: words are printed as they are, whatever people call their files and colours."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console


def terminal() -> Console:
    """Return the console to print on: no markup, no emoji codes, no colours guessed at."""
    from rich.console import Console

    return Console(highlight=False, markup=False, emoji=False)


def say_doing(what: str) -> None:
    """Say on standard error what takes a few seconds."""
    print(what, file=sys.stderr, flush=True)
