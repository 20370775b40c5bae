"""The cut list of an order: each sheet of transfers, with the piece that each of them is for."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from reportlab.lib.colors import HexColor
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from calibration.refusal import Refusal
from calibration.worker import Lost, apart
from chalkbeam.basics.units import Unit
from chalkbeam.locations.library import location as find_location
from chalkbeam.orders.cut_list import CutList, CutPlace, CutSheet
from chalkbeam.orders.garment_words import cut_words
from chalkbeam.orders.pieces import Cut
from chalkbeam.paper.fonts import BOLD, FONT, line_of, write
from chalkbeam.paper.run_report_csv import safe
from chalkbeam.paper.sizes import PAPERS

HEADER = ("sheet", "copy", "of", "number", "transfer", "artwork", "pick", "piece", "imprint",
          "location", "style", "size", "colour", "name", "number_worn", "customer")  # fmt: skip

_MARGIN, _ROW = 42.0, 17.0
_INK, _GREY, _RULE = HexColor("#111111"), HexColor("#5A6570"), HexColor("#B8C0C6")
_SPARE = HexColor("#EEF1F3")
_PICTURE = 250.0  # highest, pt
_PIXELS = 1400


def cut_list_csv(found: CutList, unit: Unit) -> bytes:
    """Return the list as CSV, a row a transfer; spare ones have no piece."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(HEADER)
    for sheet in found.sheets:
        for place in sheet.places:
            transfer, piece, imprint = place.transfer, place.piece, place.imprint
            row = [sheet.name, sheet.copy, sheet.copies, place.number, transfer.words(unit),
                   transfer.text, transfer.pick or ""]  # fmt: skip
            if piece is not None and imprint is not None:
                row += [piece.id, imprint.id, imprint.location, piece.style, piece.size,
                        piece.colour, piece.name, piece.number, piece.customer]  # fmt: skip
            else:
                row += ["", "", "spare", *[""] * 6]
            writer.writerow([safe(each) if isinstance(each, str) else each for each in row])
    return text.getvalue().encode("utf-8-sig")


def cut_list_pdf(
    found: CutList, title: str, paper: str = "letter", unit: Unit = Unit.INCH
) -> bytes:
    """Return the list as a PDF: a ganged file with its codes on it, and every transfer in a row.

    Parameters
    ----------
    found : CutList
    title : str
        Of the order.
    paper : {"letter", "a4"}
    unit : Unit
        Of the transfers' sizes.
    """
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=PAPERS[paper], invariant=1)
    canvas.setTitle(f"Cut list: {title}")
    canvas.setCreator("Chalkbeam")
    pages = _Pages(canvas, PAPERS[paper], title, unit)
    pages.summary(found)
    pictures: dict[tuple[Path, Cut], GangPicture | None] = {}
    for sheet in found.sheets:
        picture = None
        if sheet.file is not None and sheet.cut is not None:
            key = (sheet.file, sheet.cut)
            if key not in pictures:
                pictures[key] = gang_picture(*key)
            picture = pictures[key]
        pages.sheet(sheet, picture)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


GangPicture = tuple[NDArray[np.uint8], tuple[tuple[float, float, float, float], ...]]
"""A ganged file on white, shape (h, w, 3), RGB, and the box of each artwork in shares of its width
and height: left, top, right, bottom."""


def gang_picture(path: Path, cut: Cut) -> GangPicture | None:
    """Return the picture of a ganged file; None where it cannot be read."""
    try:
        return apart(_gang, path, cut)
    except (Refusal, Lost):
        return None


