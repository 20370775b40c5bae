"""A window in a process of its own, beside the one that works; the two talk over a pipe."""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection

from overlay.window.inputs import Closed, Input, Told

GONE = (OSError, EOFError)
"""What a pipe raises whose other end is closed."""

Serve = Callable[[Connection, int | None], None]
"""Runs the window, the child's side: given its end of the pipe and the display to keep clear of."""


class SideWindow:
    """The end that works: opens the window, and closes it.

    Parameters
    ----------
    serve : callable
        A function of a module, for the child imports it.
    clear : int, optional
        Number of the display that the light fills.
    """

    def __init__(self, serve: Serve, clear: int | None = None) -> None:
        context = multiprocessing.get_context("spawn")
        self._here, there = context.Pipe()
        self._process = context.Process(target=serve, args=(there, clear), daemon=True)
        self._process.start()
        there.close()
        self._sending = threading.Lock()

    def send(self, content: object) -> None:
        """Pass something on, from any thread; nothing happens once the window is closed."""
        with suppress(*GONE), self._sending:
            self._here.send(content)

    def end(self, patience: float) -> None:
        """Close the window; end its process if it is not gone after so many seconds."""
        self.send(None)
        self._process.join(timeout=patience)
        if self._process.is_alive():
            self._process.terminate()
            self._process.join(timeout=patience)
        self._here.close()


def told_over(connection: Connection) -> Callable[[Callable[[Input], None]], None]:
    """Return what passes a window all that comes over a pipe, and that it is to close at the end.

    The child's side; to be handed to `overlay.window.run` as its `listen`.
    """

    def listen(post: Callable[[Input], None]) -> None:
        def read() -> None:
            with suppress(*GONE):
                while (content := connection.recv()) is not None:
                    post(Told(content))
            post(Closed())

        threading.Thread(target=read, daemon=True).start()

    return listen
