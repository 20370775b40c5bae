"""The operator's display in a process of its own, beside the one that lights the platen.

The two talk over a pipe: displays go out, keys come back, so that it does not matter
which window has the keyboard. If the operator closes the display, the light goes on
without it; if the light ends, the display closes.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection

from chalkbeam.station.display import Display, GettingReady
from chalkbeam.station.display_picture import SIZE
from chalkbeam.station.taps import TapAnswer
from overlay.window.child_process import GONE, SideWindow, told_over
from overlay.window.inputs import Closed, Input, Key, Resized, Told

CLOSING = 15.0
"""Seconds a display gets to close; one that is still starting reads the wish only then."""


class OperatorWindow(SideWindow):
    """The parent's end: opens the display and passes its keys on.

    Parameters
    ----------
    clear : int, optional
        Number of the display that the light fills.
    """

    def __init__(self, clear: int | None = None) -> None:
        super().__init__(_serve, clear)

    rings = True

    def show(self, display: Display | GettingReady, number: str = "") -> None:
        """Show this; nothing happens once the window is closed."""
        del number  # its keys are typed by who looks at it
        self.send(display)

    def answer(self, answer: TapAnswer) -> None:
        """Nothing is tapped here."""

    def listen(self, post: Callable[[Input], None]) -> None:
        """Pass the display's keys on from now on."""

        def read() -> None:
            with suppress(*GONE):
                while True:
                    post(self._here.recv())

        threading.Thread(target=read, daemon=True).start()

    def close(self) -> None:
        """Close the window."""
        self.end(CLOSING)


@dataclass(frozen=True, eq=False)
class _State:
    """What the window knows: what it shows, its size, and whether to end.

    `ringing` is the dwell whose end was told by a tone, so that it is told once.
    """

    display: Display | GettingReady = GettingReady()  # noqa: RUF009 - a frozen value
    size: tuple[int, int] = SIZE
    over: bool = False
    at: float = 0.0
    ringing: float | None = None


def _serve(connection: Connection, clear: int | None) -> None:
    """Run the display; the child's side."""
    import time

    from chalkbeam.station.display_picture import draw, seconds_left
    from overlay.draw.frame import Frame
    from overlay.window.displays import Screen
    from overlay.window.run import run
    from overlay.window.sound import beep

    drawn: dict[tuple[object, ...], Frame] = {}

    def dwell_ends(state: _State) -> float | None:
        return state.display.dwell_ends if isinstance(state.display, Display) else None

    def update(state: _State, happened: Input) -> _State:
        now = time.monotonic()
        match happened:
            case Key():
                try:
                    connection.send(happened)
                except OSError:
                    return replace(state, over=True)
            case Told(Display() | GettingReady() as told):
                return replace(state, display=told, at=now)
            case Resized(size=size):
                return replace(state, size=size, at=now)
            case Closed():
                return replace(state, over=True)
        ends = dwell_ends(state)
        if ends is not None and now >= ends and state.ringing != ends:
            beep()
            return replace(state, at=now, ringing=ends)
        return replace(state, at=now)

    def view(state: _State) -> Frame:
        key = (state.display, state.size, seconds_left(state.display, state.at))
        if key not in drawn:
            drawn.clear()
            drawn[key] = draw(state.display, state.size, state.at)
        return drawn[key]

    def due(state: _State) -> float | None:
        left, ends = seconds_left(state.display, state.at), dwell_ends(state)
        return None if not left or ends is None else ends - left + 1

    run(
        _State(),
        Screen(SIZE, clear=clear, title="Chalkbeam", cursor=True, resizable=True),
        update=update,
        view=view,
        done=lambda state: state.over,
        due=due,
        listen=told_over(connection),
    )
