"""Lines of text on paper."""

import io

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont, features
from reportlab.graphics.shapes import Drawing, Path, String
from reportlab.lib.colors import black
from resvg_py import svg_to_bytes

from chalkbeam.paper.drawing_files import pdf_bytes, picture, svg_bytes
from chalkbeam.paper.fonts import BOLD, line_of
from overlay.text.typeface import BUNDLED_FONT, set_line

SIZE = 100.0
CAP = 0.718 * SIZE  # Helvetica's capitals, by Adobe's metrics


def inked(grey):
    """Where a picture is dark, cut to what is dark."""
    dark = grey < 128
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    return dark[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def from_pdf(drawing):
    return picture(pdf_bytes(drawing, "line"), 72)[..., 1]


def from_svg(drawing):
    data = svg_to_bytes(svg_string=svg_bytes(drawing).decode())
    image = Image.open(io.BytesIO(bytes(data))).convert("RGBA")
    return 255 - np.asarray(image)[..., 3]


@pytest.mark.skipif(
    not (features.check("raqm") and features.check("fribidi")),
    reason="this Pillow sets text without HarfBuzz or FriBidi",
)
@pytest.mark.parametrize("drawn", [from_pdf, from_svg])
@pytest.mark.parametrize("text", ["Customer: שלום (7)", "نادي التجديف"])
def test_text_from_right_to_left_is_drawn_as_it_is_read(text, drawn):
    # Outside reference: FriBidi (order), HarfBuzz (joints) and FreeType through Pillow.
    wide = set_line(text, CAP).advance
    drawing = Drawing(wide + 20, 180, line_of(10, 60, text, SIZE, black))
    ours = inked(drawn(drawing))
    size = round(SIZE * 0.718 / (1493 / 2048))  # the bundled font's H is 1493 of 2048 high
    font = ImageFont.truetype(str(BUNDLED_FONT), size, layout_engine=ImageFont.Layout.RAQM)
    image = Image.new("L", (round(wide) + 200, 300), 255)
    ImageDraw.Draw(image).text((50, 200), text, font=font, fill=0, anchor="ls")
    theirs = inked(np.asarray(image))
    assert ours.shape == pytest.approx(theirs.shape, rel=0.02, abs=1.5)
    theirs = np.asarray(Image.fromarray(theirs).resize(ours.shape[::-1]))
    assert (ours & theirs).sum() > 0.85 * (ours | theirs).sum()


def test_lines_end_where_they_are_told_and_fit():
    path = line_of(200, 0, "שלום", 20, black, BOLD, anchor="end")
    assert isinstance(path, Path)
    left, _, right, _ = path.getBounds()
    assert 199 < right <= 200
    assert right - left == pytest.approx(np.ptp(set_line("שלום", 0.718 * 20).ink[::2]), abs=0.01)
    long = "שלום " * 20
    left, _, right, _ = line_of(0, 0, long, 20, black, room=150.0).getBounds()
    assert 100 < right - left <= 150
    plain = line_of(0, 0, "Tern Harbour", 20, black, BOLD)
    assert isinstance(plain, String)  # a PDF's own text, which can be searched
    assert (plain.text, plain.fontName) == ("Tern Harbour", BOLD)
