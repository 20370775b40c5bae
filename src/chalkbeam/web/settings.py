"""Where the page is served, as the process of the light knows it without serving anything."""

from __future__ import annotations

import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from calibration.refusal import Refusal

if TYPE_CHECKING:
    from chalkbeam.web.setup.light import SetupLight

HERE = "127.0.0.1"
PORT = 8420


@dataclass(frozen=True)
class WebSettings:
    """Where the page is served.

    Attributes
    ----------
    port : int
        0 for any that is free.
    shared : bool
        Whether other devices of the shop's network reach it; else this machine alone does.
    light : callable or None
        Makes what lights the platen while the press is set up; None: a window on a display.
        Pickled with the rest.
    """

    port: int = PORT
    shared: bool = False
    light: Callable[[], SetupLight] | None = None

    @property
    def address(self) -> str:
        """What a browser is pointed to: another device's, where it is shared."""
        return f"http://{on_network() if self.shared else HERE}:{self.port}/"

    @property
    def hosts(self) -> frozenset[str]:
        """What this machine may be called in an address, with the port; lower case."""
        called = {HERE, "localhost"}
        if self.shared:
            host = socket.gethostname().lower()
            called |= {on_network(), host, f"{host}.local"}
        return frozenset(f"{each}:{self.port}" for each in called)


def settled(settings: WebSettings) -> WebSettings:
    """Return the settings with the port that is free for them now.

    Raises
    ------
    Refusal
        If the port is taken.
    """
    with listening(settings) as tried:
        return replace(settings, port=tried.getsockname()[1])


def listening(settings: WebSettings) -> socket.socket:
    """Return a socket bound to the port.

    Raises
    ------
    Refusal
        If the port is taken.
    """
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind(("0.0.0.0" if settings.shared else HERE, settings.port))
    except (OSError, OverflowError) as error:
        made.close()
        raise Refusal(
            f"The page cannot be served at port {settings.port} ({error}): perhaps it is open "
            "already; look there, or choose another port."
        ) from None
    return made


def on_network() -> str:
    """Return this machine's address on the shop's network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked, suppress(OSError):
        asked.connect(("192.0.2.1", 9))  # an address of nobody (RFC 5737): which way would it go?
        return str(asked.getsockname()[0])
    return HERE
