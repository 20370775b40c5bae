"""What comes to a window in a process of its own, over a pipe from the one that works."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection

from overlay.window.inputs import Closed, Input, Told

GONE = (OSError, EOFError)
"""What a pipe raises whose other end is closed."""


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
