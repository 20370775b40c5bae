"""How the page is opened from the command line: in the browser here, its address and code told."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chalkbeam.cli.run_at_press import OpenBeside
    from chalkbeam.station.host import Beside


def tell_and_open(own: str, browser: bool = True) -> None:
    """Say where this computer's browser is let in, and open it there."""
    print(f"The page, for this computer (once, within ten minutes): {own}", flush=True)
    if browser:
        import webbrowser

        webbrowser.open(own)


def print_code(address: str) -> None:
    """Print a QR code, where what is printed goes to a screen."""
    import segno

    if sys.stdout.isatty():
        segno.make(address, error="l", micro=False).terminal(compact=True, border=2)


def page_beside(port: int, share: bool, record: Path | None, browser: bool = True) -> OpenBeside:
    """Return what opens the page beside the light."""

    def open_beside(number: int | None) -> Beside:
        from chalkbeam.web.beside_the_light import beside_the_light
        from chalkbeam.web.server import WebSettings
        from chalkbeam.web.workshop import Workshop

        del number  # a browser goes where its user puts it
        settings = WebSettings(port, share)
        return beside_the_light(
            Workshop.of_user(record), settings, lambda own: tell_and_open(own, browser)
        )

    return open_beside
