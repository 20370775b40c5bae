"""A page of the tick sheet, in millimetres from its lower left corner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from calibration.geometry import XY
from chalkbeam.paper.fonts import BOLD, FONT, fitted, line_of, write
from chalkbeam.paper.sizes import PAPERS

POINT = 25.4 / 72
"""mm."""

EDGE = 12.0
"""Unprinted border, mm: what office printers keep clear (common practice, no source), and a 20 in
platen's edge goes on two pieces of paper 11 in long."""

BAR = 100.0
"""Length of the check bar, mm."""

INK, QUIET, RULE = HexColor("#1E2A33"), HexColor("#5E6B76"), HexColor("#C9CFD4")
BEAM, ALERT = HexColor("#B3261E"), HexColor("#A3461F")
WHITE, CLOTH, ART = HexColor("#FFFFFF"), HexColor("#EEEBE2"), HexColor("#BFE0EA")


@dataclass(frozen=True)
class SheetPage:
    """A canvas with the paper lying on its long side, and its size, mm."""

    canvas: Canvas
    width: float
    height: float

    @classmethod
    def on(cls, canvas: Canvas, paper: str) -> SheetPage:
        """Return the page of a canvas for a paper: a key of `PAPERS`."""
        short, long = (side * POINT for side in PAPERS[paper])
        return cls(canvas, long, short)

    @property
    def room(self) -> float:
        """What may be printed on across, mm."""
        return self.width - 2 * EDGE

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False,
        colour: Color = INK, anchor: str = "start", room: float = 1e4,
    ) -> None:  # fmt: skip
        """Write a line of words at (x, y), `size` in points, cut where it is longer than `room`."""
        font = BOLD if bold else FONT
        line = line_of(x / POINT, y / POINT, words, size, colour, font, anchor, room / POINT)
        write(self.canvas, line)

    def wrapped(
        self, x: float, y: float, words: str, size: float, room: float, *, most: int = 4,
        bold: bool = False, colour: Color = INK,
    ) -> float:  # fmt: skip
        """Write words in lines no longer than `room`; return y of the line after."""
        font, lines = BOLD if bold else FONT, self.lines(words, size, room, bold=bold)
        if len(lines) > most:
            lines[most - 1 :] = [fitted(f"{lines[most - 1]} …", font, size, room / POINT)]
        for line in lines:
            self.text(x, y, line, size, bold=bold, colour=colour, room=room)
            y -= 1.22 * size * POINT
        return y

    def lines(self, words: str, size: float, room: float, *, bold: bool = False) -> list[str]:
        """Return words broken into lines no longer than `room`."""
        font, lines = BOLD if bold else FONT, [""]
        for word in words.split():
            longer = f"{lines[-1]} {word}".strip()
            if stringWidth(longer, font, size) * POINT > room and lines[-1]:
                lines.append(word)
            else:
                lines[-1] = longer
        return lines

    def line(
        self, start: XY, end: XY, weight: float, colour: Color = INK,
        dashes: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """Draw a line `weight` wide that ends at its ends."""
        self.canvas.setStrokeColor(colour)
        self.canvas.setLineWidth(weight / POINT)
        self.canvas.setLineCap(0)
        self.canvas.setDash([each / POINT for each in dashes])
        self.canvas.line(start[0] / POINT, start[1] / POINT, end[0] / POINT, end[1] / POINT)
        self.canvas.setDash([])

    def box(
        self, x: float, y: float, width: float, height: float, *, fill: Color | None = None,
        stroke: Color | None = None, weight: float = 0.2,
    ) -> None:  # fmt: skip
        """Draw a rectangle from its lower left corner."""
        self.polygon(
            [(x, y), (x + width, y), (x + width, y + height), (x, y + height)],
            fill=fill, stroke=stroke, weight=weight,
        )  # fmt: skip

    def polygon(
        self, points: Sequence[XY], *, fill: Color | None = None, stroke: Color | None = None,
        weight: float = 0.2, closed: bool = True,
    ) -> None:  # fmt: skip
        """Draw a polygon, or a polyline."""
        path = self.canvas.beginPath()
        path.moveTo(points[0][0] / POINT, points[0][1] / POINT)
        for x, y in points[1:]:
            path.lineTo(x / POINT, y / POINT)
        if closed:
            path.close()
        if fill is not None:
            self.canvas.setFillColor(fill)
        if stroke is not None:
            self.canvas.setStrokeColor(stroke)
            self.canvas.setLineWidth(weight / POINT)
        self.canvas.drawPath(path, stroke=int(stroke is not None), fill=int(fill is not None))

    def head(self, title: str, about: str, check: str, number: int, count: int) -> float:
        """Write what every page begins with; return y below it."""
        top = self.height - EDGE
        self.text(EDGE, top - 5.0, title, 15, bold=True)
        self.text(EDGE, top - 10.5, about, 9, colour=QUIET, room=self.room - 45)
        corner = self.width - EDGE
        words = f"Chalkbeam · page {number} of {count}"
        self.text(corner, top - 5.0, words, 9, colour=QUIET, anchor="end")
        self.text(corner, top - 10.5, f"tick sheet {check}", 9, bold=True, anchor="end")
        return top - 15.0

    def bar(self, x: float, y: float) -> None:
        """Draw the check bar: its two ends are the outer edges of the end strokes."""
        self.box(x, y, BAR, 1.6, fill=INK)
        for k in range(11):
            tall = 5.5 if k in (0, 10) else 3.6 if k == 5 else 2.6
            at = x + BAR * k / 10
            left = at if k == 0 else at - 0.4 if k == 10 else at - 0.2
            self.box(left, y, 0.4, tall, fill=INK)
        self.text(x, y - 4.0, "This bar must be 100 mm long, end to end: else print again.", 8.5)
