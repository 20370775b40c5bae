"""What a fixed camera sees of the press, in words and as a picture, and where it would see best."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calibration.files import write_whole
from calibration.geometry import PlatenFace, Points
from calibration.model.eye import Eye
from calibration.rig.file import Rig
from calibration.rig.report_parts import ALARM, GRID, LIGHT, MARGIN, Sheet

WANTED = 60.0
"""How far beyond the platen's edges the camera should see and light should fall, mm: there the
garment hangs over them."""

INWARDS = math.radians(15.0)
"""How far inwards a camera may look over an edge: cloth that hangs there at 60 degrees is seen at a
quarter of its length then, and hardly at all from farther in."""

BEST = (
    "A camera sees most of a garment from over the platen's middle, or up to a hand's breadth "
    "nearer to you, 1.4 to 1.7 m above it."
)

_FARTHEST = 100.0
_STEP = 10.0
_WIDTH = 1100


@dataclass(frozen=True)
class SideInView:
    """How far beyond one edge of the platen camera and light reach, mm.

    Attributes
    ----------
    name : "back", "front", "left" or "right"
        The back one is the collar's.
    seen, lit : float or None
        Up to 100; None where not even the whole edge is seen or lit.
    inwards : float
        How far inwards the camera looks over the edge, radians: less than 0 from beyond it.
    move : float
        How far it would have to move out over the edge to look inwards by no more than `INWARDS`,
        mm.
    """

    name: str
    seen: float | None
    lit: float | None
    inwards: float = 0.0
    move: float = 0.0

    @property
    def words(self) -> str:
        """Say it for the operator."""
        edge = "The back edge, where the collar lies," if self.name == "back" else ""
        edge = edge or f"The {self.name} edge"
        if self.seen is None:
            return f"{edge} is not wholly in view: turn the camera, or move it away."
        light = "no light on all of it" if self.lit is None else f"light to {self.lit:g} mm beyond"
        short = "" if min(self.seen, self.lit or 0.0) >= WANTED else f"; {WANTED:g} mm are wanted"
        return f"{edge} is in view and {self.seen:g} mm beyond, {light}{short}{self._hidden}."

    @property
    def hides(self) -> bool:
        """Whether what hangs over the edge is hidden; at the front that does no harm."""
        return self.name != "front" and self.move > 0

    @property
    def _hidden(self) -> str:
        if not self.hides:
            return ""
        return (
            f"; what hangs over it is hidden, for the camera looks {math.degrees(self.inwards):.0f}"
            f"° inwards there: move it {math.ceil(self.move / 10) * 10} mm {_WAYS[self.name]}, or "
            "higher"
        )


_WAYS = {"back": "away from you", "left": "to the left", "right": "to the right"}
_OUT = {"back": (0.0, 1.0), "front": (0.0, -1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}


def places(found: Sequence[SideInView]) -> tuple[str, ...]:
    """Say where the camera would see best, if something that hangs is hidden where it stands."""
    return (BEST,) if any(each.hides for each in found) else ()


def sides(rig: Rig, eye: Eye) -> tuple[SideInView, ...]:
    """Return how far camera and light reach beyond each edge of the platen."""
    reaches = np.arange(0.0, _FARTHEST + 1, _STEP)

    def seen(points: Points) -> bool:
        on_face = np.column_stack([points, np.zeros(len(points))])
        return _within(eye.camera.project(on_face), eye.size)

    def lit(points: Points) -> bool:
        pixels = rig.projector.projector_from_platen(points)
        return bool(rig.projector.in_picture(pixels).all())

    def reach(name: str, good: Callable[[Points], bool]) -> float | None:
        held = itertools.takewhile(lambda far: good(_edge(rig.face, name, float(far))), reaches)
        return max((float(far) for far in held), default=None)

    def inwards(name: str) -> tuple[float, float]:
        lens, out = eye.camera.lens, np.array(_OUT[name])
        beyond = float((_edge(rig.face, name, 0.0) @ out).max() - lens[:2] @ out)
        high = float(lens[2])
        return math.atan2(beyond, high), max(beyond - high * math.tan(INWARDS), 0.0)

    return tuple(
        SideInView(name, reach(name, seen), reach(name, lit), *inwards(name))
        for name in ("back", "front", "left", "right")
    )


def plain_sides(found: Sequence[SideInView]) -> dict[str, Any]:
    """Return the sides for JSON."""
    return {
        each.name: {
            "seen_mm": each.seen,
            "lit_mm": each.lit,
            "inwards_deg": round(math.degrees(each.inwards), 1),
            "hides": each.hides,
        }
        for each in found
    }


def write_eye_report(
    path: Path, rig: Rig, eye: Eye, picture: NDArray[np.uint8], said: Sequence[str]
) -> None:
    """Write a PNG: the camera's picture with the platen's outline, and what is to be said.

    Parameters
    ----------
    path : Path
    rig : Rig
    eye : Eye
    picture : ndarray, shape (height, width, 3), uint8
        BGR, of the bare platen.
    said : sequence of str
    """
    sheet = Sheet(_WIDTH)
    width = _WIDTH - 2 * MARGIN
    scale = width / eye.size[0]
    sheet.text((MARGIN, MARGIN), "What the camera sees: the platen, and 60 mm around it", 19)
    top = MARGIN + 32
    shown = Image.fromarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB))
    sheet.picture(shown, (MARGIN, top), (width, eye.size[1] * scale))
    outline = rig.face.outline()
    around = PlatenFace(
        rig.face.width + 2 * WANTED, rig.face.depth + 2 * WANTED, rig.face.corner_radius + WANTED
    ).outline()
    for points, colour, wide in (
        (around, LIGHT, 1.5),
        (outline, GRID, 2.5),
        (_edge(rig.face, "back", 0.0), ALARM, 4.0),
    ):
        closed = points if len(points) < 30 else np.vstack([points, points[:1]])
        pixels = eye.camera.project(np.column_stack([closed, np.zeros(len(closed))]))
        for start, end in itertools.pairwise(pixels):
            if _within(np.vstack([start, end]), eye.size):
                line = np.vstack([start, end]) * scale + (MARGIN, top)
                sheet.line(line, colour, wide)
    sheet.paragraph((MARGIN, top + eye.size[1] * scale + 14), said, 16, width)
    done, data = cv2.imencode(".png", cv2.cvtColor(np.asarray(sheet.finished()), cv2.COLOR_RGB2BGR))
    if not done:
        raise RuntimeError("a picture could not be made a PNG")
    write_whole(path, data.tobytes())


def _edge(face: PlatenFace, name: str, beyond: float) -> Points:
    """Return points along an edge of the platen, moved outwards, shape (N, 2), mm."""
    along = np.linspace(-1, 1, 21)
    if name in ("back", "front"):
        y = (face.depth / 2 + beyond) * (1 if name == "back" else -1)
        return np.column_stack([along * face.width / 2, np.full(21, y)])
    x = (face.width / 2 + beyond) * (1 if name == "right" else -1)
    return np.column_stack([np.full(21, x), along * face.depth / 2])


def _within(pixels: Points, size: tuple[int, int]) -> bool:
    with np.errstate(invalid="ignore"):
        return bool(((pixels >= 0) & (pixels <= np.array(size) - 1)).all())
