"""The question about a scanner's danger, asked each time, and options about it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.cautions import SCANNER

if TYPE_CHECKING:
    from chalkbeam.lasers.scanner import ScannerUnit

ScannerOption = Annotated[
    Path, typer.Option("--scanner", help="File of the scanner: class, points a second, angle, …")
]


def ask_class(unit: ScannerUnit) -> None:
    """Ask whether the scanner is what its file says; no option answers it beforehand.

    Raises
    ------
    Refusal
        If the answer is anything but yes.
    """
    print(SCANNER, file=sys.stderr)
    print(
        f"Does the maker of “{unit.name}” state class {unit.class_at_rest} for the beam STANDING "
        "STILL, is the unit unaltered, and does its interlock work? Type yes: ",
        end="", file=sys.stderr, flush=True,
    )  # fmt: skip
    answer = sys.stdin.readline().strip().casefold()
    if answer != "yes":
        raise Refusal(
            "Nothing was written: a frame is made only for a unit of which that is known. Its "
            "label and its manual say it."
        )
