"""`chalkbeam page`: the shop's page, for a browser on this machine or on a paired device."""

from __future__ import annotations

import sys

import typer

from chalkbeam.cli.options.page import BrowserOption, PortOption, ShareOption
from chalkbeam.web.settings import PORT


def serve_page(
    share: ShareOption = False, port: PortOption = PORT, no_browser: BrowserOption = False
) -> None:
    """Serve the shop's page, open it here and say where to point a phone; Ctrl-C ends it."""
    from chalkbeam.cli.open_page import print_code, tell_and_open
    from chalkbeam.cli.run_for_page import light_for_page
    from chalkbeam.web.doors import Right
    from chalkbeam.web.server import PageServer
    from chalkbeam.web.settings import WebSettings
    from chalkbeam.web.words import t
    from chalkbeam.web.workshop import Workshop

    server = PageServer(Workshop.of_user(), WebSettings(port, share), start=light_for_page)
    if server.settings.shared:
        code = server.app.state.codes.offer(Right.PRESS)
        print(f"For a phone or tablet: {server.settings.address} and the code {code}, or point")
        print("its camera here, within two minutes; Devices on the page shows another code.")
        print_code(server.code_address(code))
    else:
        print("To let phones and tablets in, open Devices on the page.", file=sys.stderr)
    tell_and_open(server.key_address(t("pair.this_machine")), browser=not no_browser)
    print("Ctrl-C ends it.", file=sys.stderr, flush=True)
    server.run()


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("page")(serve_page)
