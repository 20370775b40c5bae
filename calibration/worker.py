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
import importlib
import os
import pickle
import signal
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
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
    "import sys, pickle; sys.path[:], memory, modules = pickle.load(sys.stdin.buffer); "
    "from calibration.worker import serve; serve(memory, modules)"
)
_LENGTH = struct.Struct("<Q")
_LOOK_EVERY = 0.1


class Lost(Exception):
    """The process ended, or had to be ended, before it answered: why, in words for people."""


class TookTooLong(Lost):
    """It was ended for the time that it took."""


class NeedsMemory(Lost):
    """It wanted more memory than it may have."""


class Stopped(Lost):
    """It was ended because nobody wants its answer any more."""


class Worker:
    """The process, seen from the program; any thread may ask, one at a time is answered.

    Parameters
    ----------
    memory : int
        Most bytes of addresses that it may have.
    """

    def __init__(self, memory: int = MEMORY) -> None:
        self._memory = memory
        self._process: subprocess.Popen[bytes] | None = None
        self._owner = 0
        self._asking = threading.Lock()

    def ask(
        self,
        call: Callable[..., Result],
        seconds: float,
        tell: Callable[[Any], None] | None = None,
        stop: threading.Event | None = None,
    ) -> Result:
        """Return what a call gives that pickles (a `functools.partial` of a module's function).

        Parameters
        ----------
        call : callable
        seconds : float
            How long it may take.
        tell : callable, optional
            Is given what the call says of its progress; the call then gets, as the keyword
            `tell`, what passes that on.
        stop : threading.Event, optional
            Once it is set, the process is ended.

        Raises
        ------
        Lost
            If it crashed, took longer, needed more memory than there is, or was stopped.
        Exception
            Whatever the call raised.
        """
        with self._asking:
            process = self._running()
            assert process.stdin is not None  # both are pipes
            assert process.stdout is not None
            lost = Lost("made its reader crash")
            answered = threading.Event()

            def watch() -> None:
                nonlocal lost
                ends = time.monotonic() + seconds
                while (left := ends - time.monotonic()) > 0 and not (stop and stop.is_set()):
                    if answered.wait(left if stop is None else min(left, _LOOK_EVERY)):
                        return
                stopped = stop is not None and stop.is_set()
                lost = Stopped("is not wanted") if stopped else TookTooLong(
                    f"took longer than {seconds:g} s"
                )  # fmt: skip
                process.kill()

            watching = threading.Thread(target=watch, daemon=True)
            watching.start()
            try:
                _send(process.stdin, (call, tell is not None, seconds))
                what, value = _receive(process.stdout)
                while what == "told":
                    if tell is not None:
                        tell(value)
                    what, value = _receive(process.stdout)
            except (OSError, EOFError, pickle.UnpicklingError):
                self.close()
                raise lost from None
            except BaseException:  # Ctrl-C: what is answered later is not for the next
                self.close()
                raise
            finally:
                answered.set()
        if isinstance(value, MemoryError):
            raise NeedsMemory("needs more memory than a file may take")
        if what == "failed":
            raise value
        result: Result = value
        return result

    def start(self, *modules: str) -> None:
        """Begin the process if there is none, and let it import modules meanwhile."""
        with self._asking:
            self._running(modules)

    def _running(self, modules: Sequence[str] = ()) -> subprocess.Popen[bytes]:
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
        paths = [path or str(Path.cwd()) for path in sys.path]
        pickle.dump((paths, self._memory, modules), process.stdin)
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
_serving = False  # whether this is the process apart itself
atexit.register(_worker.close)


def start_soon(*modules: str) -> None:
    """Have the process begun, and modules read there, while something else is done here."""
    _worker.start(*modules)


def apart(function: Callable[Given, Result], *args: Given.args, **named: Given.kwargs) -> Result:
    """Return what a function of a module gives, called in the process apart.

    Arguments and result are pickled. What is called there may call this again: it is there already.

    Raises
    ------
    Lost
        If it crashed, took longer than `SECONDS`, or needed more memory than there is.
    Exception
        Whatever the function raised.
    """
    if _serving:
        return function(*args, **named)
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


def serve(memory: int, modules: Sequence[str]) -> None:
    """Answer questions from standard input until it ends: the process apart."""
    global _serving
    _serving = True
    _limit_memory(memory)
    for module in modules:
        importlib.import_module(module)
    asked = sys.stdin.buffer
    # What a decoder prints must not be taken for an answer.
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())

    def tell(said: object) -> None:
        _send(answers, ("told", said))

    while True:
        try:
            call, tells, seconds = _receive(asked)
        except EOFError:
            return
        _end_after(round(2 * seconds) + 1)  # the program, which waits less long, may be gone
        try:
            answer: tuple[str, object] = "done", call(tell=tell) if tells else call()
        except Exception as error:
            answer = "failed", error.with_traceback(None)
        _end_after(0)
        try:
            _send(answers, answer)
        except (pickle.PicklingError, TypeError, AttributeError):  # an error that cannot travel
            _send(answers, ("failed", ValueError(str(answer[1]))))


def _end_after(seconds: int) -> None:
    if sys.platform != "win32":
        signal.alarm(seconds)


def _limit_memory(most: int) -> None:
    try:
        import resource
    except ImportError:  # not every system has it
        return
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
