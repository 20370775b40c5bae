"""Drawings as files: PDF, SVG or PNG. The PNG is the PDF, rendered, so that all three agree."""

from __future__ import annotations

import copy
import io
import pathlib

import numpy as np
from reportlab.graphics import renderPDF, renderSVG
from reportlab.graphics.shapes import Drawing, Group, Path, PolyLine
from reportlab.lib.colors import Color

from calibration.files import write_whole
from calibration.refusal import Refusal
from chalkbeam.paper.fonts import BOLD, BUNDLED, FONT, SLANTED

FORMATS = (".pdf", ".svg", ".png")


def pdf_bytes(drawing: Drawing, title: str) -> bytes:
    """Return a drawing as a PDF of one page, the same bytes every time."""
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(drawing.width, drawing.height), invariant=1)
    canvas.setTitle(title)
    canvas.setCreator("Chalkbeam")
    renderPDF.draw(drawing, canvas, 0, 0)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def svg_bytes(drawing: Drawing) -> bytes:
    """Return a drawing as SVG.

    Works around three faults of the SVG writer: it fills open lines with black,
    knows see-through colours but not the opacity of a shape, and takes a PDF font's
    name for a family.
    """
    text: str = renderSVG.drawToString(_plain_shapes(copy.deepcopy(drawing)))
    family = "font-family: Helvetica, Arial, sans-serif;"
    for font, style in (
        (BOLD, " font-weight: bold;"),
        (BUNDLED, " font-weight: bold;"),
        (SLANTED, " font-style: italic;"),
        (FONT, ""),
    ):
        text = text.replace(f"font-family: {font};", family + style)
    return text.encode()


def _plain_shapes(group: Group) -> Group:
    contents = []
    for shape in group.contents:
        if isinstance(shape, Group):
            contents.append(_plain_shapes(shape))
            continue
        for part in ("fill", "stroke"):
            opacity = getattr(shape, f"{part}Opacity", None)
            colour = getattr(shape, f"{part}Color", None)
            if opacity is not None and colour is not None:
                seen = Color(colour.red, colour.green, colour.blue, alpha=opacity)
                setattr(shape, f"{part}Color", seen)
        contents.append(_open_path(shape) if isinstance(shape, PolyLine) else shape)
    group.contents = contents
    return group


def _open_path(line: PolyLine) -> Path:
    path = Path(
        fillColor=None, strokeColor=line.strokeColor, strokeWidth=line.strokeWidth,
        strokeDashArray=line.strokeDashArray, strokeLineJoin=line.strokeLineJoin,
        strokeLineCap=line.strokeLineCap,
    )  # fmt: skip
    points = list(zip(line.points[::2], line.points[1::2], strict=True))
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    return path


def picture(pdf: bytes, dots_per_inch: float, page: int = 0) -> np.ndarray:
    """Return a page of a PDF as a picture, shape (H, W, 3), RGB, uint8."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    try:
        bitmap = document[page].render(scale=dots_per_inch / 72, rev_byteorder=True)
        return np.array(bitmap.to_numpy()[:, :, :3])
    finally:
        document.close()


def save_drawing(
    drawing: Drawing, path: pathlib.Path, title: str, dots_per_inch: float = 160.0
) -> None:
    """Write a drawing as PDF, SVG or PNG, by the name's ending.

    Raises
    ------
    Refusal
        If the ending is none of these or the file cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise Refusal(f"{path} must end in {', '.join(FORMATS)}.")
    if ending == ".svg":
        write_whole(path, svg_bytes(drawing))
        return
    pdf = pdf_bytes(drawing, title)
    if ending == ".png":
        from PIL import Image

        buffer = io.BytesIO()
        image = Image.fromarray(picture(pdf, dots_per_inch))
        image.save(buffer, "PNG", dpi=(dots_per_inch, dots_per_inch))
        pdf = buffer.getvalue()
    write_whole(path, pdf)
