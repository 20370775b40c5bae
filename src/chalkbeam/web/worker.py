"""Work in a process of its own that can be killed: foreign files are decoded, long sums done.

A file from a phone may be broken, or made to be. Whatever it does to its decoder, the page and
the press go on.
"""

from __future__ import annotations

import multiprocessing
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from calibration.refusal import Refusal

T = TypeVar("T")

SECONDS, MEGABYTES = 60.0, 3072
"""What work may take if nothing else is said. Memory is counted as addresses, of which a process
that only imports has some hundred megabytes."""

_LOOK_EVERY = 0.1


class StoppedError(Exception):
    """The work was no longer wanted."""


def run_apart(
    work: Callable[..., T],
    *given: object,
    seconds: float = SECONDS,
    megabytes: int = MEGABYTES,
    tell: Callable[[Any], None] | None = None,
    stop: threading.Event | None = None,
) -> T:
    """Do work in a process of its own; return what it returns.

    It blocks: to be called in a thread, as a door's plain function is.

    Parameters
    ----------
    work : callable
        A function of a module, for the process imports it.
    *given
        Its arguments; they and the result are pickled.
    seconds : float
    megabytes : int
        Only where the system can hold a process to it.
    tell : callable, optional
        Is given what the work says of its progress; the work then gets, as the keyword `tell`,
        what passes that on.
    stop : threading.Event, optional
        Once it is set, the work is ended.

    Raises
    ------
    Refusal
        If the work refuses, or was ended by its limits.
    StoppedError
        If it was stopped.
    """
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe(duplex=False)
    process = context.Process(
        target=_work, args=(there, work, given, tell is not None, megabytes), daemon=True
    )
    process.start()
    there.close()
    ends = time.monotonic() + seconds
    try:
        while True:
            if stop is not None and stop.is_set():
                raise StoppedError
            if time.monotonic() >= ends:
                raise Refusal(
                    f"That took longer than {seconds:g} s and was stopped: try it with a smaller "
                    "or another file."
                )
            if not here.poll(min(_LOOK_EVERY, max(0.0, ends - time.monotonic()))):
                continue
            what, value = here.recv()
            if what == "told" and tell is not None:
                tell(value)
            elif what == "done":
                return value  # type: ignore[no-any-return]
            elif what == "failed":
                raise value
    except (EOFError, OSError):
        raise Refusal(
            "The program that was to read that ended: the file is damaged or too large; try "
            "another one."
        ) from None
    finally:
        process.kill()  # it has said all, or is to say no more
        process.join()
        process.close()
        here.close()


def _work(
    connection: Connection,
    work: Callable[..., object],
    given: tuple[object, ...],
    told: bool,
    megabytes: int,
) -> None:
    """Do the work; the child's side."""
    _hold_to(megabytes)
    more = {"tell": lambda value: connection.send(("told", value))} if told else {}
    try:
        answer: tuple[str, object] = ("done", work(*given, **more))
    except MemoryError:
        answer = ("failed", Refusal("That needs more memory than it may take: try a smaller file."))
    except Exception as error:
        answer = ("failed", error)
    with suppress(OSError):
        try:
            connection.send(answer)
        except (TypeError, AttributeError, ValueError):  # an error that cannot be pickled
            connection.send(("failed", RuntimeError(str(answer[1]))))
    connection.close()


def _hold_to(megabytes: int) -> None:
    with suppress(ImportError, ValueError, OSError):  # Windows has no such limit
        import resource

        most = megabytes * 1024 * 1024
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
