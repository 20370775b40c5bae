"""Options of where the page is served, and to whom."""

from __future__ import annotations

from typing import Annotated

import typer

ShareOption = Annotated[
    bool, typer.Option("--share", help="Let paired devices of the shop's network in, too.")
]
PortOption = Annotated[int, typer.Option(min=0, max=65535, help="Where the page is served.")]
BrowserOption = Annotated[
    bool, typer.Option("--no-browser", help="Open no browser; print where to look.")
]
