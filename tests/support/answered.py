"""What the program makes of bad input: an answer, or one sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from calibration.refusal import Refusal

Result = TypeVar("Result")


def answered(call: Callable[[], Result]) -> Result | str:
    """Return what a call gives, or the sentence of its refusal; anything else escapes."""
    try:
        return call()
    except Refusal as refusal:
        said = str(refusal)
    assert said.endswith((".", "”", "?"))
    assert "\n" not in said
    return said
