"""A picture of every role in light on a row of cloths, as the eye sees it."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageDraw, ImageFont

from calibration.geometry import XY, Points, as_points, rectangle, xy_tuple
from chalkbeam.garments.fabrics import Fabric
from overlay.colour.colorimetry import srgb_from_linear
from overlay.colour.visibility import Lighting, palette_for, role_visibilities
from overlay.draw.frame import render
from overlay.marks import Crosshair, Hatch, Mark, Role, Stroke, Text
from overlay.palette import Palette
from overlay.text.typeface import BUNDLED_FONT

LADDER = ("white", "black", "navy", "red", "heather grey", "safety yellow")
"""The cloths shown unless others are named: the extremes that a shop has to do with."""

_PX = 3.0  # pixels a millimetre
_CELL, _BAND = 66.0, 50.0  # mm: a role's field, a cloth's height
_LEFT, _TOP, _GAP = 190, 96, 44  # px: margins for the captions
_PAPER, _INK, _FAINT = (247, 246, 243), (38, 40, 44), (104, 106, 110)


@dataclass(frozen=True)
class _FlatMap:
    """A projector straight above a cloth, its picture's edges on the cloth's."""

    size: tuple[int, int]

    def projector_from_platen(self, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return pixels, shape (N, 2), of points from the cloth's lower left corner, mm."""
        return as_points(points) * (_PX, -_PX) + (-0.5, self.size[1] - 0.5)


def _field(role: Role, middle: XY) -> list[Mark]:
    """Return what a role lights, in its field about `middle`, mm."""
    x, y = middle
    frame = xy_tuple(rectangle(50.0, 34.0) + np.array(middle))
    if role is Role.LOAD:
        collar = np.linspace(np.pi, 2 * np.pi, 24)
        neck = xy_tuple(np.column_stack([x + 14 * np.cos(collar), y + 16 + 12 * np.sin(collar)]))
        return [
            Stroke(neck, role, 1.6),
            Stroke(((x, y + 2), (x, y - 18)), role, 1.6),
            Stroke(((x - 26, y - 8), (x + 26, y - 8)), role, 1.6),
        ]
    if role is Role.LAY:
        return [Stroke(frame, role, 1.6, closed=True), Crosshair((x, y), role, arm=10.0, width=1.6)]
    if role is Role.CLEAR:
        return [Hatch(frame, role, spacing=9.0)]
    if role is Role.NOTE:
        return [
            Text((x, y + 8), "7 of 60", role, size=8.0),
            Text((x, y - 8), "M  left chest", role, size=5.0),
        ]
    if role is Role.WARN:
        return [Text((x, y), "seam", role, size=8.0)]
    squares = [((x + d, y - 17), (x + d, y + 17)) for d in (-17.0, 17.0)]
    squares += [((x - 17, y + d), (x + 17, y + d)) for d in (-17.0, 17.0)]
    return [
        *(Stroke(line, role, 0.8) for line in squares),
        Crosshair((x, y), role, arm=7.0, width=0.8),
    ]


def _band(cloth: Fabric, palette: Palette, light: Lighting) -> NDArray[np.uint8]:
    """Return a strip of the cloth under all roles' light, RGB, shape (h, w, 3)."""
    roles = list(Role)
    size = (round(_CELL * len(roles) * _PX), round(_BAND * _PX))
    marks = [
        mark
        for index, role in enumerate(roles)
        for mark in _field(role, ((index + 0.5) * _CELL, _BAND / 2))
    ]
    frame = render(marks, _FlatMap(size), palette)
    return srgb_from_linear(light.seen(frame[..., ::-1], cloth.colour, palette.gamma))


def draw_ladder(
    cloths: Sequence[Fabric], light: Lighting | None = None, usual: Palette | None = None
) -> bytes:
    """Return the picture as PNG.

    Parameters
    ----------
    cloths : sequence of Fabric
        One band each, top to bottom.
    light : Lighting, optional
    usual : Palette, optional
        Show these colours on every cloth instead of those chosen for it.
    """
    light = light or Lighting()
    width = _LEFT + round(_CELL * len(Role) * _PX) + 40
    step = round(_BAND * _PX) + _GAP
    picture = Image.new("RGB", (width, _TOP + step * len(cloths) + 64), _PAPER)
    draw = ImageDraw.Draw(picture)
    large, small = (ImageFont.truetype(str(BUNDLED_FONT), size) for size in (19, 14))
    for index, role in enumerate(Role):
        centre = _LEFT + (index + 0.5) * _CELL * _PX
        draw.text((centre, _TOP - 30), role.value, _INK, large, anchor="mm")
    draw.text((24, 34), "Light on cloth", _INK, large, anchor="lm")
    for row, cloth in enumerate(cloths):
        top = _TOP + row * step
        palette = usual or palette_for(cloth.colour, light)
        band = _band(cloth, palette, light)
        picture.paste(Image.fromarray(band), (_LEFT, top))
        draw.rectangle(
            (_LEFT - 1, top - 1, _LEFT + band.shape[1], top + band.shape[0]), None, _FAINT
        )
        draw.text((24, top + 40), cloth.name, _INK, large, anchor="lm")
        draw.text((24, top + 66), cloth.hex, _FAINT, small, anchor="lm")
        found = role_visibilities(palette, cloth.colour, light)
        for index, role in enumerate(Role):
            sight = found[role]
            centre = _LEFT + (index + 0.5) * _CELL * _PX
            said = f"ΔE {sight.difference:.0f}   ΔL* {sight.lightness:.0f}"
            draw.text((centre, top + band.shape[0] + 18), said, _FAINT, small, anchor="mm")
    notes = (
        f"Cloth in the room's light ({light.room:.0f} lux) with the beam on it (projected white "
        f"{light.projector:.0f} lux), exposed so that the brightest thing in view is white.",
        "ΔE: CIEDE2000 of the line from the cloth beside it. ΔL*: how much lighter the line is.",
    )
    for row, note in enumerate(notes):
        draw.text((24, picture.height - 46 + 22 * row), note, _FAINT, small, anchor="lm")
    kept = io.BytesIO()
    picture.save(kept, "PNG", optimize=True)
    return kept.getvalue()
