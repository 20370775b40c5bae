"""Work that takes long, run while a window shows a still picture."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TypeVar

from calibration.refusal import Refusal
from overlay.draw.frame import Frame
from overlay.window.displays import Screen
from overlay.window.inputs import Closed, DisplayLost, Input, Key, Told
from overlay.window.run import run

Result = TypeVar("Result")


def run_while_shown(
    work: Callable[[Callable[[], bool]], Result], frame: Frame, screen: Screen
) -> Result:
    """Run `work` on a thread of its own while a window shows `frame`; return its result.

    Windows belong to the main thread, so the work runs in another.

    Parameters
    ----------
    work : callable
        Is given a function that tells whether it is to end early.
    frame : ndarray, shape (h, w, 3), uint8
        BGR, of the screen's size.
    screen : Screen

    Raises
    ------
    Refusal
        If the display is lost, or as `work` raises it.
    KeyboardInterrupt
        If the window is closed, or Escape or Ctrl-C pressed.
    """
    stop = threading.Event()
    results: list[Result] = []
    failures: list[BaseException] = []
    threads: list[threading.Thread] = []

    def begin(post: Callable[[Input], None]) -> None:
        def body() -> None:
            try:
                results.append(work(stop.is_set))
            except BaseException as failure:  # handed on to the main thread, whatever it is
                failures.append(failure)
            finally:
                post(Told("done"))

        threads.append(threading.Thread(target=body, name="work while a window shows"))
        threads[0].start()

    def update(over: bool, happened: Input) -> bool:
        if isinstance(happened, DisplayLost):
            raise Refusal(happened.sentence)
        ended = isinstance(happened, Closed | Told)
        return over or ended or (isinstance(happened, Key) and happened.name == "escape")

    try:
        run(
            False, screen, update=update, view=lambda _: frame, done=lambda over: over,
            listen=begin,
        )  # fmt: skip
    finally:
        stop.set()
        for thread in threads:
            thread.join()
    if failures:
        raise failures[0]
    if not results:
        raise KeyboardInterrupt
    return results[0]
