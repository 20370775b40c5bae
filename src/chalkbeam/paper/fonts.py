"""The fonts of all that is printed, and how text is made to fit with them."""

from __future__ import annotations

import numpy as np
from reportlab.graphics import renderPDF
from reportlab.graphics.shapes import FILL_NON_ZERO, Drawing, Path, Shape, String
from reportlab.lib.colors import Color
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from overlay.text.direction import goes_left
from overlay.text.typeface import BUNDLED_FONT, set_line
from overlay.text.wrap import shortened

FONT, SLANTED, BOLD = "Helvetica", "Helvetica-Oblique", "Helvetica-Bold"
"""Fonts that every PDF reader brings along: for letters of Western Europe."""

BUNDLED = "Chalkbeam"
_CAP = 0.718
"""Height of Helvetica's capitals, in font sizes (its metrics by Adobe)."""
_SHARES = {"start": 0.0, "middle": 0.5, "end": 1.0}


def font_for(text: str, font: str) -> str:
    """Return `font`, or the bundled typeface where text has letters beyond Western Europe's."""
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        if BUNDLED not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(BUNDLED, str(BUNDLED_FONT)))
        return BUNDLED
    return font


def fitted(text: str, font: str, size: float, width: float) -> str:
    """Return `text`, cut with an ellipsis where it is wider than `width`, pt."""
    if pdfmetrics.stringWidth(text, font, size) <= width:
        return text
    while text and pdfmetrics.stringWidth(f"{text}…", font, size) > width:
        text = text[:-1]
    return f"{text}…"


def line_of(
    x: float, y: float, text: str, size: float, colour: Color, font: str = FONT,
    anchor: str = "start", room: float = 1e6,
) -> Shape:  # fmt: skip
    """Return a line of text as a shape of a drawing.

    What is written from right to left is drawn as outlines: a PDF's text knows neither
    direction nor joined letters.

    Parameters
    ----------
    x, y : float
        Where the baseline starts, or ends with `anchor` "end", pt.
    text : str
    size : float
        Of the font, pt.
    colour : Color
    font : str
        Where it has the letters.
    anchor : {"start", "middle", "end"}
    room : float
        Longer text is cut with an ellipsis, pt.
    """
    if not goes_left(text):
        font = font_for(text, font)
        said = fitted(text, font, size, room)
        return String(x, y, said, fontName=font, fontSize=size, fillColor=colour, textAnchor=anchor)
    cap = _CAP * size
    line = set_line(shortened(text, cap, room), cap)
    x -= _SHARES[anchor] * line.advance
    path = Path(fillColor=colour, strokeColor=None, fillMode=FILL_NON_ZERO)
    for ring in line.contours.polygons():
        start, *others = np.add(ring, (x, y)).round(3).tolist()
        path.moveTo(*start)
        for point in others:
            path.lineTo(*point)
        path.closePath()
    return path


def write(canvas: Canvas, line: Shape) -> None:
    """Draw a line of text on a page of a PDF."""
    renderPDF.draw(Drawing(1, 1, line), canvas, 0, 0)
