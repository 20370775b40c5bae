"""Options of a shift: at which press, and who is there."""

from __future__ import annotations

from typing import Annotated

import typer

RigsOption = Annotated[
    list[str] | None,
    typer.Option(
        "--rig", help="Rig file or name; the default one without. Repeat for more platens."
    ),
]
OperatorOption = Annotated[str, typer.Option(help="Who is at the press, for the record.")]
