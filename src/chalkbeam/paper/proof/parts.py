"""What both kinds of proof draw alike: words, the art in place, the box to sign."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from chalkbeam.paper.drawing import INK, QUIET, PageMap
from chalkbeam.paper.fonts import FONT, line_of, write
from chalkbeam.paper.proof.values import Proof

MARGIN = 44.0
RULE = HexColor("#C9CFD4")


def text_at(canvas: Canvas, x: float, y: float, text: str, font: str, size: float,
          colour: Color = INK, right: bool = False, room: float = 1e6) -> None:  # fmt: skip
    """Write a line of text at a place, pt, no wider than `room`."""
    write(canvas, line_of(x, y, text, size, colour, font, "end" if right else "start", room))


def draw_art(canvas: Canvas, proof: Proof, page: PageMap, opacity: float = 1.0) -> None:
    """Draw the art where the placement puts it."""
    artwork, pose = proof.placement.artwork, proof.placement.garment_from_art
    origin = page.points([(pose.x, pose.y)])[0]
    flip = np.diag([1.0, -1.0])
    linear = page.scale * flip @ pose.matrix @ flip
    canvas.saveState()
    canvas.transform(
        linear[0, 0], linear[1, 0], linear[0, 1], linear[1, 1], float(origin[0]), float(origin[1])
    )
    canvas.setFillAlpha(opacity)
    width, height = artwork.ink.width, artwork.ink.height
    canvas.drawImage(image_of(proof.art), -width / 2, -height / 2, width, height, mask="auto")
    canvas.restoreState()


def image_of(pixels: NDArray[np.uint8]) -> ImageReader:
    """Return pixels, RGB or RGBA, as a canvas draws them."""
    from PIL import Image

    return ImageReader(Image.fromarray(pixels))


def signature(canvas: Canvas, box: tuple[float, float, float, float]) -> None:
    """Draw the box in which the customer says go ahead, or what to change (x, y, w, h), pt."""
    x, y, wide, high = box
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.8)
    canvas.roundRect(x, y, wide, high, 4)
    canvas.setStrokeColor(INK)
    for number, words in enumerate(("Go ahead as shown", "Change as noted below")):
        left = x + 12 + number * 150
        canvas.rect(left, y + high - 22, 9, 9)
        text_at(canvas, left + 15, y + high - 20.5, words, FONT, 9.5)
    third = (wide - 48) / 3
    starts = [x + 12 + number * (third + 12) for number in range(3)]
    lines = [("Notes", x + 12, x + wide - 12, y + 38)]
    lines += [
        (name, start, start + third, y + 16)
        for name, start in zip(("Name", "Signature", "Date"), starts, strict=True)
    ]
    for name, start, end, level in lines:
        canvas.setLineWidth(0.5)
        canvas.line(start, level, end, level)
        text_at(canvas, start, level - 8.5, name, FONT, 7, QUIET)
