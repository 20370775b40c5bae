"""The window that lights the platen, with what the operator looks at beside it: a station's host.

A host takes inputs to the controller and shows what it then says: the scene through an output,
the rest as a `Display`. The controller knows no host, so that there may be others.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Protocol

from calibration.rig.file import Rig
from chalkbeam.light.pages import waiting_marks
from chalkbeam.station.code_in_light import CodeInLight
from chalkbeam.station.controller import StationController
from chalkbeam.station.display import Display, GettingReady, display_of
from chalkbeam.station.dwell import Bell
from chalkbeam.station.eye_host import EyeInWindow, EyeSource
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.queue_host import QueueInWindow, QueueSource
from chalkbeam.station.run_when_ready import run_when_ready
from chalkbeam.station.taps import Tap, TapAnswer, Taps
from overlay.draw.frame import Frame, render
from overlay.palette import DEFAULT_PALETTE, Palette
from overlay.window.displays import Screen
from overlay.window.inputs import Input, Told
from overlay.window.sound import beep

Tell = Callable[[GettingReady], None]
"""Tells the operator's display how far the order is got ready; from any thread."""


class Beside(Protocol):
    """What the operator looks at beside the light, and may type or tap at."""

    def show(self, display: Display | GettingReady, number: str = "") -> None:
        """Show this, from any thread; `number` is that of the state, for taps."""

    def listen(self, post: Callable[[Input], None]) -> None:
        """Pass keys on from now on, and a `Tap` as `Told`."""

    def answer(self, answer: TapAnswer) -> None:
        """Be told what became of a tap."""

    def close(self) -> None:
        """Show nothing any more."""


def run_in_window(
    prepare: Callable[[Tell], Callable[[], StationController]],
    output: FrameCache,
    rig: Rig,
    number: int | None,
    *,
    beside: Beside | None,
    say: Callable[[str], None],
    palette: Palette = DEFAULT_PALETTE,
    source: EyeSource | None = None,
    queue: QueueSource | None = None,
) -> StationController | None:
    """Open the window and work until the operator leaves.

    Parameters
    ----------
    prepare : callable
        As in `run_when_ready`; gives the controller. It is given what tells the operator's
        display how far it is.
    output : FrameCache
        The controller's.
    rig : Rig
        Its picture is the window's.
    number : int or None
        The projector's display; None for an ordinary window.
    beside : Beside or None
        The operator's display beside the light; closed at the end.
    say : callable
        Is told what the light cannot say: that it is gone.
    palette : Palette
        Of what is shown while nothing is ready.
    source : EyeSource, optional
        A camera at the press to go by.
    queue : QueueSource, optional
        What an order is shared by with other presses.

    Returns
    -------
    StationController or None
        None if the operator left before anything was ready.
    """
    bell, taps, code = Bell(), Taps(), CodeInLight(rig)
    eye = None if source is None else EyeInWindow(source)
    shared = None if queue is None else QueueInWindow(queue, say)
    told, trouble = -1, ""

    def due(now: StationController) -> float | None:
        times = (
            now.state.due, bell.due(now.bells), now.count_due(time.monotonic()), code.due
        )  # fmt: skip
        return min((each for each in times if each is not None), default=None)

    def begun(begin: Callable[[], StationController]) -> StationController:
        controller = begin()
        for each in (eye, shared):
            if each is not None:
                each.begin(controller)
        return controller

    def prepared() -> Callable[[], StationController]:
        begin = prepare(beside.show if beside is not None else lambda ready: None)
        return lambda: begun(begin)

    def listen(post: Callable[[Input], None]) -> None:
        for each in (beside, eye, shared):
            if each is not None:
                each.listen(post)

    def view(now: StationController) -> Frame | None:
        def scene() -> Frame | None:
            return output.frame(now.scene(time.monotonic()))

        # A camera's light has its own times: nothing comes between.
        if eye is not None:
            return eye.frame(scene)
        return scene() if code.frame is None else code.frame

    def update(now: StationController, happened: Input) -> StationController:
        if eye is None and code.take(happened):
            return now
        if shared is not None and shared.take(happened):
            return now
        if eye is None or not eye.take(happened):
            now = taken(now, happened)
        if eye is not None:
            eye.notice()
        return now

    def taken(now: StationController, happened: Input) -> StationController:
        match happened:
            case Told(Tap() as tap):
                answer = taps.take(now, tap)
                if beside is not None:
                    beside.answer(answer)
                return now
            case _:
                return now.take(happened)

    def shown(now: StationController) -> None:
        nonlocal told, trouble
        for each in (eye, shared):
            if each is not None:
                each.shown()
        if bell.rings(now.bells, time.monotonic()):
            beep()
        if now.changes == told:
            return
        told = now.changes
        if beside is None and now.state.trouble not in ("", trouble):
            say(now.state.trouble)
        trouble = now.state.trouble
        if beside is not None:
            beside.show(display_of(now.view(), now.state), taps.number(now))

    try:
        return run_when_ready(
            prepared,
            Screen(rig.projector.size, number, title="Chalkbeam light"),
            waiting=render(waiting_marks(rig.face), rig.projector, palette),
            update=update,
            view=view,
            done=lambda now: now.state.over,
            due=due,
            shown=shown,
            ahead=foreseen_once(),
            listen=listen,
        )
    finally:
        for each in (eye, shared, beside):
            if each is not None:
                each.close()


def foreseen_once() -> Callable[[StationController], Iterator[None] | None]:
    """Return what a window asks a station for as it goes on: anew where something has changed."""
    before = -1

    def ahead(now: StationController) -> Iterator[None] | None:
        nonlocal before
        if now.changes == before:
            return None
        before = now.changes
        return now.foresee()

    return ahead
