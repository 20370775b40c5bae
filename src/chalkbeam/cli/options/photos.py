"""Photos of cards and pattern, with the height that each shows."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.rig import read_height
from chalkbeam.cli.parsing import RAISED

if TYPE_CHECKING:
    from calibration.rig.from_photos import CalibrationPhoto


def photos_with_heights(
    context: typer.Context, photos: list[Path], pairs: bool = False
) -> tuple[CalibrationPhoto, ...]:
    """Return photo files with the height that was typed before each, two and two if `pairs`."""
    from calibration.rig.from_photos import CalibrationPhoto

    heights: tuple[str, ...] = context.meta[RAISED]
    told = [(path, read_height(typed)) for path, typed in zip(photos, heights, strict=True)]
    if not pairs:
        return tuple(CalibrationPhoto(path, raised) for path, raised in told)
    found = []
    for raised, group in itertools.groupby(told, key=lambda each: each[1]):
        paths = [path for path, _ in group]
        if len(paths) % 2:
            raise Refusal(
                f"{paths[-1]} has no second photo: with --pairs name each photo of the cards and "
                "then the one of the pattern from the same place."
            )
        found += [
            CalibrationPhoto(one, raised, two)
            for one, two in zip(paths[::2], paths[1::2], strict=True)
        ]
    return tuple(found)
