"""How the page is opened from the command line: in the browser here, its address and code told."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.web.settings import PORT

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


def page_beside(
    port: int,
    share: bool,
    record: Path | None,
    browser: bool = True,
    wanted: bool | None = True,
) -> OpenBeside:
    """Return what opens the page beside the light.

    Where nobody says whether it is `wanted` (None), it is if there is a display for it. At the
    usual port another page may be open: then any free one does.
    """

    def open_beside(number: int | None) -> Beside | None:
        from chalkbeam.cli.run_at_press import several_displays

        if wanted is False or (wanted is None and number is not None and not several_displays()):
            return None
        from chalkbeam.web.beside_the_light import beside_the_light
        from chalkbeam.web.settings import WebSettings, settled
        from chalkbeam.web.workshop import Workshop

        settings = WebSettings(port, share)
        try:
            settings = settled(settings)
        except Refusal:
            if port != PORT:
                raise
            settings = settled(replace(settings, port=0))
        return beside_the_light(
            Workshop.of_user(record), settings, lambda own: tell_and_open(own, browser)
        )

    return open_beside
