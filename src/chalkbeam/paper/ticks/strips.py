"""Strips at true scale that are taped along the platen's edges, with the ticks on them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.geometry import PlatenFace
from chalkbeam.lasers.aims import Stand
from chalkbeam.lasers.ticks import Edge
from chalkbeam.paper.drawing import spread
from chalkbeam.paper.ticks.page import EDGE, INK, QUIET, RULE, SheetPage

TALL = 24.0
"""Height of a strip, mm."""
PITCH = 32.0
"""From strip to strip on the page, mm."""
LONG, SHORT = 8.0, 2.2
"""Ticks, and marks of the scale, mm."""
JOINT = 0.3
"""A tick nearer to a joint than this, mm, may have either half of its width on either piece."""
LABEL = 8.5
"""What a label takes along the strip, mm."""

_READS = {Edge.NEAR: 1.0, Edge.RIGHT: 1.0, Edge.FAR: -1.0, Edge.LEFT: -1.0}
"""Whether platen x or y grows to the right as one looks at the edge from outside."""
_ENDS = {
    Edge.NEAR: ("left", "right"),
    Edge.FAR: ("right", "left"),
    Edge.LEFT: ("far", "near"),
    Edge.RIGHT: ("near", "far"),
}
"""The corners, as the operator stands, at the left and right end of an edge seen from outside."""


@dataclass(frozen=True)
class Strip:
    """One piece of paper for one edge, or a part of it.

    Attributes
    ----------
    edge : Edge
    part, parts : int
        This is part `part` of `parts`, from the left as one looks at the edge from outside.
    start, end : float
        From the edge's middle, to the right as one looks at it from outside, mm.
    ticks : tuple of (str, float)
        Label and place, as `start`.
    """

    edge: Edge
    part: int
    parts: int
    start: float
    end: float
    ticks: tuple[tuple[str, float], ...]

    @property
    def length(self) -> float:
        """Along the edge, mm."""
        return self.end - self.start


def strips_of(stands: Sequence[Stand], face: PlatenFace, longest: float) -> tuple[Strip, ...]:
    """Return the strips of a platen that have ticks, no piece longer than `longest`, mm."""
    found: dict[Edge, list[tuple[str, float]]] = {edge: [] for edge in Edge}
    for stand in stands:
        for tick in stand.ticks(face):
            found[tick.edge].append((stand.label, _READS[tick.edge] * tick.at))
    strips = []
    for edge, ticks in found.items():
        if not ticks:
            continue
        side = face.width if edge in (Edge.NEAR, Edge.FAR) else face.depth
        parts = math.ceil(side / longest)
        for part in range(parts):
            start, end = (side * (k / parts - 0.5) for k in (part, part + 1))
            # A tick on a joint stands on both pieces.
            here = [tick for tick in ticks if start - JOINT <= tick[1] <= end + JOINT]
            here.sort(key=lambda tick: tick[1])
            if here or parts > 2:  # a middle piece holds those beside it in their places
                strips.append(Strip(edge, part + 1, parts, start, end, tuple(here)))
    return tuple(strips)


def draw_strip(page: SheetPage, strip: Strip, x: float, top: float) -> None:
    """Draw a strip whose upper left corner is at (x, top): its upper edge goes to the platen's."""
    left, right, low = x, x + strip.length, top - TALL

    def at(place: float) -> float:
        return x + place - strip.start

    for y in (top, low):
        page.line((left - 4.0, y), (right + 4.0, y), 0.1, QUIET)
    for end in (left, right):
        page.line((end, top + 4.0), (end, low - 4.0), 0.1, QUIET)
    first = math.ceil(strip.start / 10.0) * 10
    for mark in range(int(first), math.floor(strip.end) + 1, 10):
        tall = SHORT if mark % 50 else 2 * SHORT
        page.line((at(mark), top), (at(mark), top - tall), 0.15, QUIET)
        crowded = any(abs(place - mark) < 3.0 for _, place in strip.ticks)
        if mark % 50 == 0 and 4 < at(mark) - left < strip.length - 4 and not crowded:
            words = "middle" if mark == 0 else str(abs(mark))
            page.text(at(mark), top - 2 * SHORT - 2.2, words, 5.5, colour=QUIET, anchor="middle")
    _ticks(page, strip, left, right, top)
    page.line((left + 2, low + 5.4), (right - 2, low + 5.4), 0.1, RULE)
    part = f" · part {strip.part} of {strip.parts}" if strip.parts > 1 else ""
    from_, to = _ENDS[strip.edge]
    page.text(left + 2, low + 1.9, f"{strip.edge.value.upper()} EDGE{part}", 8, bold=True)
    ends = []
    if strip.part == 1:
        ends.append(f"this end at the {from_} corner")
    if strip.part == strip.parts:
        ends.append(f"the other at the {to} corner" if ends else f"right end at the {to} corner")
    said = "; ".join(ends) or "both ends at the strips beside it"
    page.text(right - 2, low + 1.9, f"seen from outside, ticks up; {said}", 7, colour=QUIET,
              anchor="end", room=strip.length - 60)  # fmt: skip


def _ticks(page: SheetPage, strip: Strip, left: float, right: float, top: float) -> None:
    """Draw the ticks, their labels side by side below them."""
    wanted = [left + place - strip.start for _, place in strip.ticks]
    gap = min(LABEL, (right - left - 6) / max(1, len(wanted)))
    places = spread(wanted, gap) if wanted else []
    if places:  # the whole row moves in from an end, and then keeps its gaps
        low, high = left + gap / 2, right - gap / 2
        places = [max(place, low + k * gap) for k, place in enumerate(places)]
        last = len(places) - 1
        places = [min(place, high - (last - k) * gap) for k, place in enumerate(places)]
    for (label, _), x, label_x in zip(strip.ticks, wanted, places, strict=True):
        page.line((x, top), (x, top - LONG), 0.35)
        page.line((x, top - LONG), (label_x, top - LONG - 4.4), 0.2)
        page.text(label_x, top - LONG - 8.2, label, 9, bold=True, colour=INK, anchor="middle")


def on_pages(strips: Sequence[Strip], rows: int) -> list[tuple[Strip, ...]]:
    """Return the strips page by page, `rows` to a page."""
    return [tuple(strips[k : k + rows]) for k in range(0, len(strips), rows)]


def left_of(page: SheetPage, strip: Strip) -> float:
    """Return where a strip begins on the page so that it stands in its middle, mm."""
    return EDGE + (page.room - strip.length) / 2
