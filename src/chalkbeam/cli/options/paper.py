"""Options about paper to print on."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer


class Paper(StrEnum):
    """Size of the paper in the printer."""

    LETTER = "letter"
    A4 = "a4"


PaperOption = Annotated[Paper, typer.Option(help="Paper size.")]
