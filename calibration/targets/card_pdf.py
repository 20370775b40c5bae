"""The cards on paper: a true-scale PDF to print and cut, or pictures of single cards."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

from calibration.geometry import PlatenFace
from calibration.targets.cards import LEAST_NAMED_MODULE, MARGIN, NUMBER_SLOT, Card, draw
from calibration.targets.charuco import Charuco

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

PAPERS = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
"""Width and height, mm: ANSI/ASME Y14.1 size A (8.5 x 11 in) and ISO 216 A4."""

BAR = 100.0
"""Length of the check bar, mm."""

_POINT = 25.4 / 72  # mm
_EDGE = 13.0  # unprinted border that every office printer keeps clear, mm
_HEADER, _FOOTER = 17.0, 69.0
_GAP = 11.0
_MAP = 42.0
_GREY, _PALE = 0.45, 0.82


@dataclass(frozen=True)
class _Page:
    """A page's canvas, in mm from the lower left, and its size."""

    canvas: Canvas
    width: float
    height: float

    def text(self, x: float, y: float, words: str, size: float, bold: bool = False) -> None:
        """Write words from (x, y) mm, `size` in points."""
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)
        self.canvas.drawString(x / _POINT, y / _POINT, words)

    def centred(self, x: float, y: float, words: str, size: float, bold: bool = False) -> None:
        """Write words centred on (x, y) mm, `size` in points."""
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)
        self.canvas.drawCentredString(x / _POINT, y / _POINT, words)

    def box(self, x: float, y: float, width: float, height: float, fill: float) -> None:
        """Fill a rectangle, mm, with a grey from 0 black to 1 white."""
        self.canvas.setFillGray(fill)
        self.canvas.rect(x / _POINT, y / _POINT, width / _POINT, height / _POINT, stroke=0, fill=1)
        self.canvas.setFillGray(0)

    def line(self, x0: float, y0: float, x1: float, y1: float, weight: float) -> None:
        """Draw a line, mm, `weight` mm wide."""
        self.canvas.setLineWidth(weight / _POINT)
        self.canvas.line(x0 / _POINT, y0 / _POINT, x1 / _POINT, y1 / _POINT)


def pdf(cards: Sequence[Card], face: PlatenFace, paper: str = "letter") -> bytes:
    """Return the cards as a PDF at true scale, the same bytes for the same input.

    Every page carries cut lines, a 100 mm bar to check the printer with, and a map of
    the platen that shows which card goes where.

    Parameters
    ----------
    cards : sequence of Card
        As `cards.layout` gives them.
    face : PlatenFace
    paper : str
        A key of `PAPERS`.
    """
    from reportlab.pdfgen.canvas import Canvas

    width, height = PAPERS[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width / _POINT, height / _POINT), invariant=1)
    canvas.setTitle(f"Calibration cards for a platen of {_size(face)}")
    canvas.setAuthor("Chalkbeam")
    # Ask viewers not to scale; the bar catches those that do.
    canvas.setViewerPreference("PrintScaling", "None")
    page = _Page(canvas, width, height)
    sheets = _sheets(cards, width, height)
    for number, places in enumerate(sheets, start=1):
        _head(page, face, number, len(sheets))
        for card, x, y in places:
            _card(page, card, x, y)
            told = f"card {card.number} · {card.name.replace('-', ' ')}"
            page.centred(x + card.size / 2, y - 4.2, told, 9)
        _foot(page, cards, face, {card.name for card, _, _ in places})
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def png(card: Card, dpi: float) -> bytes:
    """Return one card as a PNG whose outer pixel edges are the card's cut edges."""
    buffer = io.BytesIO()
    Image.fromarray(draw(card, dpi / 25.4)).save(buffer, "PNG", dpi=(dpi, dpi))
    return buffer.getvalue()


def layout_record(cards: Sequence[Card], face: PlatenFace) -> dict[str, Any]:
    """Return what layout.json holds: each picture's corners in the platen frame, mm.

    The corners are the outer edges of the picture as laid, in the order top left, top
    right, bottom right, bottom left *of the picture*.
    """
    return {
        "platen_mm": [face.width, face.depth],
        "cards": [
            {
                "png": png_name(card),
                "corners_mm": [[round(float(x), 6), round(float(y), 6)] for x, y in card.outline()],
            }
            for card in cards
        ],
    }


