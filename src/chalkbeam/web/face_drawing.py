"""A garment's face as shapes of an SVG, in the face's own millimetres: y is down in both."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.geometry import Points
from chalkbeam.garments import Face, Line
from overlay.palette import RGB

DARK = 330
"""Sum of the three codes of a colour below which a cloth is drawn with pale lines."""


@dataclass(frozen=True)
class DrawnShape:
    """A shape of a drawing.

    Attributes
    ----------
    kind : str
        Class of its style: the line's kind and what it is filled with.
    path : str
        As SVG writes a path (SVG 2, 9.3), mm.
    """

    kind: str
    path: str


@dataclass(frozen=True)
class FaceDrawing:
    """A face, drawn.

    Attributes
    ----------
    box : (x, y, width, height)
        What it fills, mm, with a rim.
    shapes : tuple of DrawnShape
        Later ones lie on top.
    clear : tuple of DrawnShape
        What is to be kept free of ink.
    """

    box: tuple[float, float, float, float]
    shapes: tuple[DrawnShape, ...]
    clear: tuple[DrawnShape, ...]

    @property
    def view(self) -> str:
        """The box as an SVG writes it."""
        return " ".join(f"{value:.1f}" for value in self.box)


RIM = 12.0
"""Blank edge of a drawing, mm."""


def drawing_of(face: Face) -> FaceDrawing:
    """Return a face as it lies flat: cloth, seams, stitches, trims."""
    left, top, right, bottom = face.bounds
    behind = [each for each in face.lines if each.name == "sleeve"]
    above = [each for each in face.lines if each.name != "sleeve"]
    cloth = DrawnShape("edge cloth", path_of(face.outline, True))
    return FaceDrawing(
        (left - RIM, top - RIM, right - left + 2 * RIM, bottom - top + 2 * RIM),
        (*map(_line, behind), cloth, *map(_line, above)),
        tuple(
            DrawnShape("never" if area.hard else "care", path_of(area.polygon, True))
            for area in face.areas
        ),
    )


def _line(line: Line) -> DrawnShape:
    return DrawnShape(f"{line.kind} {line.fill}", path_of(line.points, line.closed))


def path_of(points: Points, closed: bool) -> str:
    """Return points as a path."""
    said = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f"M{said}{'Z' if closed else ''}"


def is_dark(colour: RGB) -> bool:
    """Whether a cloth is drawn with pale lines."""
    return sum(colour) < DARK
