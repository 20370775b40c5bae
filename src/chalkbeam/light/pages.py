"""Pages of words in the light: the list of keys, and how far lines were moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.geometry import XY, PlatenFace, rectangle
from chalkbeam.light.free_room import BOX, SLOPE
from chalkbeam.light.labels import LEAST_CAP
from chalkbeam.placement.platens import Platen
from overlay.draw.frame import PlatenMap
from overlay.marks import LEADING, Mark, Role, Text
from overlay.text.typeface import advance
from overlay.text.wrap import wrapped

_MARGIN = 8.0

_PAGE_CAPS = (14.0, 12.0, 10.0, 9.0, 8.0, LEAST_CAP)
"""Cap heights to try for a page of text, mm."""

_LARGE_CAPS = (42.0, 36.0, 30.0, 26.0, 22.0, 19.0, 16.0)
"""Cap heights for a page that must not be overlooked, mm."""


BESIDE = 25.0
"""Light beside the platen keeps this far off its edge, mm."""

_BESIDE_CAPS = (50.0, 40.0, 30.0, 24.0, 18.0, 14.0)
"""Cap heights to try for figures beside the platen, mm."""


@dataclass(frozen=True)
class Page:
    """A level rectangle that a page of text may fill.

    Attributes
    ----------
    face : PlatenFace
        Its size.
    centre : (x, y)
        Platen frame, mm.
    height : float
        Above the bare platen, mm.
    """

    face: PlatenFace
    centre: XY = (0.0, 0.0)
    height: float = 0.0

    @classmethod
    def on(cls, platen: Platen, height: float) -> Page:
        """Return the platen's face; with a pad, its own face or the room before it, if larger.

        `height` is that of the lit surface above the bare platen, mm. Words across a pad's
        edge would be torn apart by its height.
        """
        if platen.pad is None:
            return cls(platen.face, height=height)
        pad = platen.pad
        near = pad.centre[1] - pad.face.depth / 2 - SLOPE * pad.height
        deep = near + platen.face.depth / 2
        if deep * platen.face.width <= pad.face.depth * pad.face.width:
            return cls(pad.face, pad.centre, height)
        before = PlatenFace(platen.face.width, deep)
        return cls(before, (0.0, near - deep / 2), height - pad.height)

    @property
    def room(self) -> tuple[float, float]:
        """Width and depth that text may take, mm."""
        return self.face.width - 2 * _MARGIN, self.face.depth - 2 * _MARGIN


def block(lines: Sequence[str], role: Role, cap: float, page: Page) -> Text:
    """Return lines that begin below one another, the block in the page's middle."""
    wide = cap * max(map(advance, lines), default=0.0)
    where = (page.centre[0] - wide / 2, page.centre[1])
    return Text(where, "\n".join(lines), role, cap, (0.0, 0.5), height=page.height)


def waiting_marks(face: PlatenFace) -> tuple[Mark, ...]:
    """Return what is lit while the first picture is being worked out."""
    return (page_mark(Page(face), ["getting ready …"], Role.NOTE),)


OVER = "OPEN"
"""Stands where a dwell was counted once it is over."""


def countdown_mark(seconds: int, face: PlatenFace, platen_map: PlatenMap) -> Text | None:
    """Return the seconds of a dwell, to stand in the light beside the platen; `OVER` after it.

    The platen stays dark while the press is closed. What the projector lights beside it is
    table or the press's foot, lower than the platen: figures there are read, not measured.

    Parameters
    ----------
    seconds : int
    face : PlatenFace
    platen_map : PlatenMap
        Tells what the projector's picture still holds.

    Returns
    -------
    Text or None
        As large as fits, on the operator's side first; None where there is no room.
    """
    words = str(seconds) if seconds else OVER
    widest = max(map(advance, ("000", words)))
    for cap in _BESIDE_CAPS:
        near = -face.depth / 2 - BESIDE - cap / 2
        aside = face.width / 2 + BESIDE + widest * cap / 2
        for middle in ((0.0, near), (-aside, 0.0), (aside, 0.0), (0.0, -near)):
            corners = rectangle(widest * cap, cap) + middle
            pixels = platen_map.projector_from_platen(corners, np.zeros(4))
            if (pixels > 2).all() and (pixels < np.array(platen_map.size) - 3).all():
                return Text(middle, words, Role.CHECK, cap)
    return None


def page_mark(page: Page, lines: Sequence[str], role: Role, large: bool = False) -> Text:
    """Return lines of text in the middle of a page, as large as fits, wrapped where needed.

    With `large` they fill the page: what must not be overlooked, and is short.
    """
    broken, cap = list(lines), _PAGE_CAPS[-1]
    wide, deep = page.room
    for cap in (*(_LARGE_CAPS if large else ()), *_PAGE_CAPS):
        wide, deep = (side - (2 * BOX * cap if role is Role.WARN else 0.0) for side in page.room)
        broken = [part for line in lines for part in (wrapped(line, cap, wide) or [""])]
        widest = max(map(advance, broken)) * cap
        if widest <= wide and cap * (LEADING * (len(broken) - 1) + 1) <= deep:
            break
    else:  # a page too small for all of it: the beginning, large enough to be read
        most = max(1, int((deep / cap - 1) / LEADING) + 1)
        broken = broken if len(broken) <= most else [*broken[: most - 1], "…"]
    return block(broken, role, cap, page)
