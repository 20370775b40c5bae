"""The page's server: the application, and how it is run."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import h11
import uvicorn
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from calibration.refusal import Refusal
from chalkbeam.web import front, reports, rigs
from chalkbeam.web.doors import Door
from chalkbeam.web.orders import doors as orders
from chalkbeam.web.pairing import Codes, Devices
from chalkbeam.web.press import doors as press
from chalkbeam.web.press.link import PressLink, Start
from chalkbeam.web.security import Guard, GuardedDoor, Names
from chalkbeam.web.setup import doors as setup
from chalkbeam.web.setup.code_on_platen import CodeOnPlaten
from chalkbeam.web.setup.desk import SetupDesk
from chalkbeam.web.setup.eye import EyeDesk
from chalkbeam.web.setup.light import SetupLight, WindowLight
from chalkbeam.web.shelves import cloths, garments, locations, products
from chalkbeam.web.workshop import Workshop

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
    light : callable
        Makes what lights the platen while the press is set up; pickled with the rest.
    """

    port: int = PORT
    shared: bool = False
    light: Callable[[], SetupLight] = WindowLight

    @property
    def address(self) -> str:
        """What a browser is pointed to: another device's, where it is shared."""
        return f"http://{_on_network() if self.shared else HERE}:{self.port}/"

    @property
    def names(self) -> Names:
        """What this machine may be called."""
        called = {HERE, "localhost"}
        if self.shared:
            host = socket.gethostname().lower()
            called |= {_on_network(), host, f"{host}.local"}
        return Names(frozenset(f"{each}:{self.port}" for each in called))


def doors() -> list[Door]:
    """Return every door of the page, in the order of the menu: each part's are named here."""
    parts = (press, orders, setup, reports, garments, locations, products, cloths, rigs, front)
    return [door for part in parts for door in part.doors()]


def create_app(
    shop: Workshop,
    settings: WebSettings,
    more: Sequence[Door] = (),
    start: Start | None = None,
) -> Starlette:
    """Return the application.

    Parameters
    ----------
    shop : Workshop
    settings : WebSettings
        With the port that it is served at.
    more : sequence of Door
        Doors besides the usual ones; for tests.
    start : callable, optional
        How an order is begun at the press, as in `PressLink`.
    """
    devices = Devices(shop.data / "devices.json")
    every = [*doors(), *more]
    routes = [_route(each, shop, devices) for each in (*every, front.missing())]
    app = Starlette(routes=routes)
    app.state.doors, app.state.settings, app.state.shop = every, settings, shop
    app.state.devices, app.state.codes = devices, Codes()
    # One light at a time fills the projector.
    app.state.press = PressLink(start, lambda: app.state.setup.dark())
    app.state.setup = SetupDesk(
        shop.data / "setup", settings.light(), lambda: app.state.press.running
    )
    app.state.eye = EyeDesk(app.state.setup)
    app.state.code_on_platen = CodeOnPlaten(app.state.press, app.state.setup)
    return app


def _route(door: Door, shop: Workshop, devices: Devices) -> Route:
    return Route(door.path, GuardedDoor(door, shop, devices), methods=list(door.methods))


class _Protocol(H11Protocol):
    """HTTP as uvicorn has it, but for what goes wrong after the answer has begun: it is closed."""

    def send_400_response(self, msg: str) -> None:
        with suppress(h11.LocalProtocolError):
            super().send_400_response(msg)
            return
        self.transport.close()


class PageServer:
    """The page, served until it is stopped.

    Parameters
    ----------
    shop : Workshop
    settings : WebSettings
    more, start
        As in `create_app`.

    Attributes
    ----------
    settings : WebSettings
        With the port that it listens at.
    app : Starlette

    Raises
    ------
    Refusal
        If the port is taken.
    """

    def __init__(
        self,
        shop: Workshop,
        settings: WebSettings,
        more: Sequence[Door] = (),
        start: Start | None = None,
    ) -> None:
        self._socket = _listening(settings)
        self._socket.listen(128)  # who comes before it answers waits
        self.settings = replace(settings, port=self._socket.getsockname()[1])
        self.app = create_app(shop, self.settings, more, start)
        guarded: ASGIApp = Guard(self.app, self.settings.names)
        self._server = uvicorn.Server(
            uvicorn.Config(
                guarded,
                log_level="critical",
                access_log=False,
                ws="none",
                http=_Protocol,
                loop="asyncio",
                server_header=False,
                proxy_headers=False,
                timeout_graceful_shutdown=1,
                limit_concurrency=200,
                h11_max_incomplete_event_size=32 * 1024,
            )
        )
        self._thread: threading.Thread | None = None

    def key_address(self, name: str) -> str:
        """Return the address that lets a browser of this machine in, once, under a name."""
        key = self.app.state.codes.key(name)
        return f"http://{HERE}:{self.settings.port}/pair#key={key}"

    def code_address(self, code: str) -> str:
        """Return the address that pairs a device by a code; what a QR code holds."""
        return f"{self.settings.address}pair#code={code}"

    def run(self) -> None:
        """Serve until Ctrl-C; only from the main thread."""
        with suppress(KeyboardInterrupt):
            self._server.run(sockets=[self._socket])
        self.app.state.eye.stop()
        self.app.state.setup.end()

    def start(self) -> None:
        """Serve in a thread; return once it answers."""
        self._thread = threading.Thread(target=self.run, name="page", daemon=True)
        self._thread.start()
        while not self._server.started and self._thread.is_alive():
            self._thread.join(0.01)

    def end(self) -> None:
        """Let it come to its end; from any thread."""
        self.app.state.press.close()
        self._server.should_exit = True

    def stop(self) -> None:
        """Serve no longer; return once that is so."""
        self.end()
        if self._thread is not None:
            self._thread.join()
        self._socket.close()


def settled(settings: WebSettings) -> WebSettings:
    """Return the settings with the port that is free for them now.

    Raises
    ------
    Refusal
        If the port is taken.
    """
    with _listening(settings) as tried:
        return replace(settings, port=tried.getsockname()[1])


def _listening(settings: WebSettings) -> socket.socket:
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


def _on_network() -> str:
    """Return this machine's address on the shop's network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked, suppress(OSError):
        asked.connect(("192.0.2.1", 9))  # an address of nobody (RFC 5737): which way would it go?
        return str(asked.getsockname()[0])
    return HERE
