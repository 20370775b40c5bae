"""What is lit while the press is set up, in the projector's own pixels."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.geometry import XY, PlatenFace
from calibration.rig.file import Rig
from calibration.targets.pattern import Pattern, wants_fine
from chalkbeam.basics.squares import RULINGS
from chalkbeam.basics.units import Unit
from chalkbeam.light.code import code_marks
from chalkbeam.station.code_in_light import LightCode
from overlay.draw.check_view import check_marks
from overlay.draw.frame import Frame, render
from overlay.draw.page_map import FlatMap
from overlay.marks import Crosshair, Dash, Mark, Role, Stroke, Text
from overlay.palette import DEFAULT_PALETTE

_TALL = 1080.0
"""Height of the page that the picture is drawn as, in its own units."""

_EDGE, _ARM, _THICK = 12.0, 150.0, 18.0
_FIELD = 90


def naming(number: int, size: tuple[int, int]) -> Frame:
    """Return a picture with a display's number and marks along its very edges.

    Parameters
    ----------
    number : int
    size : (int, int)
        Of the display's picture, px.
    """
    scale = size[1] / _TALL
    half_w, half_h = size[0] / 2 / scale, _TALL / 2
    page = FlatMap(size, scale, -half_w, -half_h)
    x, y = half_w - _EDGE, half_h - _EDGE
    edge: tuple[XY, ...] = ((-x, -y), (x, -y), (x, y), (-x, y))
    marks: list[Mark] = [Stroke(edge, Role.CHECK, 6.0, closed=True, dash=Dash.SOLID)]
    for a, b in edge:
        along = (a - _ARM if a > 0 else a + _ARM, b)
        arms = (along, (a, b), (a, b - _ARM if b > 0 else b + _ARM))
        marks.append(Stroke(arms, Role.NOTE, _THICK, dash=Dash.SOLID))
    # Twice, one of them upside down: a projector hangs either way.
    for across, angle in ((-half_w / 2, 0.0), (half_w / 2, 3.141592653589793)):
        marks.append(Text((across, 0.0), f"{number}", Role.NOTE, 260.0, (0.5, 0.5), angle))
    drawn = render(marks, page, DEFAULT_PALETTE)
    return np.maximum(drawn, np.uint8(_FIELD))  # light all over shows what it covers


def outline(corners: Sequence[XY], size: tuple[int, int], held: int | None = None) -> Frame:
    """Return a picture with a four-sided outline, its corners numbered as the cards are.

    Parameters
    ----------
    corners : sequence of (x, y)
        Shares of the picture's width and height, from the top left: front left, front right,
        back left, back right.
    size : (int, int)
        Of the display's picture, px.
    held : int, optional
        Place of the corner that is being moved.
    """
    scale = size[1] / _TALL
    page = FlatMap(size, scale)
    places = [(x * size[0] / scale, (1 - y) * _TALL) for x, y in corners]
    one, two, three, four = places
    middle = (sum(x for x, _ in places) / 4, sum(y for _, y in places) / 4)
    marks: list[Mark] = [Stroke((one, two, four, three), Role.CHECK, 5.0, closed=True)]
    for number, place in enumerate(places):
        role = Role.LOAD if number == held else Role.LAY
        marks.append(Crosshair(place, role, 45.0, width=5.0))
        x, y = (0.78 * place[axis] + 0.22 * middle[axis] for axis in (0, 1))
        marks.append(Text((x, y), f"{number + 1}", Role.NOTE, 48.0))
    return np.maximum(render(marks, page, DEFAULT_PALETTE), np.uint8(_FIELD // 3))


def code(asked: LightCode, size: tuple[int, int], rig: Rig | None) -> Frame:
    """Return a picture with a code, at true size where the rig is known."""
    if rig is not None:
        marks = code_marks(asked.rows, asked.figures, asked.address, rig.face)
        return render(marks, rig.projector, DEFAULT_PALETTE)
    scale = size[1] / _TALL
    width = size[0] / scale
    page = FlatMap(size, scale, -width / 2, -_TALL / 2)
    # Not the whole picture: what it covers beyond the platen is nothing to be read on.
    face = PlatenFace(0.6 * width, 0.6 * _TALL)
    marks = code_marks(asked.rows, asked.figures, asked.address, face, both_ways=True)
    return render(marks, page, DEFAULT_PALETTE)


def pattern(face: PlatenFace, size: tuple[int, int]) -> Frame:
    """Return the picture that is lit while photos are taken."""
    return Pattern(size).draw(wants_fine(face))


def squares(rig: Rig, unit: Unit) -> Frame:
    """Return the platen's outline and squares to hold a ruler to, counted in a unit."""
    marks = check_marks(rig.face, rig.name, ruling=RULINGS[unit])
    return render(marks, rig.projector, DEFAULT_PALETTE)
