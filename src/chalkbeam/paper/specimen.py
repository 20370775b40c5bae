"""A specimen of faces: one line of letters in each, under its name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely
from reportlab.graphics.shapes import Drawing, Rect, String
from reportlab.graphics.shapes import Path as Outline

from calibration.refusal import Refusal
from chalkbeam.artwork.letters import check_letters
from chalkbeam.artwork.setting import LetterStyle, set_ink
from chalkbeam.paper.drawing import INK, PAPER, PT_PER_MM, QUIET
from chalkbeam.paper.drawing_files import save_drawing
from chalkbeam.paper.fonts import FONT

CAP = 12.0
"""Height of the capitals, mm."""
ROW, MARGIN = 27.0, 10.0
"""From one line to the next, and around them, mm."""


def save_specimen(faces: Sequence[tuple[str, Path]], text: str, path: Path) -> None:
    """Write a line of text in each face as PDF, SVG or PNG.

    Parameters
    ----------
    faces : sequence of (name, font file)
    text : str
    path : Path

    Raises
    ------
    Refusal
        If the ending is none of these, or no face has the letters.
    """
    lines = [(name, _line(text, font)) for name, font in faces]
    widest = max((line.bounds[2] - line.bounds[0] for _, line in lines if line), default=0.0)
    if not widest:
        raise Refusal(f"No face has all letters of “{text[:40]}”: give other letters.")
    height = (2 * MARGIN + ROW * len(lines)) * PT_PER_MM
    drawing = Drawing((2 * MARGIN + widest) * PT_PER_MM, height)
    drawing.add(Rect(0, 0, drawing.width, height, fillColor=PAPER, strokeColor=None))
    for number, (name, line) in enumerate(lines):
        foot = height - (MARGIN + ROW * (number + 1)) * PT_PER_MM + 6 * PT_PER_MM
        head = foot + (CAP + 5) * PT_PER_MM
        said = name if line is not None else f"{name}: it lacks some of these letters"
        drawing.add(
            String(MARGIN * PT_PER_MM, head, said, fontName=FONT, fontSize=9, fillColor=QUIET)
        )
        if line is not None:
            drawing.add(_drawn(line, MARGIN * PT_PER_MM - line.bounds[0] * PT_PER_MM, foot))
    save_drawing(drawing, path, "Faces for names and numbers")


def _line(text: str, font: Path) -> shapely.Geometry | None:
    try:
        check_letters(text, font)
        return set_ink(text, LetterStyle(font), CAP)
    except Refusal:
        return None


def _drawn(line: shapely.Geometry, left: float, foot: float) -> Outline:
    """Return ink (mm, y down) as one filled path on the page, its counters open."""
    outline = Outline(fillColor=INK, strokeColor=None)
    for part in shapely.get_parts(line):
        whole = shapely.geometry.polygon.orient(part)
        for ring in (whole.exterior, *whole.interiors):
            points = np.asarray(ring.coords)[:-1] * (PT_PER_MM, -PT_PER_MM) + (left, foot)
            outline.moveTo(*points[0])
            for point in points[1:]:
                outline.lineTo(*point)
            outline.closePath()
    return outline
