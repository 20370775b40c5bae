"""Scenes as frames of the projector's picture: painted, remembered, begun while the disk is busy.

The controller knows no frame, only a `LightOutput`: another kind of light is another one of these.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace

from calibration.geometry import PlatenFace
from calibration.model.projector import ProjectorMap
from chalkbeam.light.pages import countdown_mark
from chalkbeam.station.scene import Scene, lit, without_remark
from overlay.draw.frame import Frame, Painter, render
from overlay.marks import Mark
from overlay.palette import DEFAULT_PALETTE, Look, Palette

KEPT = 3
"""Frames remembered: the picture shown, the next one, and the one before in case of a step back."""

DIM = replace(DEFAULT_PALETTE, check=Look((90, 90, 90)))
"""For figures beside the platen: to be read in a shop's light, not to light the press."""


@functools.cache
def _hand() -> ThreadPoolExecutor:
    """Return the thread that paints ahead: one that stays, for a new one starts cold each time."""
    return ThreadPoolExecutor(1, thread_name_prefix="light")


class FrameCache:
    """An `LightOutput` that paints scenes; equal scenes give the very same frame."""

    def __init__(self) -> None:
        self._painters: dict[ProjectorMap, Painter] = {}
        self._counted: dict[tuple[PlatenFace, ProjectorMap, int], Frame | None] = {}

    def frame(self, scene: Scene) -> Frame | None:
        """Return the frame of a scene; None for darkness."""
        frame = self._painter(scene).paint(self.marks(scene), _palette(scene))
        if frame is None and scene.countdown is not None:
            return self._count(scene, scene.countdown)
        return frame

    def marks(self, scene: Scene) -> tuple[Mark, ...] | None:
        """Return what is lit; None for darkness."""
        return lit(scene)

    def prepare(self, scene: Scene) -> None:
        """Paint a scene that is to come."""
        self.frame(scene)

    def ahead(self, scene: Scene) -> Iterator[None]:
        """Draw the parts of a scene that may come, in small steps; it is not painted yet."""
        with suppress(Exception):  # met again, and told, when the scene is to be shown
            without_remark(scene)
            yield
            marks = self.marks(scene)
            yield
            yield from self._painter(scene).ahead(marks, _palette(scene))

    def _painter(self, scene: Scene) -> Painter:
        if scene.projector not in self._painters:
            self._painters[scene.projector] = Painter(scene.projector, keep=KEPT)
        return self._painters[scene.projector]

    def begin(self, scene: Scene) -> Callable[[], None]:
        """Begin to paint a scene in another thread; return what waits until that is done."""

        def paint() -> None:
            with suppress(Exception):  # met again, and told, when the scene is to be shown
                self.frame(scene)

        return _hand().submit(paint).result

    def _count(self, scene: Scene, left: int) -> Frame | None:
        """Return the frame with the seconds beside the platen; None where there is no room."""
        key = (scene.face, scene.projector, left)
        if key not in self._counted:
            self._counted.clear()
            mark = countdown_mark(left, scene.face, scene.projector)
            frame = None if mark is None else render([mark], scene.projector, DIM)
            self._counted[key] = frame
        return self._counted[key]


def _palette(scene: Scene) -> Palette | None:
    return None if scene.ready is None else scene.ready.palette
