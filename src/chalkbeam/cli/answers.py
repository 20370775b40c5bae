"""Answers for other programs: JSON whose every number can be of a garment, a press or a picture."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator

from calibration.refusal import Refusal

LARGEST = 1e6
"""Beyond it no length in mm, angle in degrees or pixel of an answer can be."""


def print_json(value: object) -> None:
    """Print an answer as JSON.

    Raises
    ------
    Refusal
        If a number in it has no end or cannot be: something that it rests on is damaged.
    """
    check_numbers(value)
    print(json.dumps(value, indent=1, ensure_ascii=False))


def check_numbers(value: object) -> None:
    """Refuse an answer with a number that cannot be."""
    for where, number in _numbers("answer", value):
        if not (math.isfinite(number) and abs(number) <= LARGEST):
            raise Refusal(
                f"The {where} comes out as {number:g}, which cannot be: check the rig and the "
                "sizes that it rests on."
            )


def _numbers(where: str, value: object) -> Iterator[tuple[str, float]]:
    if isinstance(value, dict):
        for key, each in value.items():
            yield from _numbers(str(key), each)
    elif isinstance(value, list | tuple):
        for each in value:
            yield from _numbers(where, each)
    elif isinstance(value, int | float):
        yield where, float(value)
