"""A ticket for each piece of an order: what it is, what goes on it, and its code to be scanned."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import PurePath

import segno
from reportlab.graphics.barcode import code128
from reportlab.lib.colors import HexColor
from reportlab.lib.units import inch
from reportlab.pdfgen.canvas import Canvas

from chalkbeam.basics.units import Unit, format_length
from chalkbeam.locations.library import location as find_location
from chalkbeam.orders.garment_words import cut_words
from chalkbeam.orders.pieces import ArtKind, Imprint, Piece
from chalkbeam.paper.fonts import BOLD, FONT, line_of, write
from chalkbeam.paper.sizes import PAPERS

LABEL = (4 * inch, 2.5 * inch)
"""One ticket, and the sheet of a label printer, pt."""
ACROSS, DOWN = 2, 4
"""Tickets on a sheet of A4 or Letter."""
_QUIET = 4
"""Modules of white around a QR code (ISO/IEC 18004, 6.3.8)."""
_BAR = 1.44
"""Width of the narrowest bar, pt: a fiftieth of an inch, whole dots of the usual printers (4 of 203
an inch, 6 of 300); else bars come out uneven."""
_INK, _GREY = HexColor("#111111"), HexColor("#5A6570")


def tickets_pdf(
    pieces: Sequence[Piece], title: str, paper: str = "letter", unit: Unit = Unit.INCH
) -> bytes:
    """Return the tickets as a PDF, eight to a sheet or one to a label.

    Parameters
    ----------
    pieces : sequence of Piece
    title : str
        Of the order.
    paper : {"letter", "a4", "label"}
    unit : Unit
        Of the prints' widths.
    """
    buffer = io.BytesIO()
    size = LABEL if paper == "label" else PAPERS[paper]
    canvas = Canvas(buffer, pagesize=size, invariant=1)
    canvas.setTitle(f"Tickets: {title}")
    canvas.setCreator("Chalkbeam")
    a_page = 1 if paper == "label" else ACROSS * DOWN
    left = (size[0] - LABEL[0] * (1 if a_page == 1 else ACROSS)) / 2
    top = size[1] - (size[1] - LABEL[1] * (1 if a_page == 1 else DOWN)) / 2
    for number, piece in enumerate(pieces):
        place = number % a_page
        if number and place == 0:
            canvas.showPage()
        row, column = divmod(place, ACROSS)
        x, y = left + column * LABEL[0], top - (row + 1) * LABEL[1]
        if a_page > 1:
            canvas.setStrokeColor(HexColor("#B8C0C6"))
            canvas.setLineWidth(0.4)
            canvas.rect(x, y, *LABEL)
        _ticket(canvas, x, y, piece, title, unit)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _ticket(canvas: Canvas, x: float, y: float, piece: Piece, title: str, unit: Unit) -> None:
    """Draw a ticket with its lower left corner at (x, y), pt."""
    wide, high = LABEL
    edge, side = 11.0, 74.0
    room = wide - 3 * edge - side
    line = y + high - edge

    def say(text: str, size: float, font: str = FONT, grey: bool = False) -> None:
        nonlocal line
        line -= size * 1.16
        colour = _GREY if grey else _INK
        write(canvas, line_of(x + edge, line, text, size, colour, font, room=room))

    garment = cut_words(piece)
    say(f"{piece.size}   {piece.colour}", 19, BOLD)
    say(garment, 11)
    if whose := " ".join(part for part in (piece.name, piece.number) if part):
        say(whose, 13, BOLD)
    if piece.recipient:
        say(f"for {piece.recipient}", 10)
    line -= 3
    least = y + edge + 22 + 34  # the barcode, and a note
    for number, imprint in enumerate(piece.imprints):
        if line < least and number + 1 < len(piece.imprints):
            say(f"and {len(piece.imprints) - number} more prints", 9.5, BOLD)
            break
        say(_imprint_words(imprint, unit), 9.5)
    if piece.note:
        line -= 2
        say(piece.note, 10.5, BOLD)
    code = code128.Code128(piece.id, barWidth=_BAR, barHeight=22, quiet=False)
    code.drawOn(canvas, x + edge, y + edge)
    _qr(canvas, x + wide - edge - side, y + high - edge - side, side, piece.id)
    at = x + wide - edge - side / 2
    write(canvas, line_of(at, y + high - edge - side - 17, piece.id, 17, _INK, BOLD, "middle"))
    order = " ".join(part for part in (piece.customer, piece.order_number) if part) or title
    room = wide - 2 * edge - code.width - 10
    foot = line_of(x + wide - edge, y + edge, order, 8, _GREY, FONT, "end", room=room)
    write(canvas, foot)


def _imprint_words(imprint: Imprint, unit: Unit) -> str:
    """Return where an imprint goes, what it is and how wide."""
    art = imprint.art
    what = PurePath(art.text).stem if art.kind is ArtKind.FILE else art.text
    where = find_location(imprint.location).title
    wide = f", {format_length(imprint.width, unit)}" if imprint.width else ""
    return f"{where}: {what}{wide}"


def _qr(canvas: Canvas, x: float, y: float, side: float, text: str) -> None:
    """Draw a QR code with its white rim into a square, pt."""
    rows = [list(row) for row in segno.make(text, error="m", micro=False).matrix]
    module = side / (len(rows) + 2 * _QUIET)
    canvas.setFillColor(_INK)
    for down, row in enumerate(rows):
        for across, dark in enumerate(row):
            if dark:
                left = x + (across + _QUIET) * module
                canvas.rect(
                    left, y + side - (down + _QUIET + 1) * module, module, module,
                    stroke=0, fill=1,
                )  # fmt: skip
