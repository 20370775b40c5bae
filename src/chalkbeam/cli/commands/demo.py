"""`chalkbeam demo`: from sample photos to light on garments, without hardware."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from chalkbeam.cli.options.page import BrowserOption, PortOption
from chalkbeam.web.settings import PORT

if TYPE_CHECKING:
    from calibration.rig.file import Rig


def show_demo(
    out: Annotated[Path, typer.Option(help="Folder for the rig file and the pictures.")] = Path(
        "demo-out"
    ),
    window: Annotated[
        bool, typer.Option("--window", help="Then work the order in a window.")
    ] = False,
    page: Annotated[
        bool, typer.Option("--page", help="Then open the page, on a press in software.")
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
        _open_page(rig, out, port, not no_browser)
    elif window:
        demo.open_window(rig)
    else:
        print(
            "To set a press up and press an order on the page, without hardware: make demo "
            f"PAGE=1, or chalkbeam demo --page --out {out}"
        )


def _open_page(rig: Rig, out: Path, port: int, browser: bool) -> None:
    """Open the page of a shop of its own in the demo's folder: nothing of the user's is touched."""
    from calibration.files import resolved
    from calibration.rig import library
    from calibration.rig.file import save
    from chalkbeam.cli.open_page import tell_and_open
    from chalkbeam.cli.run_for_page import light_in_window
    from chalkbeam.simulator.set_up_light import SimulatedLight
    from chalkbeam.simulator.tern_harbour import write_sample
    from chalkbeam.web.server import PageServer
    from chalkbeam.web.settings import WebSettings
    from chalkbeam.web.words import t
    from chalkbeam.web.workshop import Workshop

    os.environ["XDG_DATA_HOME"] = str(resolved(out / "shop"))  # read by every process of the page
    shop = Workshop.of_user()
    save(rig, library.place(rig.name))
    if library.default() is None:
        library.set_default(rig.name)
    order = shop.orders / "tern-harbour-regatta"
    if not order.exists():  # else it may have been worked on
        write_sample(order)
    settings = WebSettings(port, light=SimulatedLight)
    server = PageServer(shop, settings, start=light_in_window)
    print("Orders has the sample order, to be pressed with the light in a window; Set up has a")
    print("simulated press. Ctrl-C ends it.")
    tell_and_open(server.key_address(t("pair.this_machine")), browser)
    server.run()


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("demo")(show_demo)
