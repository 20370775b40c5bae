"""The window of a shift with line lasers: the platen from above, with where each line belongs.

Everything that a projector would light is drawn there, and with it the lasers' lines and the
names of their ticks. To the rest of the station it is a light like any other.
"""

from __future__ import annotations

import math

from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from calibration.rig.file import Rig
from calibration.solve.values import MapFit
from chalkbeam.lasers.lines import LaserLine
from chalkbeam.lasers.ticks import crossings
from chalkbeam.placement.platens import Platen
from chalkbeam.record.events import Step
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.scene import Scene, lit
from chalkbeam.station.tick_guide import TickGuide
from chalkbeam.station.values import Showing
from overlay.marks import Dash, Mark, Role, Stroke, Text

SIZE = (1280, 960)
"""Of the picture, px; a smaller window shows it smaller."""

BESIDE = 60.0
"""Room beside the platen for the names of ticks, mm."""

FROM = 1e5
"""How high above the platen it is seen from, mm: so high that cloth and platen look alike."""


def rig_from_above(platen: Platen) -> Rig:
    """Return a platen as a rig whose picture is the view from above, for a window."""
    face = platen.face
    scale = min(SIZE[0] / (face.width + 2 * BESIDE), SIZE[1] / (face.depth + 2 * BESIDE))
    seen = Pinhole(
        focal=scale * FROM, cx=(SIZE[0] - 1) / 2, cy=(SIZE[1] - 1) / 2, rx=math.pi, tz=FROM
    )
    fit = MapFit("the platen from above", "", (), 0.0, 0)
    return Rig(platen.name, face, ProjectorMap(SIZE, seen), fit)


class TickView(FrameCache):
    """A `LightOutput` for a window; without a `guide` it shows what a projector would light."""

    guide: TickGuide | None = None

    def marks(self, scene: Scene) -> tuple[Mark, ...] | None:
        """Return what is shown; None for darkness."""
        marks = lit(scene)
        if marks is None:
            return None
        edge = tuple((float(x), float(y)) for x, y in scene.face.outline())
        shown: list[Mark] = [Stroke(edge, Role.CHECK, 1.6, closed=True, dash=Dash.SOLID)]
        if self.guide is not None and scene.ready is not None and _at_work(scene):
            for stand, line, _ in self.guide.aims(scene.ready, scene.nudge):
                shown += _beam(line, stand.label, scene)
        return (*shown, *marks)


def _at_work(scene: Scene) -> bool:
    """Whether the lines of the step are shown, and no question or page."""
    state = scene.state
    asked = state.asking is not None or state.moving is not None
    working = scene.step in (Step.LOAD, Step.LAY) and not scene.paused
    return working and state.showing is Showing.WORK and not asked


def _beam(line: LaserLine, label: str, scene: Scene) -> list[Mark]:
    """Return a laser's line on the cloth, its tick named beyond both edges of the platen."""
    ends = [tick.point(scene.face) for tick in crossings(line.angle, line.offset, scene.face)]
    (x0, y0), (x1, y1) = ends
    length = math.hypot(x1 - x0, y1 - y0)
    along = ((x1 - x0) / length, (y1 - y0) / length)

    def beyond(end: tuple[float, float], by: float) -> tuple[float, float]:
        return end[0] + by * along[0], end[1] + by * along[1]

    marks: list[Mark] = [
        Stroke((beyond(ends[0], -14.0), beyond(ends[1], 14.0)), Role.WARN, 1.6, dash=Dash.SOLID)
    ]
    for place in (beyond(ends[0], -32.0), beyond(ends[1], 32.0)):
        marks.append(Text(place, label, Role.NOTE, 16.0))
    return marks
