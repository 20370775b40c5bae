"""`chalkbeam demo`: from sample photos to light on garments, without hardware."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from chalkbeam.cli.options.page import PORT, BrowserOption, PortOption


def show_demo(
    out: Annotated[Path, typer.Option(help="Folder for the rig file and the pictures.")] = Path(
        "demo-out"
    ),
    window: Annotated[
        bool, typer.Option("--window", help="Then work the order in a window.")
    ] = False,
    page: Annotated[
        bool, typer.Option("--page", help="Then work an order on the page, its light in a window.")
    ] = False,
    samples: Annotated[
        Path | None, typer.Option(help="Folder of the sample photos, if not the source's own.")
    ] = None,
    port: PortOption = PORT,
    no_browser: BrowserOption = False,
) -> None:
    """Show the whole of it without hardware: sample photos, a rig, an order, light on cloth."""
    from chalkbeam.simulator import demo

    rig, _ = demo.run(out, print, samples)
    if page:
        _work_on_page(out, port, not no_browser)
    elif window:
        demo.open_window(rig)
    else:
        print(
            "To press an order on the page, its light in a window: make demo PAGE=1, or "
            f"chalkbeam demo --page --out {out}"
        )


def _work_on_page(out: Path, port: int, browser: bool) -> None:
    from chalkbeam.cli.open_page import page_beside
    from chalkbeam.cli.run_at_press import RunOptions, run_at_press
    from chalkbeam.simulator.set_up_light import SimulatedLight
    from chalkbeam.simulator.tern_harbour import write_sample

    sheet, record = write_sample(out / "tern-harbour"), out / "record.db"
    asked = RunOptions(sheet, rig=(str(out / "rig.json"),), window=True, record=record)
    run_at_press(asked, page_beside(port, False, record, browser, light=SimulatedLight))


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("demo")(show_demo)
