"""The server's end of a run: what is to be seen at the press, and the way for taps to the light."""

from __future__ import annotations

import asyncio
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from calibration.refusal import Refusal
from chalkbeam.station.taps import Tap, TapAnswer
from chalkbeam.web.press.spoken import spoken
from chalkbeam.web.words import say, t

GONE = (OSError, EOFError)

PICTURES = 80
"""Pictures of artwork that are kept."""

PATIENCE = 5.0
"""Seconds that a tap waits for the light."""


class HowBegun(Enum):
    """What becomes of an earlier run of an order that is begun."""

    USUAL = ""
    """It is gone on with where it is unfinished."""
    AS_RECORDED = "as_recorded"
    """It is gone on with though the order was changed since."""
    CHANGES = "changes"
    """What it has pressed is kept, and the order gone on with as it reads now."""
    SPOILED = "spoiled"
    """Only what it has spoiled or skipped is pressed."""
    ANEW = "anew"
    """All of the order is pressed once more."""


@dataclass(frozen=True)
class FromOther:
    """What is taken over from another press as an order is begun; a person has looked at it.

    Attributes
    ----------
    press : str
        The other press's name.
    pressed : tuple of str
        The imprints in question that were pressed there.
    """

    press: str
    pressed: tuple[str, ...]


Start = Callable[[Connection, Path, HowBegun, FromOther | None], None]
"""Runs an order at the press, in a process of its own, its page at the other end of the pipe.

The path is that of its sheet; or the number of a run of the queue, whose sheet is elsewhere."""


class PressLink:
    """What the page knows of the press.

    Parameters
    ----------
    start : callable, optional
        How an order is begun from the page; a function of a module. Without, none can be.
    clear : callable
        Makes the projector free before an order is begun.

    Attributes
    ----------
    sheet : Path or None
        The order that was begun last from here.
    order : str
        Its folder among the orders; empty for a trial piece.
    failed : str
        Why the last order could not be begun.
    closed : bool
        Whether the page ends: nobody is told anything more.
    """

    def __init__(
        self, start: Start | None = None, clear: Callable[[], None] = lambda: None
    ) -> None:
        self._start, self._clear = start, clear
        self.sheet: Path | None = None
        self.failed = self.order = ""
        self.closed = False
        self._state: dict[str, Any] | None = None
        self._received = 0.0
        self._pictures: OrderedDict[str, bytes] = OrderedDict()
        self._connection: Connection | None = None
        self._sending = threading.Lock()
        self._waiting: dict[str, tuple[asyncio.AbstractEventLoop, asyncio.Future[TapAnswer]]] = {}
        self._watching: dict[asyncio.Event, asyncio.AbstractEventLoop] = {}

    # -- what is to be seen ------------------------------------------------------------------

    @property
    def running(self) -> bool:
        """Whether an order is at the press."""
        return self._connection is not None

    @property
    def can_start(self) -> bool:
        """Whether an order can be begun from the page."""
        return self._start is not None and not self.running

    def state(self) -> dict[str, Any]:
        """Return what is to be seen now; `running` is false where nothing is at the press."""
        state = self._state
        if state is None:
            return {
                "running": self.running, "ready": False, "number": "", "failed": self.failed,
                "order": self.order,
            }  # fmt: skip
        passed = time.monotonic() - self._received

        def still(left: float | None) -> float | None:
            return None if left is None else max(0.0, left - passed)

        cooling = [[what, still(left)] for what, left in state.get("cooling", [])]
        return state | {"running": True, "left": still(state.get("left")), "cooling": cooling}

    def picture(self, name: str) -> bytes | None:
        """Return the file of an artwork's picture."""
        return self._pictures.get(name)

    def watch(self) -> asyncio.Event:
        """Return what is set whenever there is something new; to be given to `unwatch`."""
        event = asyncio.Event()
        self._watching[event] = asyncio.get_running_loop()
        return event

    def unwatch(self, event: asyncio.Event) -> None:
        """Forget who watched."""
        self._watching.pop(event, None)

    def close(self) -> None:
        """Let who watches go."""
        self.closed = True
        self._tell()

    def _tell(self) -> None:
        for event, loop in list(self._watching.items()):
            with suppress(RuntimeError):  # its loop is closed
                loop.call_soon_threadsafe(event.set)

    # -- taps --------------------------------------------------------------------------------

    async def tap(self, tap: Tap) -> TapAnswer | None:
        """Pass a tap on; return what became of it, None if the light did not answer."""
        connection = self._connection
        if connection is None:
            return None
        loop = asyncio.get_running_loop()
        answered: asyncio.Future[TapAnswer] = loop.create_future()
        self._waiting[tap.id] = loop, answered
        try:
            with self._sending:
                connection.send(tap)
            return await asyncio.wait_for(answered, PATIENCE)
        except (TimeoutError, *GONE):
            return None
        finally:
            self._waiting.pop(tap.id, None)

    # -- the run -----------------------------------------------------------------------------

    def start(
        self,
        sheet: Path,
        choice: HowBegun = HowBegun.USUAL,
        order: str = "",
        over: FromOther | None = None,
    ) -> None:
        """Begin an order, or go on with it, in a process of its own; `order` names its folder.

        `sheet` may be the number of a run of the queue, in place of its sheet.

        Raises
        ------
        Refusal
            If another is at the press, or the page was opened without a press.
        """
        if self._start is None or self.running:
            raise Refusal(
                "Another order is at the press, or this page has none: end that one first."
            )
        self._clear()
        context = get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(
            target=self._start, args=(there, sheet, choice, over), name="light"
        )
        process.start()
        there.close()
        self.failed, self.sheet, self.order = "", sheet, order
        self.attach(here, process.join)  # or its row would stay in the system's table

    def attach(self, connection: Connection, ended: Callable[[], None] = lambda: None) -> None:
        """Show the run at the other end of a pipe from now on; `ended` is called at its end."""
        self._connection = connection
        threading.Thread(target=self._read, args=(connection, ended), daemon=True).start()
        self._tell()

    def say(self, message: object) -> None:
        """Say something to the light."""
        with suppress(*GONE), self._sending:
            if self._connection is not None:
                self._connection.send(message)

    def _read(self, connection: Connection, ended: Callable[[], None]) -> None:
        try:
            while (message := connection.recv()) is not None:
                self._take(message)
        except GONE:  # it takes its leave where it ends as it should
            self.failed = self.failed or t("press.broke_off")
        self._connection, self._state = None, None
        self._tell()
        ended()

    def _take(self, message: object) -> None:
        match message:
            case TapAnswer(id=id):
                loop, answered = self._waiting.get(id, (None, None))
                if loop is not None and answered is not None:
                    loop.call_soon_threadsafe(_settle, answered, message)
            case ("state", dict(state)):
                self._state, self._received = spoken(state), time.monotonic()
                self._tell()
            case ("picture", str(name), bytes(content)):
                self._pictures[name] = content
                while len(self._pictures) > PICTURES:
                    self._pictures.popitem(last=False)
            case ("failed", str(sentence)):
                self.failed = say(sentence)
                self._tell()


def _settle(answered: asyncio.Future[TapAnswer], answer: TapAnswer) -> None:
    if not answered.done():
        answered.set_result(answer)
