"""One process beside the program in which decoders of foreign files run.

A damaged or hostile file can crash a decoder, keep it busy for ever or make it ask for all
memory there is: here that ends this process alone, and the caller is told. It is started when
first wanted and again after a loss. It stands at the root of calibration because photos are
read there; rooms above share it.

Memory is limited where the system does so for a process (Linux); time is everywhere.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import pickle
import signal
import struct
import subprocess
import sys
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import IO, Any, ParamSpec, TypeVar

Given = ParamSpec("Given")
Result = TypeVar("Result")

SECONDS = 30.0
"""Longest that one file may take; a shop's largest drawing takes about two."""
MEMORY = 4 * 2**30
"""Most bytes of addresses; a picture of 170 megapixels takes about half."""

_START = (
    "import sys, pickle; sys.path[:] = pickle.load(sys.stdin.buffer); "
    "from calibration.worker import serve; serve()"
)
_LENGTH = struct.Struct("<Q")


class Lost(Exception):
    """The process ended, or had to be ended, before it answered: why, in words for people."""


class Worker:
    """The process, seen from the program; any thread may ask, one at a time is answered."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._owner = 0
        self._asking = threading.Lock()

    def ask(self, call: Callable[[], Result], seconds: float) -> Result:
        """Return what a call gives that pickles (a `functools.partial` of a module's function).

        Raises
        ------
        Lost
            If it crashed, took longer, or needed more memory than there is.
        Exception
            Whatever the call raised.
        """
        with self._asking:
            process = self._running()
            assert process.stdin is not None  # both are pipes
            assert process.stdout is not None
            late = threading.Event()

            def end() -> None:
                late.set()
                process.kill()

            timer = threading.Timer(seconds, end)
            timer.start()
            try:
                _send(process.stdin, call)
                raised, answer = _receive(process.stdout)
            except (OSError, EOFError, pickle.UnpicklingError):
                self.close()
                took = f"took longer than {seconds:g} s"
                raise Lost(took if late.is_set() else "made its reader crash") from None
            except (
                BaseException
            ):  # as when Ctrl-C comes: what is answered later is not for the next
                self.close()
                raise
            finally:
                timer.cancel()
        if isinstance(raised, MemoryError):
            raise Lost("needs more memory than a file may take")
        if raised is not None:
            raise raised
        result: Result = answer
        return result

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is not None and self._owner == os.getpid():
            if self._process.poll() is None:
                return self._process
            self.close()
        process = subprocess.Popen(
            [sys.executable, "-c", _START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,  # what a decoder says as it breaks is not for operators
        )
        assert process.stdin is not None
        pickle.dump([path or str(Path.cwd()) for path in sys.path], process.stdin)
        process.stdin.flush()
        self._process, self._owner = process, os.getpid()
        return process

    def close(self) -> None:
        """End the process; the next question starts another."""
        process, self._process = self._process, None
        if process is None or self._owner != os.getpid():
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        process.wait()


_worker = Worker()
atexit.register(_worker.close)


def apart(function: Callable[Given, Result], *args: Given.args, **named: Given.kwargs) -> Result:
    """Return what a function of a module gives, called in the process apart.

    Arguments and result are pickled.

    Raises
    ------
    Lost
        If it crashed, took longer than `SECONDS`, or needed more memory than there is.
    Exception
        Whatever the function raised.
    """
    return _worker.ask(partial(function, *args, **named), SECONDS)


def _send(pipe: IO[bytes], content: object) -> None:
    data = pickle.dumps(content, protocol=pickle.HIGHEST_PROTOCOL)
    pipe.write(_LENGTH.pack(len(data)))
    pipe.write(data)
    pipe.flush()


def _receive(pipe: IO[bytes]) -> Any:
    (length,) = _LENGTH.unpack(_exactly(pipe, _LENGTH.size))
    return pickle.loads(_exactly(pipe, length))


def _exactly(pipe: IO[bytes], count: int) -> bytes:
    data = pipe.read(count)
    if len(data) < count:
        raise EOFError
    return data


def serve() -> None:
    """Answer questions from standard input until it ends: the process apart."""
    _limit_memory()
    asked = sys.stdin.buffer
    # What a decoder prints must not be taken for an answer.
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    while True:
        try:
            call = _receive(asked)
        except EOFError:
            return
        _end_after(round(2 * SECONDS))  # the program, which waits less long, may be gone
        try:
            answer: tuple[BaseException | None, object] = None, call()
        except Exception as error:
            answer = error.with_traceback(None), None
        _end_after(0)
        try:
            _send(answers, answer)
        except (pickle.PicklingError, TypeError, AttributeError):  # an error that cannot travel
            _send(answers, (ValueError(str(answer[0])), None))


def _end_after(seconds: int) -> None:
    if sys.platform != "win32":
        signal.alarm(seconds)


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # not every system has it
        return
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
