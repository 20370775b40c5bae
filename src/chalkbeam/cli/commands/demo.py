"""`chalkbeam demo`: from sample photos to light on garments, without hardware."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def show_demo(
    out: Annotated[Path, typer.Option(help="Folder for the rig file and the pictures.")] = Path(
        "demo-out"
    ),
    window: Annotated[
        bool, typer.Option("--window", help="Then work the order in a window.")
    ] = False,
    samples: Annotated[
        Path | None, typer.Option(help="Folder of the sample photos, if not the source's own.")
    ] = None,
) -> None:
    """Show the whole of it without hardware: sample photos, a rig, an order, light on cloth."""
    from chalkbeam.simulator import demo

    rig, _ = demo.run(out, print, samples)
    if window:
        demo.open_window(rig)


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("demo")(show_demo)
