"""The parts of the page, in the order of the menu: each is imported when it is first opened.

While an order is pressed most are never asked for, and together they are forty megabytes of code.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import anyio
from starlette.routing import BaseRoute, Match, Router
from starlette.types import Receive, Scope, Send

from chalkbeam.web.doors import Door, Right


@dataclass(frozen=True)
class Part:
    """A part of the page.

    Attributes
    ----------
    name : str
        First word of all its addresses, and of its texts in the menu: `menu.…`, and with
        `_about` what it is for.
    module : str
        Where its function `doors` is.
    right : Right
        What its first page asks of a visitor.
    """

    name: str
    module: str
    right: Right = Right.SEE

    def doors(self) -> list[Door]:
        """Return its doors."""
        found: list[Door] = importlib.import_module(self.module).doors()
        return found


PARTS = (
    Part("press", "chalkbeam.web.press.doors"),
    Part("orders", "chalkbeam.web.orders.doors"),
    Part("board", "chalkbeam.web.board"),
    Part("setup", "chalkbeam.web.setup.doors", Right.SET_UP),
    Part("reports", "chalkbeam.web.reports"),
    Part("garments", "chalkbeam.web.shelves.garments"),
    Part("locations", "chalkbeam.web.shelves.locations"),
    Part("transfers", "chalkbeam.web.shelves.products"),
    Part("fabrics", "chalkbeam.web.shelves.cloths"),
    Part("rigs", "chalkbeam.web.rigs"),
    Part("devices", "chalkbeam.web.devices"),
)


class PartRoute(BaseRoute):
    """The way to a part.

    Parameters
    ----------
    part : Part
    route : callable
        Makes the routes of its doors, one that takes what is left among them.
    """

    def __init__(self, part: Part, route: Callable[[list[Door]], Sequence[BaseRoute]]) -> None:
        self._part, self._route = part, route
        self._router: Router | None = None

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Tell whether an address is one of this part's."""
        here = scope["type"] == "http" and scope["path"].split("/")[1:2] == [self._part.name]
        return (Match.FULL if here else Match.NONE), {}

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, once the part is imported."""
        if self._router is None:
            self._router = await anyio.to_thread.run_sync(self._opened)
        await self._router(scope, receive, send)

    def _opened(self) -> Router:
        return Router(self._route(self._part.doors()))
