"""The light's end of the page: what is shown goes to the page's server, taps come back.

The server is a process of its own, so that drawing light waits for no browser; where it ends, the
run goes on by keys.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection

import cv2

from chalkbeam.station.code_in_light import LightCode
from chalkbeam.station.display import Display, GettingReady
from chalkbeam.station.display_drawing import ArtPicture
from chalkbeam.station.taps import Tap, TapAnswer
from chalkbeam.web.press.values import Values, values_of
from overlay.window.inputs import Input, Told

GONE = (OSError, EOFError)
"""What a pipe raises whose other end is closed."""

AGAIN_AFTER = 1.0
"""Seconds until a server that ended is started again."""

CLOSING = 5.0
"""Seconds it gets to end."""

Connect = Callable[[], Connection | None]
"""Gives the way to a server; None if there is none any more."""


class PageBeside:
    """Shows the run on a page, and takes what is tapped there.

    Parameters
    ----------
    connect : callable
        Called at the start, and again when the server is gone.
    opened : callable
        Is told the address that lets a browser of this machine in, once, each time that there
        is one.
    """

    def __init__(
        self, connect: Connect, opened: Callable[[str], None] = lambda address: None
    ) -> None:
        self._connect, self._opened = connect, opened
        self._lock = threading.Lock()
        self._closing = False
        self._last: Values | None = None
        self._pictures: dict[object, tuple[str, bytes]] = {}
        self._sent: set[str] = set()
        self._here = connect()

    def show(self, display: Display | GettingReady, number: str = "") -> None:
        """Show this."""
        picture = display.picture if isinstance(display, Display) else None
        name = ""
        if picture is not None:
            name, content = self._picture(picture)
            if name not in self._sent:
                self._sent.add(name)
                self._send(("picture", name, content))
        address = f"/press/art/{name}" if name else ""
        self._last = values_of(display, number, time.monotonic(), address)
        self._send(("state", self._last))

    def _picture(self, art: ArtPicture) -> tuple[str, bytes]:
        """Return the name and the file of an artwork's picture, made once."""
        if art.source not in self._pictures:
            if len(self._pictures) > 64:
                self._pictures.clear()
            bgra = cv2.cvtColor(art.rgba, cv2.COLOR_RGBA2BGRA)
            content = cv2.imencode(".png", bgra)[1].tobytes()
            digest = hashlib.sha256(content).hexdigest()[:16]
            self._pictures[art.source] = f"{digest}.png", content
        return self._pictures[art.source]

    def answer(self, answer: TapAnswer) -> None:
        """Tell a browser what became of its tap."""
        self._send(answer)

    def listen(self, post: Callable[[Input], None]) -> None:
        """Pass taps on from now on."""
        threading.Thread(target=self._read, args=(post,), name="page", daemon=True).start()

    def _read(self, post: Callable[[Input], None]) -> None:
        while self._here is not None and not self._closing:
            try:
                match self._here.recv():
                    case Tap() | LightCode() as asked:
                        post(Told(asked))
                    case ("opened", str(address)):
                        self._opened(address)
            except GONE:
                if not self._closing:
                    self._start_again()

    def _start_again(self) -> None:
        time.sleep(AGAIN_AFTER)
        if self._closing:
            return
        with self._lock:
            self._here = self._connect()
        for name, content in list(self._pictures.values()):
            self._send(("picture", name, content))
        if self._last is not None:
            self._send(("state", self._last))

    def _send(self, message: object) -> None:
        with suppress(*GONE), self._lock:
            if self._here is not None:
                self._here.send(message)

    def close(self) -> None:
        """Show nothing any more."""
        self._closing = True
        self._send(None)
