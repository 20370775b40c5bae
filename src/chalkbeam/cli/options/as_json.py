"""The option for answers that a program reads."""

from __future__ import annotations

from typing import Annotated

import typer

JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON, lengths in mm.")]
