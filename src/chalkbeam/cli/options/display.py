"""Options that choose a display."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    pass

DisplayOption = Annotated[
    int | None, typer.Option(help="Number of the projector's display; see chalkbeam displays.")
]
WindowOption = Annotated[
    bool, typer.Option("--window", help="An ordinary window in place of the projector.")
]
