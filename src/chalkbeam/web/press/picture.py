"""What lies on the platen as a drawing for the page: garment, artwork, and the lines of the step.

An SVG in platen millimetres. It holds numbers alone and takes its colours from the page's style,
so that it is sharp at any size and safe to be put into the page.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from calibration.geometry import XY, Isometry
from chalkbeam.station.display import Display
from chalkbeam.station.display_drawing import ArtPicture
from overlay.marks import Crosshair, Hatch, Mark, Role, Stroke
from overlay.palette import DEFAULT_PALETTE

AROUND = 45.0
"""So much is shown around the platen, mm: enough of the garment to know it by."""

THICK = 2.0
"""Lines are drawn so many times as wide as light draws them, to be seen from farther off."""


def picture_of(display: Display, art: str) -> str:
    """Return the drawing.

    Parameters
    ----------
    display : Display
    art : str
        Address of the artwork's picture; empty for none.
    """
    face = display.face
    x, y = face.width / 2 + AROUND, face.depth / 2 + AROUND
    cloth = f"rgb({','.join(map(str, display.cloth))})"
    edge = _path(_flat(face.outline()), True)
    parts = [
        f'<svg viewBox="{-x:.1f} {-y:.1f} {2 * x:.1f} {2 * y:.1f}" aria-hidden="true">',
        f'<defs><clipPath id="on"><path d="{edge}"/></clipPath></defs>',
        '<g transform="scale(1,-1)">',
    ]
    if display.outline:
        shape = _path(display.outline, True)
        parts += [
            f'<path class="cloth off" d="{shape}" fill="{cloth}"/>',
            f'<path class="cloth" d="{shape}" fill="{cloth}" clip-path="url(#on)"/>',
        ]
    if display.picture is not None and art:
        parts.append(_art(display.picture, art))
    parts += [line for mark in display.plan for line in _mark(mark)]
    return "".join([*parts, "</g></svg>"])


def _flat(points: Iterable[Iterable[float]]) -> tuple[XY, ...]:
    return tuple((float(x), float(y)) for x, y in points)


def _path(points: Iterable[XY], closed: bool) -> str:
    said = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f"M{said}{'Z' if closed else ''}"


def _art(picture: ArtPicture, address: str) -> str:
    width, height, pose = picture.width, picture.height, _matrix(picture.platen_from_art)
    return (
        f'<image href="{address}" x="{-width / 2:.2f}" y="{-height / 2:.2f}" width="{width:.2f}" '
        f'height="{height:.2f}" preserveAspectRatio="none" transform="{pose}"/>'
    )


def _matrix(pose: Isometry) -> str:
    (a, c), (b, d) = np.asarray(pose.matrix)
    return f"matrix({a:.5f} {b:.5f} {c:.5f} {d:.5f} {pose.x:.3f} {pose.y:.3f})"


def _mark(mark: Mark) -> Iterator[str]:
    match mark:
        case Stroke():
            style = (mark.dash or DEFAULT_PALETTE.look(mark.role).dash).value
            yield from _line(_path(mark.points, mark.closed), mark.role, style, mark.width)
        case Crosshair(centre=(x, y)):
            for angle in (mark.angle, mark.angle + math.pi / 2):
                along, up = mark.arm * math.cos(angle), mark.arm * math.sin(angle)
                ends = ((x - along, y - up), (x + along, y + up))
                yield from _line(_path(ends, False), mark.role, "solid", mark.width)
        case Hatch():
            shape = _path(mark.polygon, True)
            yield f'<path class="keep-off" d="{shape}"/>'


def _line(path: str, role: Role, style: str, width: float) -> Iterator[str]:
    """Yield a line on a dark edge, so that it is seen on any cloth."""
    if role is not Role.CHECK:
        yield f'<path class="edge" d="{path}" stroke-width="{width * THICK + 2.5:.1f}"/>'
    yield f'<path class="line {role.value} {style}" d="{path}" stroke-width="{width * THICK:.1f}"/>'
