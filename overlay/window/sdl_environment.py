"""What the system's libraries read of the environment, set for a while. Knows no window."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet_search() -> Iterator[None]:
    """Keep the system's library from complaining where no Wayland session can be.

    It writes on the terminal if the folder of a session's sockets has no name; in a
    folder without any socket it finds none and is silent.
    """
    name = "XDG_RUNTIME_DIR"  # XDG Base Directory Specification
    with environment(name, os.environ.get(name, tempfile.gettempdir())):
        yield


@contextmanager
def environment(name: str, value: str) -> Iterator[None]:
    """Set an environment variable for a while."""
    before = os.environ.get(name)
    os.environ[name] = value
    try:
        yield
    finally:
        if before is None:
            del os.environ[name]
        else:
            os.environ[name] = before
