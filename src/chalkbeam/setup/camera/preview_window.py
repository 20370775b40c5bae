"""A window with what the camera sees, in a process of its own beside the one that works.

Pictures go out over a pipe, each only once the one before is up, so that a slow screen
makes nobody wait. If the operator closes the window, or there is no screen for it, the
photos are taken without it.
"""

from __future__ import annotations

import signal
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection

import numpy as np

from chalkbeam.setup.camera.preview import SIZE, PreviewFrame, draw, reduced
from chalkbeam.setup.camera.take import CaptureProgress
from overlay.draw.frame import Frame
from overlay.window.child_process import GONE, SideWindow, told_over
from overlay.window.inputs import Closed, Input, Key, Told

CLOSING = 10.0
"""Seconds the window gets to close."""


class PreviewWindow(SideWindow):
    """The end that works: opens the window and shows progress in it.

    Parameters
    ----------
    clear : int, optional
        Number of the display that the pattern fills.
    """

    def __init__(self, clear: int | None = None) -> None:
        super().__init__(_serve, clear)
        self._view: PreviewFrame | None = None

    def show(self, progress: CaptureProgress) -> None:
        """Show progress; nothing happens while the last is not up yet, or the window is closed.

        What tells of a photo taken or refused waits until it can be shown.
        """
        lasting = progress.saved is not None or progress.refused
        with suppress(*GONE):
            if not self._here.poll(CLOSING if lasting else 0.0):
                return
            self._here.recv()
            if progress.image is not None and progress.seen is not None:
                quarters = 0 if self._view is None else self._view.quarters
                self._view = reduced(progress.image, progress.seen, quarters)
            self._here.send(draw(self._view, progress))

    def close(self) -> None:
        """Close the window."""
        self.end(CLOSING)


@dataclass(frozen=True, eq=False)
class _State:
    """What the window shows, and whether to end."""

    frame: Frame | None = None
    over: bool = False


def _serve(connection: Connection, clear: int | None) -> None:
    """Run the window; the child's side."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to answer
    from calibration.refusal import Refusal
    from overlay.window.displays import Screen
    from overlay.window.run import run

    asked: list[Frame | None] = []

    def shown(state: _State) -> None:
        if not asked or asked[-1] is not state.frame:
            asked[:] = [state.frame]
            with suppress(*GONE):
                connection.send(True)  # ready for the next

    # The pattern's own window tells why there is no display; this one is only missed.
    with suppress(Refusal):
        run(
            _State(),
            Screen(SIZE, clear=clear, title="Chalkbeam camera", cursor=True),
            update=_updated,
            view=lambda state: state.frame,
            done=lambda state: state.over,
            shown=shown,
            listen=told_over(connection),
        )


def _updated(state: _State, happened: Input) -> _State:
    match happened:
        case Told(np.ndarray() as frame):
            return replace(state, frame=frame)
        case Closed() | Key(name="escape"):
            return replace(state, over=True)
    return state
