"""Options under their former names, which work for one version more."""

from __future__ import annotations

from collections.abc import Sequence

RENAMED = {
    "--anew": "--start-over",
    "--no-board": "--no-operator-display",
}
"""Former names of options by the names that replaced them."""


def with_present_names(arguments: Sequence[str]) -> list[str]:
    """Return a command line with former names of options replaced by those of today."""
    return [RENAMED.get(word, word) for word in arguments]