def _gang(path: Path, cut: Cut) -> GangPicture:
    from chalkbeam.artwork.files import read_picture
    from chalkbeam.artwork.ink import bounds
    from chalkbeam.artwork.measure import ganged_inks

    picture = read_picture(path, page=cut.page)
    rgba = picture.rgba
    if cut.mirrored:
        rgba = np.ascontiguousarray(rgba[:, ::-1])
    _, inks = ganged_inks(picture, cut.width)
    height, width = rgba.shape[:2]
    boxes = []
    for ink in inks:
        left, top, right, bottom = bounds(ink.mask)
        if cut.mirrored:
            left, right = width - right, width - left
        boxes.append((left / width, top / height, right / width, bottom / height))
    scale = min(1.0, _PIXELS / max(width, height))
    small = cv2.resize(rgba, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    cover = small[..., 3:].astype(np.float32) / 255
    # Paler than it is: codes stand on it, and white ink is still seen.
    pale = 150 + small[..., :3].astype(np.float32) * (105 / 255)
    onto = 255 * (1 - cover) + np.minimum(pale, 225) * cover
    return np.asarray(np.rint(onto), dtype=np.uint8), tuple(boxes)


class _Pages:
    """Lays sheets out from the top of a page; `y` is how far down it is filled, pt."""

    def __init__(
        self, canvas: Canvas, size: tuple[float, float], title: str, unit: Unit
    ) -> None:  # fmt: skip
        self.canvas, self.title, self.unit = canvas, title, unit
        self.width, self.height = size
        self.inner = self.width - 2 * _MARGIN
        self.y = self.height - _MARGIN
        self._head()

    def _head(self) -> None:
        self._say(_MARGIN, f"Cut list: {self.title}", 17, BOLD, down=22)
        self.y -= 4

    def _say(
        self, x: float, text: str, size: float, font: str = FONT, *, down: float = 0.0,
        grey: bool = False, room: float | None = None,
    ) -> None:  # fmt: skip
        ink = _GREY if grey else _INK
        line = line_of(x, self.y - size, text, size, ink, font, room=room or self.inner)
        write(self.canvas, line)
        self.y -= down

    def _room(self, needed: float) -> None:
        """Begin another page unless there is so much room on this one."""
        if self.y - needed < _MARGIN:
            self.canvas.showPage()
            self.y = self.height - _MARGIN
            self._say(_MARGIN, f"Cut list: {self.title}", 9, down=16, grey=True)

    def summary(self, found: CutList) -> None:
        """Write what is short and what is spare."""
        kinds = (("Short", found.short), ("Spare", found.spares), ("Not listed", found.unlisted))
        for words, rows in kinds:
            if words == "Not listed" and not rows:
                continue
            told = "; ".join(f"{count} of {each.words(self.unit)}" for each, count in rows)
            font = BOLD if words == "Short" and rows else FONT
            self._say(_MARGIN, f"{words}: {told or 'nothing'}.", 10.5, font, down=16)
        self.y -= 10

    def sheet(self, sheet: CutSheet, picture: GangPicture | None) -> None:
        """Write a sheet: its picture if it is a ganged file, then a row for each transfer."""
        high = 0.0
        if picture is not None:
            rows, columns = picture[0].shape[:2]
            high = min(_PICTURE, self.inner * rows / columns)
        self._room(30 + high + 2 * _ROW)
        self._say(_MARGIN, sheet.title, 13, BOLD, down=20)
        if picture is not None:
            self._picture(sheet, picture, high)
        for place in sheet.places:
            self._row(place)
        self.y -= 14

    def _picture(self, sheet: CutSheet, picture: GangPicture, high: float) -> None:
        rgb, boxes = picture
        wide = high * rgb.shape[1] / rgb.shape[0]
        self.y -= high
        coded = cv2.imencode(".png", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR))[1].tobytes()
        self.canvas.drawImage(ImageReader(io.BytesIO(coded)), _MARGIN, self.y, wide, high)
        self.canvas.setStrokeColor(_RULE)
        self.canvas.setLineWidth(0.6)
        self.canvas.rect(_MARGIN, self.y, wide, high)
        for place in sheet.places:
            if place.number > len(boxes):
                continue
            left, top, right, bottom = boxes[place.number - 1]
            x, y = _MARGIN + wide * (left + right) / 2, self.y + high * (1 - (top + bottom) / 2)
            code = place.piece.id if place.piece is not None else "spare"
            size = float(np.clip((right - left) * wide / 3.2, 8, 20))
            half = size * 0.34 * len(code)
            self.canvas.setFillColor(HexColor("#FFFFFF"))
            self.canvas.rect(x - half, y - size * 0.6, 2 * half, size * 1.2, stroke=0, fill=1)
            write(self.canvas, line_of(x, y - size * 0.35, code, size, _INK, BOLD, "middle"))
        self.y -= 10

    def _row(self, place: CutPlace) -> None:
        self._room(_ROW)
        piece, imprint = place.piece, place.imprint
        top = self.y
        if piece is None:
            self.canvas.setFillColor(_SPARE)
            self.canvas.rect(_MARGIN, top - _ROW, self.inner, _ROW, stroke=0, fill=1)
        self.canvas.setStrokeColor(_RULE)
        self.canvas.setLineWidth(0.4)
        self.canvas.line(_MARGIN, top - _ROW, _MARGIN + self.inner, top - _ROW)
        self.canvas.setStrokeColor(_INK)
        self.canvas.rect(_MARGIN + 2, top - 13, 9, 9)
        self.y -= 3.5
        columns = (0.035, 0.085, 0.19, 0.44, 0.64)
        at = [_MARGIN + self.inner * share for share in columns]
        room = self.inner * 0.24
        self._say(at[0], str(place.number), 9.5, grey=True, room=26)
        self._say(at[1], piece.id if piece is not None else "spare", 11.5, BOLD, room=52)
        if piece is not None and imprint is not None:
            garment = cut_words(piece)
            who = " ".join(part for part in (piece.name, piece.number) if part)
            worn = ", ".join(part for part in (garment, piece.size, piece.colour, who) if part)
            self._say(at[2], worn, 9.5, room=room)
            self._say(at[3], find_location(imprint.location).title, 9.5, room=self.inner * 0.19)
        last = self.inner * 0.355
        self._say(at[4], place.transfer.words(self.unit), 9.5, grey=True, room=last)
        self.y = top - _ROW
