"""Light while the press is set up: one picture on one display, in a process of its own.

The window that fills the projector wants a main thread; the page's server has another use for its
own. On the simulated press something else stands behind the same seam.
"""

from __future__ import annotations

import multiprocessing
import threading
from contextlib import AbstractContextManager, suppress
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import NamedTuple, Protocol

import numpy as np

from calibration.geometry import XY, PlatenFace
from calibration.refusal import Refusal
from chalkbeam.setup.camera.source import FrameSource, open_source
from chalkbeam.web.worker import run_apart
from overlay.draw.frame import Frame
from overlay.window.child_process import GONE, told_over
from overlay.window.displays import ConnectedDisplay, Screen
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Input, Key, Told

PATIENCE = 20.0
"""Seconds until the light must be up; a machine at work opens windows slowly."""


class SetupLight(Protocol):
    """What lights the platen while the press is set up."""

    @property
    def simulated(self) -> bool:
        """Whether the press is in software only."""

    def displays(self) -> tuple[ConnectedDisplay, ...]:
        """Return what is connected.

        Raises
        ------
        Refusal
            If the system shows no display.
        """

    def show(self, frame: Frame, display: int) -> None:
        """Fill a display with a picture; it stays until another comes, or `dark`.

        Raises
        ------
        Refusal
            If the display is not there, or its picture has another size.
        """

    def dark(self) -> None:
        """End the light."""

    def trouble(self) -> str:
        """Return why there is no light though there should be; empty if there is."""

    @property
    def shots(self) -> int:
        """How many photos a phone takes of a simulated press; none of a real one."""

    def photo(self, face: PlatenFace, number: int) -> bytes:
        """Return a photo file of the platen as it is lit now, from one side; of no real press."""

    def look(self, face: PlatenFace, laid: bool, mark: XY | None, close: bool) -> bytes:
        """Return a picture (JPEG) of the lit platen; of no real press.

        Parameters
        ----------
        face : PlatenFace
        laid : bool
            Whether the cards lie on it.
        mark : (x, y) or None
            A mark drawn on it, platen frame, mm.
        close : bool
            Whether to look close to the mark, if there is one.
        """

    def recording(self, face: PlatenFace, folder: Path) -> str | None:
        """Return what a camera carried round a simulated press sees, as `open_source` takes it.

        None where a real one is carried round. What is lit now is what it sees.
        """

    def fixed(self, face: PlatenFace, number: int) -> AbstractContextManager[FrameSource]:
        """Open the camera that stands fixed at the press.

        Raises
        ------
        Refusal
            If there is none, or something else holds it.
        """


class WindowLight:
    """Light by a projector: a full-screen window of a child process."""

    simulated, shots = False, 0

    def __init__(self) -> None:
        self._connection: Connection | None = None
        self._process: multiprocessing.process.BaseProcess | None = None
        self._where: tuple[int, tuple[int, int]] | None = None
        self._trouble = ""
        self._lock = threading.RLock()

    def displays(self) -> tuple[ConnectedDisplay, ...]:
        """Return what is connected; looked for in another process, which sees new cables too."""
        return run_apart(_displays, seconds=PATIENCE)

    def show(self, frame: Frame, display: int) -> None:
        """Fill a display with a picture."""
        size = (int(frame.shape[1]), int(frame.shape[0]))
        with self._lock:
            if self._where != (display, size) or not self._runs:
                self.dark()
                self._open(display, size)
            assert self._connection is not None  # opened just now, or before
            try:
                with suppress(*GONE):  # it may have ended, and said why
                    self._connection.send(frame)
                self._await_shown()
            except GONE:
                self.dark()
                raise Refusal(
                    "The light went out: check the projector's cable, then switch it on again."
                ) from None

    @property
    def _runs(self) -> bool:
        return self._process is not None and self._process.is_alive()

    def _open(self, display: int, size: tuple[int, int]) -> None:
        context = multiprocessing.get_context("spawn")
        self._connection, there = context.Pipe()
        serve = partial(_light_up, number=display, size=size)
        self._process = context.Process(target=serve, args=(there,), name="light", daemon=True)
        self._process.start()
        there.close()
        self._where, self._trouble = (display, size), ""

    def _await_shown(self) -> None:
        assert self._connection is not None
        while self._connection.poll(PATIENCE):
            said = self._connection.recv()
            if said is None:
                return
            self._take(said)
        self.dark()
        raise Refusal("The light does not come up: try it again, or start the page again.")

    def _take(self, said: tuple[str, str]) -> None:
        what, sentence = said
        if what == "refused":
            self.dark()
            raise Refusal(sentence)
        self._trouble = sentence

    def trouble(self) -> str:
        """Return why there is no light though there should be."""
        with self._lock, suppress(*GONE):
            while self._connection is not None and self._connection.poll(0):
                said = self._connection.recv()
                if said is not None:
                    self._take(said)
        return self._trouble

    def dark(self) -> None:
        """End the light and its process."""
        with self._lock:
            if self._connection is not None:
                with suppress(*GONE):
                    self._connection.send(None)
            if self._process is not None:
                self._process.join(2.0)
                self._process.kill()
                self._process.join()
            if self._connection is not None:
                self._connection.close()
            self._connection = self._process = self._where = None
            self._trouble = ""

    def recording(self, face: PlatenFace, folder: Path) -> str | None:
        """Return nothing: a real camera looks."""
        del face, folder
        return None

    def fixed(self, face: PlatenFace, number: int) -> AbstractContextManager[FrameSource]:
        """Open the camera that stands fixed at the press."""
        del face
        return open_source(str(number))

    def photo(self, face: PlatenFace, number: int) -> bytes:
        """Return nothing: here somebody takes them."""
        del face, number
        return b""

    def look(self, face: PlatenFace, laid: bool, mark: XY | None, close: bool) -> bytes:
        """Return nothing: here somebody looks at the platen itself."""
        del face, laid, mark, close
        return b""


def _displays() -> tuple[ConnectedDisplay, ...]:
    from overlay.window.run import displays

    return displays()


class _Lit(NamedTuple):
    """What the light's own process shows."""

    frame: Frame | None = None
    over: bool = False


def _light_up(connection: Connection, number: int, size: tuple[int, int]) -> None:
    """Show what comes over a pipe until it ends; say None whenever a picture is up."""
    from overlay.window.run import run

    black = np.zeros((size[1], size[0], 3), np.uint8)

    def say(said: tuple[str, str] | None) -> None:
        with suppress(*GONE):
            connection.send(said)

    def update(lit: _Lit, happened: Input) -> _Lit:
        match happened:
            case Told(content=content):
                return lit._replace(frame=np.asarray(content, np.uint8))
            case Closed() | Key(name="escape"):
                return lit._replace(over=True)
            case DisplayLost(sentence=sentence):
                say(("trouble", sentence))
            case DisplayBack():
                say(("trouble", ""))
        return lit

    up: list[Frame | None] = [None]

    def shown(lit: _Lit) -> None:
        if lit.frame is not up[0]:
            up[0] = lit.frame
            say(None)

    try:
        run(
            _Lit(),
            Screen(size, number, title="Chalkbeam"),
            update=update,
            view=lambda lit: black if lit.frame is None else lit.frame,
            done=lambda lit: lit.over,
            shown=shown,
            listen=told_over(connection),
        )
    except Refusal as refusal:
        say(("refused", str(refusal)))
