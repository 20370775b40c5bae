"""The window that lights the platen, with the operator's display beside it: a station's host.

A host takes inputs to the controller and shows what it then says: the scene through an output,
the rest as a `Display`. The controller knows no host, so that there may be others.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from calibration.rig.file import Rig
from chalkbeam.light.pages import waiting_marks
from chalkbeam.station.controller import StationController
from chalkbeam.station.display import GettingReady, display_of
from chalkbeam.station.display_window import OperatorWindow
from chalkbeam.station.dwell import Bell
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.run_when_ready import run_when_ready
from overlay.draw.frame import render
from overlay.palette import DEFAULT_PALETTE, Palette
from overlay.window.displays import Screen
from overlay.window.sound import beep

Tell = Callable[[GettingReady], None]
"""Tells the operator's display how far the order is got ready; from any thread."""


def run_in_window(
    prepare: Callable[[Tell], Callable[[], StationController]],
    output: FrameCache,
    rig: Rig,
    number: int | None,
    *,
    beside: bool,
    say: Callable[[str], None],
    palette: Palette = DEFAULT_PALETTE,
) -> StationController | None:
    """Open the windows and work until the operator leaves.

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
    beside : bool
        Whether the operator has a display beside the light.
    say : callable
        Is told what the light cannot say: that it is gone.
    palette : Palette
        Of what is shown while nothing is ready.

    Returns
    -------
    StationController or None
        None if the operator left before anything was ready.
    """
    operator = OperatorWindow(clear=number) if beside else None
    bell = Bell()  # with an operator's display it is that which rings
    told, trouble = -1, ""

    def due(now: StationController) -> float | None:
        rings = bell.due(now.dwell) if operator is None else None
        times = (now.state.due, rings, now.count_due(time.monotonic()))
        return min((each for each in times if each is not None), default=None)

    def shown(now: StationController) -> None:
        nonlocal told, trouble
        if operator is None and bell.rings(now.dwell, time.monotonic()):
            beep()
        if now.changes == told:
            return
        told = now.changes
        if operator is None and now.state.trouble not in ("", trouble):
            say(now.state.trouble)
        trouble = now.state.trouble
        if operator is not None:
            operator.show(display_of(now.view(), now.state))
        now.foresee()

    try:
        return run_when_ready(
            lambda: prepare(operator.show if operator is not None else lambda ready: None),
            Screen(rig.projector.size, number, title="Chalkbeam light"),
            waiting=render(waiting_marks(rig.face), rig.projector, palette),
            update=lambda now, happened: now.take(happened),
            view=lambda now: output.frame(now.scene(time.monotonic())),
            done=lambda now: now.state.over,
            due=due,
            shown=shown,
            listen=operator.listen if operator is not None else None,
        )
    finally:
        if operator is not None:
            operator.close()
