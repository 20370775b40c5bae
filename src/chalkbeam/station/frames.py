"""Frames of what is lit at the press: painted, remembered, and begun while the disk is busy."""

from __future__ import annotations

import functools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace

from calibration.rig.file import Rig
from chalkbeam.light.pages import countdown_mark
from chalkbeam.station.ready_imprint import ReadyImprint
from chalkbeam.station.scene import Scene, lit
from overlay.draw.frame import Frame, Painter, render
from overlay.palette import DEFAULT_PALETTE, Look

KEPT = 3
"""Frames remembered: the picture shown, the next one, and the one before in case of a step back."""

DIM = replace(DEFAULT_PALETTE, check=Look((90, 90, 90)))
"""For figures beside the platen: to be read in a shop's light, not to light the press."""


@functools.cache
def _hand() -> ThreadPoolExecutor:
    """Return the thread that paints ahead: one that stays, for a new one starts cold each time."""
    return ThreadPoolExecutor(1, thread_name_prefix="light")


class FrameCache:
    """Paints scenes through the rig at hand; equal scenes give the very same frame.

    Parameters
    ----------
    rig : Rig
        Lights what is said where no imprint is at hand.
    """

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._painters: dict[int, Painter] = {}
        self._counted: dict[tuple[int, int], Frame | None] = {}

    def frame(self, scene: Scene) -> Frame | None:
        """Return the frame of a scene; None for darkness."""
        rig = self._rig_of(scene.ready)
        if id(rig) not in self._painters:
            self._painters[id(rig)] = Painter(rig.projector, keep=KEPT)
        palette = scene.ready.palette if scene.ready is not None else None
        return self._painters[id(rig)].paint(lit(scene), palette)

    def begin(self, scene: Scene) -> Callable[[], None]:
        """Begin to paint a scene in another thread; return what waits until that is done.

        Nothing else may be painted meanwhile.
        """

        def paint() -> None:
            with suppress(Exception):  # met again, and told, when the scene is to be shown
                self.frame(scene)

        return _hand().submit(paint).result

    def count(self, left: int, ready: ReadyImprint | None) -> Frame | None:
        """Return the frame with so many seconds beside the platen; None where there is no room."""
        rig = self._rig_of(ready)
        if (id(rig), left) not in self._counted:
            self._counted.clear()
            mark = countdown_mark(left, rig.face, rig.projector)
            frame = None if mark is None else render([mark], rig.projector, DIM)
            self._counted[id(rig), left] = frame
        return self._counted[id(rig), left]

    def _rig_of(self, ready: ReadyImprint | None) -> Rig:
        return ready.rig if ready is not None else self._rig
