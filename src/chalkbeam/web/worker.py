"""A job for the page in a process of its own that can be told from, stopped and killed.

A file from a phone may be broken, or made to be. Whatever it does to its decoder, the page and
the press go on. The process itself is `calibration.worker`'s; here each kind of job has its own.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from calibration.refusal import Refusal
from calibration.worker import Lost, NeedsMemory, Stopped, TookTooLong, Worker

T = TypeVar("T")

SECONDS, MEGABYTES = 60.0, 3072
"""What work may take if nothing else is said. Memory is counted as addresses, of which a process
that only imports has some hundred megabytes."""


class StoppedError(Exception):
    """The work was no longer wanted."""


def run_apart(
    work: Callable[..., T],
    *given: object,
    seconds: float = SECONDS,
    megabytes: int = MEGABYTES,
    tell: Callable[[Any], None] | None = None,
    stop: threading.Event | None = None,
    by: Worker | None = None,
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
    by : Worker, optional
        A process that stays, for work that comes often: to begin one takes a second or two.

    Raises
    ------
    Refusal
        If the work refuses, or was ended by its limits.
    StoppedError
        If it was stopped.
    """
    worker = Worker(megabytes * 1024 * 1024) if by is None else by
    try:
        return worker.ask(partial(work, *given), seconds, tell, stop)
    except Stopped:
        raise StoppedError from None
    except TookTooLong:
        raise Refusal(
            f"That took longer than {seconds:g} s and was stopped: try it with a smaller "
            "or another file."
        ) from None
    except NeedsMemory:
        raise Refusal("That needs more memory than it may take: try a smaller file.") from None
    except Lost:
        raise Refusal(
            "The program that was to read that ended: the file is damaged or too large; try "
            "another one."
        ) from None
    finally:
        if by is None:
            worker.close()
