"""Technical flats: same bytes, right scale, labels apart, every landmark named."""

import io
import itertools
import xml.etree.ElementTree as ElementTree

import numpy as np
import pypdfium2
import pytest
import resvg_py
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from reportlab.graphics.shapes import Group, Rect, String
from reportlab.pdfbase.pdfmetrics import stringWidth

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.locations import location
from chalkbeam.paper.drawing import PageMap, draw_garment, fit_page, spread
from chalkbeam.paper.drawing_files import pdf_bytes, picture, save_drawing, svg_bytes
from chalkbeam.paper.plan import dimensions
from chalkbeam.placement import place
from tests.support.artwork_files import block_art


@given(st.lists(st.floats(-1000, 1000), max_size=12), st.floats(0.1, 50))
def test_labels_keep_apart_and_in_order(wanted, gap):
    wanted = sorted(wanted)
    placed = spread(wanted, gap)
    assert all(b - a >= gap - 1e-6 for a, b in itertools.pairwise(placed))
    if all(b - a >= gap for a, b in itertools.pairwise(wanted)):
        assert placed == pytest.approx(wanted, abs=1e-6)


def test_labels_move_as_little_as_possible():
    # worked by hand: two at 0 with gap 2 end at -1 and 1
    assert spread([0.0, 0.0, 10.0], 2.0) == pytest.approx([-1.0, 1.0, 10.0])


def test_page_map_turns_y_over():
    page = PageMap(100.0, 200.0, 0.5)
    assert page.points([(10.0, 20.0)]) == pytest.approx(np.array([[105.0, 190.0]]))


def test_fit_page_keeps_the_face_inside_its_box():
    face = garment("crew_tee", "3XL").face("front")
    page = fit_page(face, 10, 20, 300, 200)
    placed = page.points(np.vstack([face.outline, *(line.points for line in face.lines)]))
    assert (placed >= (10 - 1e-6, 20 - 1e-6)).all()
    assert (placed <= (310 + 1e-6, 220 + 1e-6)).all()
    reach = np.ptp(placed, axis=0) / (300, 200)
    assert reach.max() == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("style", "size"),
    [("crew_tee", "12M"), ("zip_hood", "3XL"), ("trousers", "M"), ("tote", "small")],
)
def test_every_landmark_is_named(style, size):
    piece = garment(style, size)
    pdf = pypdfium2.PdfDocument(pdf_bytes(draw_garment(piece), piece.label))
    text = " ".join(pdf[0].get_textpage().get_text_range().split())
    pdf.close()
    for name in piece.faces:
        if name.startswith("right_"):
            continue
        face = piece.face(name)
        for mark in (*face.along, *face.across):
            assert all(word in text for word in mark.split("_")), mark
    assert piece.label in text


def test_pdf_is_the_same_every_time():
    piece = garment("placket_shirt", "L")
    first, second = (pdf_bytes(draw_garment(piece, Unit.MM), piece.label) for _ in range(2))
    assert first == second


def test_formats(tmp_path):
    drawing = draw_garment(garment("crew_tee", "M"))
    for ending in ("png", "svg", "pdf"):
        save_drawing(drawing, tmp_path / f"tee.{ending}", "tee", 40)
    with Image.open(tmp_path / "tee.png") as image:
        assert image.width == pytest.approx(drawing.width * 40 / 72, abs=2)
    assert ElementTree.parse(tmp_path / "tee.svg").getroot().tag.endswith("svg")
    assert (tmp_path / "tee.pdf").read_bytes().startswith(b"%PDF")
    with pytest.raises(Refusal, match=r"\.png"):
        save_drawing(drawing, tmp_path / "tee.gif", "tee")
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(Refusal, match="cannot be written"):
        save_drawing(drawing, tmp_path / "file" / "tee.pdf", "tee")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "tee.pdf", "tee.png", "tee.svg"]


def test_nothing_is_drawn_off_the_page():
    for style in ("pullover_hood", "tote", "raglan"):
        drawing = draw_garment(garment(style, "standard" if style == "tote" else "YM"))
        pdf = pdf_bytes(drawing, style)
        document = pypdfium2.PdfDocument(pdf)
        picture = np.asarray(document[0].render(scale=1).to_pil().convert("L"))
        document.close()
        rim = np.concatenate([picture[:4].ravel(), picture[-4:].ravel(),
                              picture[:, :4].ravel(), picture[:, -4:].ravel()])  # fmt: skip
        assert rim.min() == 255, style
    assert io.BytesIO(pdf).read(5) == b"%PDF-"


def test_svg_shows_what_the_pdf_shows():
    # Independent: resvg draws the SVG, pdfium the PDF; compared without lettering (fonts differ).
    drawing = draw_garment(garment("placket_shirt", "M"))
    drawing.contents = [part for part in drawing.contents if not isinstance(part, String)]
    width, height = round(drawing.width), round(drawing.height)
    png = bytes(resvg_py.svg_to_bytes(svg_string=svg_bytes(drawing).decode()))
    with Image.open(io.BytesIO(png)) as image:
        drawn = np.asarray(image.convert("RGB").resize((width, height)), dtype=float)
    pdf = picture(pdf_bytes(drawing, "tee"), 72)[:height, :width].astype(float)
    apart = np.abs(drawn[: pdf.shape[0], : pdf.shape[1]] - pdf).max(axis=2)
    assert (apart > 60).mean() < 0.02


def test_svg_names_font_families():
    text = svg_bytes(draw_garment(garment("tote", "small"))).decode()
    assert "font-weight: bold" in text
    assert "Helvetica-" not in text


@pytest.mark.parametrize(
    ("style", "size", "line"),
    [
        ("tote", "standard", "upper edge"),
        ("trousers", "M", "waistband seam"),
        ("tank", "M", "the neck seam and the centre line."),
        ("crew_tee", "M", "a sleeve's from the shoulder seam"),
    ],
)
def test_the_page_says_where_distances_count_from(style, size, line):
    pdf = pdf_bytes(draw_garment(garment(style, size)), "x")
    document = pypdfium2.PdfDocument(pdf)
    try:
        assert line in document[0].get_textpage().get_text_range()
    finally:
        document.close()


def test_lines_of_a_plan_break_at_its_lengths():
    """Every length has blank paper behind it, drawn before it and as wide as its letters."""
    placed = place(garment("zip_hood", "L"), location("left-chest"), block_art(90, 90, margin=8))
    page = PageMap(0.0, 0.0, 0.5)
    found = 0
    parts = dimensions(placed, page, Unit.INCH).contents
    for part in (each for each in parts if isinstance(each, Group)):
        texts = [each for each in part.contents if isinstance(each, String)]
        papers = [each for each in part.contents if isinstance(each, Rect)]
        for text in texts:
            (paper,) = papers
            wide = stringWidth(text.text, text.fontName, text.fontSize)
            assert part.contents.index(paper) < part.contents.index(text)
            assert paper.x < text.x
            assert text.x + wide < paper.x + paper.width
            found += 1
    assert found == 2
