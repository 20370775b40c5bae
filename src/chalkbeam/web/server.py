"""The page's server: the application, and how it is run."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import h11
import uvicorn
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from calibration.refusal import Refusal
from chalkbeam.web import front
from chalkbeam.web.desks import Desks
from chalkbeam.web.doors import Door
from chalkbeam.web.pairing import Devices
from chalkbeam.web.parts import PARTS, PartRoute
from chalkbeam.web.press.link import Start
from chalkbeam.web.security import Guard, GuardedDoor, Names
from chalkbeam.web.settings import HERE, WebSettings, listening
from chalkbeam.web.workshop import Workshop


def doors() -> list[Door]:
    """Return every door of the page."""
    return [*(door for part in PARTS for door in part.doors()), *front.doors()]


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

    def route(given: Sequence[Door]) -> list[Route]:
        return [_route(each, shop, devices) for each in (*given, front.missing())]

    parts = [PartRoute(part, route) for part in PARTS]
    app = Starlette(routes=[*parts, *route([*front.doors(), *more])])
    app.state = Desks(shop, settings, devices, start)
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


def _bound(settings: WebSettings) -> socket.socket:
    made = listening(settings)
    made.listen(128)  # who comes before it answers waits
    return made


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
        kept = Devices(shop.data / "devices.json").shared
        settings = replace(settings, shared=settings.shared or kept)
        self._socket = _bound(settings)
        settings = replace(settings, port=self._socket.getsockname()[1])
        self.app = create_app(shop, settings, more, start)
        self.app.state.share = self._share
        guarded: ASGIApp = Guard(self.app, Names(lambda: self.settings.hosts))
        self._config = uvicorn.Config(
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
        self._server = uvicorn.Server(self._config)
        self._thread: threading.Thread | None = None

    @property
    def settings(self) -> WebSettings:
        """As they are now, with the port that it listens at."""
        now: WebSettings = self.app.state.settings
        return now

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
        self.app.state.end()

    def start(self) -> None:
        """Serve in a thread; return once it answers."""
        self._thread = threading.Thread(target=self.run, name="page", daemon=True)
        self._thread.start()
        while not self._server.started and self._thread.is_alive():
            self._thread.join(0.01)

    async def _share(self, shared: bool) -> None:
        """Listen to the shop's network from now on, or to this machine alone.

        What is bound to this machine cannot be heard from elsewhere, whatever else may be wrong:
        so the socket is another one, at the same port. Who is in stays in.

        Raises
        ------
        Refusal
            If it is in no network, or the port is not free there; then all is as before.
        """
        before, wanted = self.settings, replace(self.settings, shared=shared)
        if shared and HERE in wanted.address:
            raise Refusal(
                "This computer is in no network: have it join the shop's own, then try once more."
            )
        self._server.servers.pop().close()  # the port cannot be bound twice
        try:
            self._socket = _bound(wanted)
            self.app.state.settings = wanted
        except Refusal:
            self._socket = _bound(before)
            raise
        finally:
            loop = asyncio.get_running_loop()
            self._server.servers.append(await loop.create_server(self._protocol, sock=self._socket))
        if not shared:
            for each in list(self._server.server_state.connections):
                if each.transport.get_extra_info("peername")[0] != HERE:
                    each.transport.close()

    def _protocol(self) -> _Protocol:
        state = self._server.lifespan.state
        return _Protocol(self._config, self._server.server_state, app_state=state)

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
