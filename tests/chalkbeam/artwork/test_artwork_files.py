"""Odd artwork files: pages, links, fonts, boxes; read rightly, or refused in a sentence."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from calibration.refusal import Refusal
from chalkbeam.artwork import fonts, load_artwork
from overlay.text.typeface import BUNDLED_FONT

SVG = '<svg xmlns="http://www.w3.org/2000/svg" {size} {more}>{inside}</svg>'
TRUE_SIZE = 'width="100mm" height="60mm" viewBox="0 0 100 60"'


def _svg(folder, inside, size=TRUE_SIZE, more=""):
    path = folder / "art.svg"
    path.write_text(SVG.format(size=size, more=more, inside=inside), encoding="utf-8")
    return path


def _boxed(folder, paper=(20, 30, 90), ink=(255, 255, 255)):
    image = Image.new("RGB", (400, 300), paper)
    image.paste(ink, (100, 80, 300, 200))
    image.save(folder / "boxed.png")
    return folder / "boxed.png"


def _told(art):
    return " ".join(str(remark) for remark in art.remarks)


@pytest.mark.parametrize(
    ("paper", "words"),
    [((20, 30, 90), "#141e5a"), ((255, 255, 255), "white"), ((0, 0, 0), "black")],
)
def test_boxed_art_says_what_it_took_for_background(tmp_path, paper, words):
    path = _boxed(tmp_path, paper, (200, 120, 30))
    art = load_artwork(path, width=100)
    assert art.ink.height == pytest.approx(60)
    assert f"its rim's colour, {words}, counts as bare carrier" in _told(art)
    assert "If the background is printed too, let all of it count." in _told(art)
    whole = load_artwork(path, width=100, whole=True)
    assert whole.ink.height == pytest.approx(75)
    assert whole.remarks == ()


def test_whole_leaves_transparency_alone(tmp_path):
    image = Image.new("RGBA", (400, 300), (0, 0, 0, 0))
    image.paste((200, 0, 0, 255), (100, 80, 300, 200))
    image.save(tmp_path / "clear.png")
    assert load_artwork(tmp_path / "clear.png", width=100, whole=True).ink.height == 60


@pytest.mark.parametrize("size", ['viewBox="0 0 100 60"', 'width="100%" viewBox="0 0 100 60"', ""])
def test_drawings_without_a_size_take_the_one_given(tmp_path, size):
    path = _svg(tmp_path, '<rect x="10" y="10" width="80" height="40"/>', size)
    assert load_artwork(path, width=80).ink.height == pytest.approx(40, abs=0.1)


@pytest.mark.parametrize(
    ("width", "millimetres"),
    [("72pt", 25.4), ("6pc", 25.4), ("1in", 25.4), ("2.54cm", 25.4), ("25.4mm", 25.4)],
)
def test_physical_units_of_a_drawing(tmp_path, width, millimetres):
    # CSS Values and Units 4, 6.2: 1in = 2.54cm = 25.4mm = 72pt = 6pc.
    path = _svg(
        tmp_path, '<rect width="100" height="60"/>', f'width="{width}" viewBox="0 0 100 60"'
    )
    assert load_artwork(path).ink.width == pytest.approx(millimetres, rel=1e-3)


@pytest.mark.parametrize("shown", [1.0, 0.5])
def test_where_ink_ends_within_a_pixel_of_a_drawing_is_measured(tmp_path, shown):
    """The drawing's own geometry: a quarter of the 0.2 mm that a pixel is, at each edge.

    Counted by whole pixels it would be 0.26 mm too wide.
    """
    size = 'width="360mm" height="200mm" viewBox="0 0 360 200"'
    rect = f'<rect x="20.13" y="30.13" width="299.74" height="100.14" fill-opacity="{shown}"/>'
    art = load_artwork(_svg(tmp_path, rect, size))
    assert (art.ink.width, art.ink.height) == pytest.approx((299.74, 100.14), abs=0.1)
    assert art.ink.left - art.sheet.left == pytest.approx(20.13, abs=0.05)
    assert np.ptp(np.array(art.hull), axis=0) == pytest.approx((299.74, 100.14), abs=0.1)


def test_a_script_is_not_run_and_a_linked_picture_must_be_there(tmp_path):
    rect = '<rect x="10" y="10" width="80" height="40"/>'
    assert load_artwork(
        _svg(tmp_path, f"<script>alert(1)</script>{rect}")
    ).ink.width == pytest.approx(80, abs=0.05)
    _boxed(tmp_path)
    linked = '<image href="{}" x="10" y="10" width="80" height="40"/>'
    assert load_artwork(_svg(tmp_path, linked.format("boxed.png"))).ink.width > 50
    for link in ("gone.png", "https://example.invalid/a.png", ""):
        with pytest.raises(Refusal, match="links to a picture that is not there"):
            load_artwork(_svg(tmp_path, linked.format(link) + rect))


def test_text_is_drawn_in_the_font_it_names(tmp_path, monkeypatch):
    monkeypatch.setattr(fonts, "installed", lambda: {"DejaVu Sans": (BUNDLED_FONT,)})
    text = '<text x="5" y="40" font-size="30" {}>HH</text>'
    named = load_artwork(_svg(tmp_path, text.format('font-family="Gone, DejaVu Sans"')))
    # The bundled font's H, from its own outlines: 1493 of 2048 units high (glyf table).
    assert named.ink.height == pytest.approx(30 * 1493 / 2048, abs=0.1)
    assert "letters are drawn in this computer's DejaVu Sans" in _told(named)
    # what the drawing leaves to the computer is drawn in what there is
    for left_open in ("", 'font-family="serif"', "style=\"font-family:'Gone',sans-serif\""):
        art = load_artwork(_svg(tmp_path, text.format(left_open)))
        assert art.ink.height == pytest.approx(named.ink.height, abs=0.05)


@pytest.mark.parametrize(
    "inside",
    [
        '<text x="5" y="40" font-family="Gone Sans">HH</text>',
        '<g style="font-family: &quot;Gone Sans&quot;; fill: red"><text y="40">HH</text></g>',
        '<style>.a, .b { font-family: "Gone Sans" }</style><text class="b" y="40">HH</text>',
        '<text y="40">H<tspan font-family="Gone Sans">H</tspan></text>',
    ],
)
def test_text_in_a_font_that_is_not_there_is_refused(tmp_path, monkeypatch, inside):
    # The renderer would leave it out, and the ink be placed without it.
    monkeypatch.setattr(fonts, "installed", lambda: {"DejaVu Sans": (BUNDLED_FONT,)})
    with pytest.raises(Refusal, match="sets text in Gone Sans, a font this computer does not have"):
        load_artwork(_svg(tmp_path, f'{inside}<rect width="9" height="9"/>'))


def test_fonts_that_no_text_uses_do_not_matter(tmp_path, monkeypatch):
    monkeypatch.setattr(fonts, "installed", lambda: {"DejaVu Sans": (BUNDLED_FONT,)})
    unused = '<style>.u { font-family: Gone }</style><rect class="u" width="9" height="9"/>'
    assert load_artwork(_svg(tmp_path, unused)).remarks == ()
    lettered = f'{unused}<text y="40" font-family="DejaVu Sans">HH</text>'
    assert load_artwork(_svg(tmp_path, lettered))


def test_letters_that_a_font_lacks_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(fonts, "installed", lambda: {"DejaVu Sans": (BUNDLED_FONT,)})
    with pytest.raises(Refusal, match="has “字”, which its font"):
        load_artwork(_svg(tmp_path, '<text y="40" font-family="DejaVu Sans">H字</text>'))


def test_fonts_are_found_by_their_family(tmp_path, monkeypatch):
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "bold.ttf").write_bytes(BUNDLED_FONT.read_bytes())
    (tmp_path / "broken.ttf").write_bytes(b"no font")
    monkeypatch.setattr(fonts, "font_folders", lambda: [tmp_path, tmp_path / "none"])
    assert list(fonts.scanned()) == [(tmp_path / "sub" / "bold.ttf", ["DejaVu Sans"])]


def test_of_several_pictures_the_first_is_taken_and_told(tmp_path):
    frames = [Image.open(_boxed(tmp_path)).copy(), Image.new("RGB", (400, 300), "white")]
    for name in ("many.tif", "many.webp", "many.gif"):
        frames[0].save(tmp_path / name, save_all=True, append_images=frames[1:])
        art = load_artwork(tmp_path / name, width=100)
        assert art.ink.height == pytest.approx(60, abs=1)
        assert "holds 2 pictures: the first" in _told(art)


def _pdf(path, turn=0, crop=None, pages=1):
    canvas = Canvas(str(path), pagesize=(200 * mm, 100 * mm))
    for number in range(pages):
        canvas.setPageRotation(turn)
        canvas.rect(20 * mm, 20 * mm, (80 - 20 * number) * mm, 40 * mm, fill=1, stroke=0)
        canvas.rect(180 * mm, 90 * mm, 5 * mm, 5 * mm, fill=1, stroke=0)
        if crop:
            canvas.setCropBox(tuple(side * mm for side in crop))
        canvas.showPage()
    canvas.save()
    return path


def test_pages_of_a_pdf(tmp_path):
    crop = (10, 10, 120, 80)
    path = _pdf(tmp_path / "a.pdf", pages=2, crop=crop)
    first = load_artwork(path)
    assert (first.ink.width, first.ink.height) == pytest.approx((80, 40), abs=0.2)
    assert (first.sheet.width, first.sheet.height) == pytest.approx((110, 70), abs=0.2)
    assert "Page 1 of 2 is taken" in _told(first)
    assert load_artwork(path, page=2).ink.width == pytest.approx(60, abs=0.2)
    # turned by its viewer, and its crop box cuts the block at 80 mm
    turned = load_artwork(_pdf(tmp_path / "b.pdf", turn=90, crop=(10, 10, 80, 120)))
    assert (turned.ink.width, turned.ink.height) == pytest.approx((40, 60), abs=0.2)
    assert turned.remarks == ()


@pytest.mark.parametrize("mode", ["CMYK-tif", "CMYK-jpg", "16-bit grey", "16-bit colour", "1-bit"])
def test_rare_kinds_of_pixel(tmp_path, mode):
    if mode.startswith("16"):
        shape = (300, 400) if "grey" in mode else (300, 400, 3)
        pixels = np.full(shape, 65535, np.uint16)
        pixels[80:200, 100:300] = 20000
        path = tmp_path / "deep.png"
        path.write_bytes(cv2.imencode(".png", pixels)[1].tobytes())
    else:
        kind, _, ending = mode.partition("-")
        bare, inked = ((0, 0, 0, 0), (0, 255, 255, 0)) if kind == "CMYK" else (1, 0)
        image = Image.new("CMYK" if kind == "CMYK" else "1", (400, 300), bare)
        image.paste(inked, (100, 80, 300, 200))
        path = tmp_path / f"art.{ending if kind == 'CMYK' else 'png'}"
        image.save(path)
    art = load_artwork(path, width=100)
    assert (art.ink.height, art.sheet.width) == pytest.approx((60, 200), abs=2)


@pytest.mark.parametrize(
    ("size", "words"), [((1, 1), "one colour from edge to edge"), ((25_000, 25_000), "300 dpi")]
)
def test_absurd_pictures_are_refused_in_a_sentence(tmp_path, size, words):
    stream = io.BytesIO()
    Image.new("1", size, 1).save(stream, "PNG")
    (tmp_path / "art ⛵ קבוצה 漢.png").write_bytes(stream.getvalue())
    with pytest.raises(Refusal, match=words):
        load_artwork(tmp_path / "art ⛵ קבוצה 漢.png", width=100)
