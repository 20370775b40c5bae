"""`chalkbeam page`: the shop's page, for a browser on this machine or on a paired device."""

from __future__ import annotations

import sys
from typing import Annotated

import typer


def serve_page(
    share: Annotated[
        bool, typer.Option("--share", help="Let paired devices of the shop's network in, too.")
    ] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Where it is served.")] = 8420,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Open no browser; print where to look.")
    ] = False,
) -> None:
    """Serve the shop's page, open it here and say where to point a phone; Ctrl-C ends it."""
    from chalkbeam.web.doors import Right
    from chalkbeam.web.server import PageServer, WebSettings
    from chalkbeam.web.words import t
    from chalkbeam.web.workshop import Workshop

    server = PageServer(Workshop.of_user(), WebSettings(port, share))
    own = server.key_address(t("pair.this_machine"))
    print(f"The page for this computer (once, within ten minutes): {own}")
    if share:
        code = server.app.state.codes.offer(Right.PRESS)
        print(f"For a phone or tablet: {server.settings.address} and the code {code}, or point")
        print("its camera here, within two minutes; Devices on the page shows another code.")
        _print_code(server.code_address(code))
    else:
        print("To let phones and tablets in: chalkbeam page --share", file=sys.stderr)
    print("Ctrl-C ends it.", file=sys.stderr, flush=True)
    if not no_browser:
        import webbrowser

        webbrowser.open(own)
    server.run()


def _print_code(address: str) -> None:
    """Print a QR code, where what is printed goes to a screen."""
    import segno

    if sys.stdout.isatty():
        segno.make(address, error="l", micro=False).terminal(compact=True, border=2)


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("page")(serve_page)
