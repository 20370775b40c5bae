"""What the parts of the page share while it is served."""

from __future__ import annotations

import threading
from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any, TypeVar, cast

from starlette.datastructures import State

from chalkbeam.web.pairing import Codes, Devices
from chalkbeam.web.press.link import PressLink, Start
from chalkbeam.web.settings import WebSettings
from chalkbeam.web.shared_queue import ShopQueue
from chalkbeam.web.workshop import Workshop

if TYPE_CHECKING:
    from chalkbeam.web.setup.code_on_platen import CodeOnPlaten
    from chalkbeam.web.setup.desk import SetupDesk
    from chalkbeam.web.setup.eye import EyeDesk

Share = Callable[[bool], Awaitable[None]]

T = TypeVar("T")


class Desks(State):
    """What the parts share; what only the set-up needs is made when it is first asked for.

    Parameters
    ----------
    shop : Workshop
    settings : WebSettings
    devices : Devices
    start : callable or None
        How an order is begun at the press, as in `PressLink`.

    Attributes
    ----------
    codes : Codes
    press : PressLink
    settings : WebSettings
        As they are now.
    share : callable or None
        Opens the page to devices of the shop's network, or to this machine alone again.
    """

    def __init__(
        self, shop: Workshop, settings: WebSettings, devices: Devices, start: Start | None
    ) -> None:
        super().__init__()
        self.settings, self.devices, self.codes = settings, devices, Codes()
        self.share: Share | None = None
        self.press = PressLink(start, self._free)
        self._folder = shop.data / "setup"
        self._made: dict[str, object] = {}
        self._making = threading.RLock()

    def __setattr__(self, key: Any, value: Any) -> None:
        object.__setattr__(self, key, value)  # its attributes are known, unlike a State's

    @property
    def setup(self) -> SetupDesk:
        """What the set-up has in hand."""

        def make() -> SetupDesk:
            from chalkbeam.web.setup.desk import SetupDesk
            from chalkbeam.web.setup.light import WindowLight

            light = self.settings.light if self.settings.light is not None else WindowLight
            return SetupDesk(self._folder, light(), lambda: self.press.running)

        return self._once("setup", make)

    @property
    def queue(self) -> ShopQueue:
        """What asks the queue of several presses."""
        return self._once("queue", ShopQueue)

    @property
    def eye(self) -> EyeDesk:
        """What fits the eye of a rig."""

        def make() -> EyeDesk:
            from chalkbeam.web.setup.eye import EyeDesk

            return EyeDesk(self.setup)

        return self._once("eye", make)

    @property
    def code_on_platen(self) -> CodeOnPlaten:
        """What shows a code in light."""

        def make() -> CodeOnPlaten:
            from chalkbeam.web.setup.code_on_platen import CodeOnPlaten

            return CodeOnPlaten(self.press, self.setup)

        return self._once("code_on_platen", make)

    def end_code(self) -> None:
        """Take the code in light away: it has done its work."""
        if self._has("code_on_platen"):
            self.code_on_platen.end()

    def end(self) -> None:
        """Let everything come to its end: the page ends."""
        if self._has("queue"):
            self.queue.close()
        if self._has("eye"):
            self.eye.stop()
        if self._has("setup"):
            self.setup.end()

    def _free(self) -> None:
        """Make the projector free: one light at a time fills it."""
        if self._has("setup"):
            self.setup.dark()

    def _has(self, name: str) -> bool:
        return name in self._made

    def _once(self, name: str, make: Callable[[], T]) -> T:
        with self._making:  # two visits may come at once
            if name not in self._made:
                self._made[name] = make()
            return cast(T, self._made[name])
