"""The page of a run that was begun without one: its server is a child of the light's process."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING

from calibration.refusal import Refusal
from chalkbeam.web.settings import WebSettings
from chalkbeam.web.workshop import Workshop

if TYPE_CHECKING:  # the child draws nothing
    from chalkbeam.web.press.beside import PageBeside
    from chalkbeam.web.press.link import PressLink


def beside_the_light(
    shop: Workshop, settings: WebSettings, opened: Callable[[str], None]
) -> PageBeside:
    """Return a page whose server is a child of this process, started again where it ends.

    Parameters
    ----------
    shop : Workshop
    settings : WebSettings
        As `settled`: a server that is started again is found at the same address.
    opened : callable
        Is told, once, the address that lets a browser of this machine in.
    """
    from chalkbeam.web.press.beside import PageBeside

    context = multiprocessing.get_context("spawn")
    given: dict[str, bool] = {"first": True}

    def connect() -> Connection:
        here, there = context.Pipe()
        process = context.Process(
            target=serve_beside, args=(there, shop, settings), name="page", daemon=True
        )
        process.start()
        there.close()
        return here

    def tell(address: str) -> None:
        if given.pop("first", False):  # browsers that are in stay in
            opened(address)

    return PageBeside(connect, tell)


def serve_beside(connection: Connection, shop: Workshop, settings: WebSettings) -> None:
    """Serve the page of a run, in a process of its own, until the light ends."""
    # Not in the light's own process, which serves nothing.
    from chalkbeam.web.server import PageServer
    from chalkbeam.web.words import t

    with suppress(Refusal, KeyboardInterrupt):
        server = PageServer(shop, settings)
        link: PressLink = server.app.state.press
        link.attach(connection, server.end)
        link.say(("opened", server.key_address(t("pair.this_machine"))))
        server.run()