def png_name(card: Card) -> str:
    """Return the file name of a card's picture."""
    return f"card-{card.number}-{card.name}.png"


def _sheets(
    cards: Sequence[Card], width: float, height: float
) -> list[list[tuple[Card, float, float]]]:
    """Return for each page its cards with the lower left corner of each, mm."""
    size = cards[0].size
    room = width - 2 * _EDGE, height - 2 * _EDGE - _HEADER - _FOOTER
    columns, rows = (max(1, int((side + _GAP) // (size + _GAP))) for side in room)
    columns, rows = min(columns, 2), min(rows, 2)
    step = size + _GAP
    sheets = []
    for first in range(0, len(cards), columns * rows):
        batch = cards[first : first + columns * rows]
        across, down = min(columns, len(batch)), -(-len(batch) // columns)
        left = (width - across * step + _GAP) / 2
        top = height - _EDGE - _HEADER - (room[1] - down * step + _GAP) / 2
        sheets.append(
            [
                (card, left + k % columns * step, top - k // columns * step - size)
                for k, card in enumerate(batch)
            ]
        )
    return sheets


def _head(page: _Page, face: PlatenFace, number: int, count: int) -> None:
    top = page.height - _EDGE
    page.text(_EDGE, top - 5.0, "Calibration cards", 17, bold=True)
    page.text(_EDGE, top - 11.0, f"for a platen of {_size(face)}", 10.5)
    page.canvas.setFont("Helvetica", 9)
    page.canvas.drawRightString(
        (page.width - _EDGE) / _POINT,
        (top - 5.0) / _POINT,
        f"Chalkbeam · sheet {number} of {count}",
    )


def _size(face: PlatenFace) -> str:
    inches = " × ".join(f"{side / 25.4:.3g}" for side in (face.width, face.depth))
    return f"{face.width:.4g} × {face.depth:.4g} mm ({inches} in), width × depth"


def _card(page: _Page, card: Card, x: float, y: float) -> None:
    """Draw a card whose lower left corner is at (x, y), with its cut lines."""
    size, module = card.size, card.module
    canvas = page.canvas
    raster = np.pad(card.charuco.raster, MARGIN, constant_values=255)
    # One path for all ink: neighbouring cells then leave no hairlines between them.
    path = canvas.beginPath()
    for row, cells in enumerate(raster):
        edges = np.flatnonzero(np.diff(np.concatenate([[255], cells, [255]]).astype(int)))
        for start, end in edges.reshape(-1, 2):
            path.rect(
                (x + start * module) / _POINT,
                (y + size - (row + 1) * module) / _POINT,
                (end - start) * module / _POINT,
                module / _POINT,
            )
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
    heavy = module / 2
    for edge in card.flush_sides():
        if edge in ("bottom", "top"):
            page.box(x, y if edge == "bottom" else y + size - heavy, size, heavy, 0)
        else:
            page.box(x if edge == "left" else x + size - heavy, y, heavy, size, 0)
    column, row = Charuco.white_squares(card.squares, card.squares)[NUMBER_SLOT]
    side = card.square
    middle = x + (MARGIN * module + (column + 0.5) * side)
    base = y + size - MARGIN * module - (row + 0.5) * side - 2 * module
    page.centred(middle, base, str(card.number), 4 * module / 0.72 / _POINT, bold=True)
    if module >= LEAST_NAMED_MODULE:
        name_height = 0.9 * module
        name_middle = MARGIN * module / 2
        if "top" not in card.flush_sides():
            name_middle = size - name_middle
        points = name_height / 0.72 / _POINT
        base = y + name_middle - name_height / 2
        page.centred(x + size / 2, base, card.name.upper(), points, bold=True)
    _cut_lines(page, x, y, size)


def _cut_lines(page: _Page, x: float, y: float, size: float) -> None:
    """Draw thin lines along the cut edges and on past the corners."""
    weight, past = 0.1, 4.5
    page.canvas.setStrokeGray(_GREY)
    for offset in (0.0, size):
        page.line(x - past, y + offset, x + size + past, y + offset, weight)
        page.line(x + offset, y - past, x + offset, y + size + past, weight)
    page.canvas.setStrokeGray(0)


def _foot(page: _Page, cards: Sequence[Card], face: PlatenFace, here: set[str]) -> None:
    top = _EDGE + _FOOTER
    page.canvas.setStrokeGray(_PALE)
    page.line(_EDGE, top - 3.0, page.width - _EDGE, top - 3.0, 0.2)
    page.canvas.setStrokeGray(0)
    _map(page, cards, face, here, _EDGE, top - 9.0)
    x = _EDGE + _MAP + 10.0
    y = top - 11.0
    steps = (
        ("Print at 100 %.", "“Actual size”, never “fit to page”. Then measure the bar."),
        ("Cut on the thin lines,", "along the outside of the heavy edges. Keep cards flat."),
        ("Heat off, platen cold, press open.", "A hot platen burns hands and paper."),
        ("Lay every card in its corner", "as in the map, its number upright for you,"),
        ("", "both heavy edges flush with the platen's edges."),
        ("Tape the cards down flat.", "Nothing may lie over them."),
    )
    number = 0
    for strong, plain in steps:
        if strong:
            number += 1
            page.text(x, y, f"{number}", 9.5, bold=True)
            page.text(x + 5.0, y, strong, 9.5, bold=True)
        shift = _text_width(page, strong) + 1.2 if strong else 0.0
        page.text(x + 5.0 + shift, y, plain, 9.5)
        y -= 5.2
    _bar(page, x, _EDGE + 10.5)


def _text_width(page: _Page, words: str) -> float:
    return float(page.canvas.stringWidth(words, "Helvetica-Bold", 9.5)) * _POINT


def _bar(page: _Page, x: float, y: float) -> None:
    """Draw the check bar: its two ends are the outer edges of the end strokes."""
    page.box(x, y, BAR, 1.6, 0)
    for k in range(11):
        tall = 5.5 if k in (0, 10) else 3.6 if k == 5 else 2.6
        at = x + BAR * k / 10
        # End strokes lie inside the bar's length, the others are centred on theirs.
        left = at if k == 0 else at - 0.4 if k == 10 else at - 0.2
        page.box(left, y, 0.4, tall, 0)
    page.text(
        x, y - 4.6, "This bar must be 100 mm long, end to end. If it is not, print again,", 9.5
    )
    page.text(x, y - 9.2, "or give its measured length, such as 99.6 mm, when you calibrate.", 9.5)


def _map(
    page: _Page, cards: Sequence[Card], face: PlatenFace, here: set[str], x: float, top: float
) -> None:
    """Draw the platen from above with its cards, those of this sheet in black."""
    canvas = page.canvas
    scale = _MAP / max(face.width, face.depth)
    width, depth = face.width * scale, face.depth * scale
    left, bottom = x + (_MAP - width) / 2, top - depth
    canvas.setLineWidth(0.4 / _POINT)
    canvas.setFillGray(0.94)
    canvas.roundRect(
        left / _POINT,
        bottom / _POINT,
        width / _POINT,
        depth / _POINT,
        min(2.0, max(face.corner_radius * scale, 0.8)) / _POINT,
        stroke=1,
        fill=1,
    )
    for card in cards:
        side = card.size * scale
        cx = left + width / 2 + card.centre[0] * scale - side / 2
        cy = bottom + depth / 2 + card.centre[1] * scale - side / 2
        ours = card.name in here
        page.box(cx, cy, side, side, 0.0 if ours else 0.7)
        canvas.setFillGray(1.0)
        points = side * 0.62 / _POINT
        page.centred(cx + side / 2, cy + side * 0.28, str(card.number), points, bold=True)
        canvas.setFillGray(0)
    page.centred(x + _MAP / 2, bottom - 4.6, "you stand here", 8.5)
    tip = x + _MAP / 2
    arrow = canvas.beginPath()
    arrow.moveTo(tip / _POINT, (bottom - 0.7) / _POINT)
    arrow.lineTo((tip - 1.3) / _POINT, (bottom - 2.0) / _POINT)
    arrow.lineTo((tip + 1.3) / _POINT, (bottom - 2.0) / _POINT)
    arrow.close()
    canvas.drawPath(arrow, stroke=0, fill=1)
