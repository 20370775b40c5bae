"""What a page is made of: a door (address, right, answer), and the visit that comes to it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from chalkbeam.web.workshop import Workshop

FORM = 64 * 1024
"""Bytes of a form without files; a door that takes more says so."""


class Right(Enum):
    """What a device may do; each includes those before it."""

    SEE = "see"
    """Look at everything, change nothing."""
    PRESS = "press"
    """Work the press, too."""
    SET_UP = "set_up"
    """Change the shop's things, and who may do what."""

    def covers(self, asked: Right) -> bool:
        """Whether who has this right may do what is `asked`."""
        order = tuple(Right)
        return order.index(self) >= order.index(asked)


@dataclass(frozen=True)
class Device:
    """A browser that was let in.

    Attributes
    ----------
    id : str
        Names it in lists and forms; lets nobody in.
    name : str
        As its user calls it.
    right : Right
    digest : str
        SHA-256 of the secret in its cookie; the secret itself is kept by the browser alone.
    paired : str
        When, ISO 8601, UTC.
    """

    id: str
    name: str
    right: Right
    digest: str
    paired: str


@dataclass(frozen=True)
class Visit:
    """A request that was let in.

    Attributes
    ----------
    shop : Workshop
    device : Device or None
        Whose it is; None at a door that is open to all.
    form : FormData
        What was sent by a form, files among it; empty if nothing was.
    sent : dict
        What was sent as JSON; empty if nothing was.
    token : str
        Stands in every form of the answer, in the field `token`; a script sends it as the
        header `X-Token`.
    request : Request
    """

    shop: Workshop
    device: Device | None
    request: Request
    form: FormData = field(default_factory=FormData)
    sent: Mapping[str, Any] = field(default_factory=dict)
    token: str = ""

    @property
    def path(self) -> Mapping[str, Any]:
        """What stands in the address for the names in the door's path."""
        return self.request.path_params

    @property
    def query(self) -> Mapping[str, str]:
        """What follows the question mark."""
        return self.request.query_params

    @property
    def app(self) -> Any:
        """What the parts of the page share while it runs: an attribute each."""
        return self.request.app.state

    def may(self, right: Right) -> bool:
        """Whether its device may do something."""
        return self.device is not None and self.device.right.covers(right)

    def text(self, name: str, most: int = 200) -> str:
        """Return a line of the form without blanks around it, cut after `most` letters.

        Without what nobody sees, too: line ends, NUL, halves of letters.
        """
        value = self.form.get(name)
        if not isinstance(value, str):
            return ""
        return "".join(letter for letter in value if letter.isprintable()).strip()[:most]


Answer = Callable[[Visit], Response | Awaitable[Response]]
"""Answers a visit. A plain function is called in a thread, and may take its time; one that is
`async` must not."""


@dataclass(frozen=True)
class Door:
    """An address of the page.

    Attributes
    ----------
    path : str
        As Starlette writes it: "/orders/{name}".
    answer : callable
    right : Right or None
        What a visitor must be allowed; None: open to all, paired or not.
    methods : tuple of str
    most : int
        Bytes that a visit may bring.
    """

    path: str
    answer: Answer
    right: Right | None
    methods: tuple[str, ...] = ("GET",)
    most: int = FORM
