"""Options that name a garment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, cast

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, parse_length

if TYPE_CHECKING:
    from chalkbeam.garments import Fit, Garment

StyleOption = Annotated[str, typer.Option(help="Style, such as crew_tee or “Zip hood”.")]
SizeOption = Annotated[str, typer.Option(help="Size, such as M, 2XL, YM, 3T or 12M.")]
FitOption = Annotated[str, typer.Option(help="regular or womens.")]
UnitsOption = Annotated[Unit, typer.Option(help="What lengths are shown in.")]
MeasuredOption = Annotated[
    list[str] | None,
    typer.Option(help="A length taken on the piece, such as half_chest=20.5in; may be repeated."),
]


def read_measured(given: list[str] | None) -> dict[str, float]:
    """Return ``name=length`` options as mm by measure.

    Raises
    ------
    Refusal
        If one is not of that form.
    """
    measured = {}
    for text in given or []:
        name, equals, length = text.partition("=")
        if not equals:
            raise Refusal(f"“{text}” is not a measure: write it as half_chest=20.5in.")
        key = name.strip().lower().replace(" ", "_").replace("-", "_")
        if key in measured:
            raise Refusal(f"“{name.strip()}” is measured twice: give it once.")
        measured[key] = parse_length(length)
    return measured


def find_garment(style: str, size: str, fit: str, measured: list[str] | None) -> Garment:
    """Return the garment that options describe.

    Raises
    ------
    Refusal
        As `chalkbeam.garments.garment`.
    """
    from chalkbeam.garments import garment

    return garment(style, size, fit=cast("Fit", fit), measured=read_measured(measured))
