"""Artwork at true size: ink, balance, baseline, outline, sheet."""

import io
import math

import cv2
import numpy as np
import pytest
import scipy.ndimage
import shapely
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from calibration.refusal import Refusal
from chalkbeam.artwork import (
    Box,
    CentreRule,
    SizeUnknown,
    extents,
    load_artwork,
    load_gang,
    optical_centre,
)
from chalkbeam.artwork.files import read_picture
from chalkbeam.artwork.ink import centroid, find_baseline, find_ink
from chalkbeam.locations import location
from tests.support.images import NAVY, block, canvas, lettered, noise_blob


def test_width_is_that_of_the_ink(tmp_path):
    art = load_artwork(block(tmp_path / "block.png"), width=100)
    assert (art.ink.width, art.ink.height) == pytest.approx((100, 50))
    assert art.ink.centre == pytest.approx((0, 0))
    # 400 x 300 px at 2 px/mm; the ink's middle lies at (200, 130) px
    assert (art.sheet.left, art.sheet.right) == pytest.approx((-100, 100))
    assert (art.sheet.top, art.sheet.bottom) == pytest.approx((-65, 85))


def test_height_and_sheet_width_size_it_too(tmp_path):
    path = block(tmp_path / "block.png")
    assert load_artwork(path, height=50).ink.width == pytest.approx(100)
    assert load_artwork(path, sheet_width=200).ink.width == pytest.approx(100)
    assert load_artwork(path, width=100, height=50).ink.height == pytest.approx(50)
    for height in (80, 45):
        with pytest.raises(Refusal, match="proportions"):
            load_artwork(path, width=100, height=height)


def test_sheet_margin_cuts_the_sheet(tmp_path):
    art = load_artwork(block(tmp_path / "block.png"), width=100, sheet_margin=8)
    assert art.sheet == art.ink.grown(8)


@pytest.mark.parametrize("seed", range(6))
def test_centroid_agrees_with_scipy(seed):
    # Outside reference: scipy.ndimage.center_of_mass (pixel middles; ours counts pixel edges).
    ink = find_ink("noise", noise_blob(seed))
    y, x = scipy.ndimage.center_of_mass(ink.cover)
    assert centroid(ink.cover) == pytest.approx((x + 0.5, y + 0.5), abs=1e-5)


def test_optical_centre_takes_the_box_where_nobody_sees_the_difference():
    box = Box(-50, -20, 50, 20)
    assert optical_centre(box, (2.0, 1.0)).point == (0, 0)
    assert optical_centre(box, (8.0, 1.0)).point == (8.0, 0)
    held = optical_centre(box, (30.0, -12.0))
    assert held.point == pytest.approx((10.0, -4.0))
    assert "30 mm off" in str(held.reason)


@given(x=st.floats(-50, 50), y=st.floats(-20, 20))
def test_optical_centre_follows_the_ink_but_never_far(x, y):
    box = Box(-50, -20, 50, 20)
    point = optical_centre(box, (x, y)).point
    assert abs(point[0]) <= 10 + 1e-9
    assert abs(point[1]) <= 4 + 1e-9
    assert abs(point[0] - x) <= max(abs(x) - 10, 3) + 1e-9
    assert optical_centre(box, (x, y), CentreRule.INK).point == (x, y)
    assert optical_centre(box, (x, y), CentreRule.BOX).point == (0, 0)


def test_art_without_a_size_comes_in_the_usual_one(tmp_path):
    path = block(tmp_path / "block.png")
    spot = location("left-chest")
    art = load_artwork(path, usual=spot.usual_for("youth"))
    assert art.ink.width == pytest.approx(spot.preset.width["youth"].usual)
    assert load_artwork(path, width=60, usual=spot.usual_for("adult")).ink.width == 60
    # the outline is as fine as that of the same art at a width given
    assert art.outline == load_artwork(path, width=art.ink.width).outline


def test_background_tells_the_ink_where_there_is_no_alpha(tmp_path):
    clear = load_artwork(block(tmp_path / "a.png"), width=100)
    for name, paper in (("white.jpg", "white"), ("red.webp", (200, 30, 40)), ("grey.tif", "grey")):
        image = Image.new("RGB", (400, 300), paper)
        image.paste((18, 52, 96), (100, 80, 300, 180))
        image.save(tmp_path / name, quality=88)
        art = load_artwork(tmp_path / name, width=100)
        # JPEG and WebP blur an edge by up to two pixels, a millimetre here
        assert art.sheet.left == pytest.approx(clear.sheet.left, abs=2)
        assert art.ink.height == pytest.approx(50, abs=1.5)
        assert any("no transparency" in str(remark) for remark in art.remarks)


def test_pale_ink_counts_and_a_faint_halo_does_not(tmp_path):
    alpha = np.zeros((300, 400), np.uint8)
    alpha[100:200, 100:300] = round(0.3 * 255)  # a tint of 30 %
    alpha[100:200, 300:360] = round(0.05 * 255)  # a halo
    pixels = np.dstack([np.full((300, 400, 3), 40, np.uint8), alpha])
    Image.fromarray(pixels).save(tmp_path / "tint.png")
    assert load_artwork(tmp_path / "tint.png", width=100).ink.height == pytest.approx(50)


def test_colours_weigh_alike_once_they_are_plain_to_see(tmp_path):
    image = Image.new("RGB", (500, 200), "white")
    image.paste((0, 0, 0), (50, 50, 150, 150))
    image.paste((40, 90, 200), (350, 50, 450, 150))
    image.save(tmp_path / "two.png")
    art = load_artwork(tmp_path / "two.png", width=100)
    assert art.centroid == pytest.approx((0, 0), abs=0.05)


def test_a_small_sign_beside_the_art_is_no_speck(tmp_path):
    image = Image.new("RGBA", (1000, 600), (0, 0, 0, 0))
    image.paste((0, 0, 0, 255), (100, 100, 700, 500))
    image.paste((0, 0, 0, 255), (780, 100, 800, 120))  # 20 px: a registered mark
    image.save(tmp_path / "sign.png")
    assert load_artwork(tmp_path / "sign.png", width=175).ink.height == pytest.approx(100)


def test_full_bleed_picture_is_all_ink(tmp_path):
    rng = np.random.default_rng(1)
    photo = cv2.resize(rng.integers(0, 256, (9, 12, 3), dtype=np.uint8), (240, 180))
    Image.fromarray(photo).save(tmp_path / "photo.png")
    art = load_artwork(tmp_path / "photo.png", width=240)
    assert art.ink.height == pytest.approx(180)
    assert art.ink == art.sheet
    assert any("all of it counts" in str(remark) for remark in art.remarks)


def test_a_rim_of_two_colours_is_no_paper(tmp_path):
    image = Image.new("RGB", (300, 200), "white")
    image.paste((18, 52, 96), (0, 0, 300, 70))  # art that runs off three edges
    image.save(tmp_path / "bled.png")
    art = load_artwork(tmp_path / "bled.png", width=300)
    assert art.ink == art.sheet
    assert any("all of it counts" in str(remark) for remark in art.remarks)


def test_specks_are_left_out_but_halftone_dots_are_not(tmp_path):
    image, draw = canvas(1000, 600)
    draw.rectangle((300, 200, 699, 399), fill=NAVY)
    draw.rectangle((20, 20, 21, 21), fill=NAVY)  # a speck of dust far out
    for x in range(710, 800, 10):  # a halftone's tail: small dots close to one another
        draw.rectangle((x, 300, x + 2, 302), fill=NAVY)
    image.save(tmp_path / "dust.png")
    art = load_artwork(tmp_path / "dust.png", width=493)  # 300 … 793 px at 1 px/mm
    assert art.ink.height == pytest.approx(200)
    assert any("1 lonely speck" in str(remark) for remark in art.remarks)


def test_exif_rotation_and_rare_pixel_formats(tmp_path):
    image = Image.new("RGB", (300, 200), "white")
    image.paste((0, 0, 0), (50, 50, 250, 100))  # 200 x 50 px as stored
    exif = Image.Exif()
    exif[0x0112] = 6  # EXIF orientation 6: to be shown turned by a quarter
    image.save(tmp_path / "turned.jpg", exif=exif, quality=95)
    art = load_artwork(tmp_path / "turned.jpg", height=200)
    assert art.ink.width == pytest.approx(50, abs=2)
    Image.fromarray(np.eye(40, dtype=np.uint16) * 60000).save(tmp_path / "deep.png")
    assert load_artwork(tmp_path / "deep.png", width=40).ink.height == pytest.approx(40)
    palette = Image.new("P", (40, 40), 0)
    palette.putpalette([0, 0, 0, 200, 10, 10])
    palette.paste(1, (10, 10, 30, 20))
    palette.save(tmp_path / "few.gif", transparency=0)
    assert load_artwork(tmp_path / "few.gif", width=20).ink.height == pytest.approx(10)


def test_a_long_sheet_is_read_in_fewer_pixels(tmp_path):
    # 22 x 60 in at 300 dpi, as sheets of many transfers come
    image = Image.new("1", (6600, 18000), 1)
    image.paste(0, (600, 3000, 3600, 4500))
    image.save(tmp_path / "roll.png")
    picture = read_picture(tmp_path / "roll.png")
    assert picture.rgba.shape[0] * picture.rgba.shape[1] <= 20e6
    art = load_artwork(tmp_path / "roll.png", sheet_width=22 * 25.4)
    assert (art.ink.width, art.ink.height) == pytest.approx((254, 127), abs=0.4)


def test_svg_in_millimetres_keeps_its_true_size(tmp_path):
    # CSS: 1in = 25.4mm; the viewBox scales user units to the given physical width.
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="{h}" viewBox="0 0 100 50">'
        '<circle cx="30" cy="25" r="20" fill="#123"/></svg>'
    )
    (tmp_path / "mm.svg").write_text(drawing.format(w="200mm", h="100mm"))
    art = load_artwork(tmp_path / "mm.svg")
    assert (art.ink.width, art.ink.height) == pytest.approx((80, 80), abs=0.3)
    assert art.sheet.width == pytest.approx(200, abs=0.1)
    (tmp_path / "in.svg").write_text(drawing.format(w="4in", h="2in"))
    assert load_artwork(tmp_path / "in.svg").sheet.width == pytest.approx(101.6, abs=0.1)
    (tmp_path / "px.svg").write_text(drawing.format(w="200", h="100"))
    with pytest.raises(SizeUnknown, match="how large it is printed"):
        load_artwork(tmp_path / "px.svg")
    assert load_artwork(tmp_path / "px.svg", width=80).ink.height == pytest.approx(80, abs=0.3)


def test_pdf_keeps_its_true_size(tmp_path):
    # ISO 32000-1, 8.3.2.3: a unit of default user space is 1/72 in. Drawn by reportlab.
    from reportlab.pdfgen.canvas import Canvas

    path = tmp_path / "sheet.pdf"
    page = Canvas(str(path), pagesize=(300, 200))
    page.rect(50, 60, 72 * 2, 36, stroke=0, fill=1)  # 2 in x 1/2 in
    page.showPage()
    page.circle(150, 100, 72, stroke=0, fill=1)
    page.save()
    art = load_artwork(path)
    assert (art.ink.width, art.ink.height) == pytest.approx((50.8, 12.7), abs=0.1)
    assert art.sheet.width == pytest.approx(300 / 72 * 25.4, abs=0.1)
    assert load_artwork(path, page=2).ink.width == pytest.approx(50.8, abs=0.1)
    with pytest.raises(Refusal, match="no page 3"):
        load_artwork(path, page=3)


def test_mirror_printed_sheet_is_shown_as_seen(tmp_path):
    image, draw = canvas()
    draw.polygon([(100, 80), (300, 80), (100, 180)], fill=NAVY)
    image.save(tmp_path / "printed.png")
    image.transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(tmp_path / "seen.png")
    printed = load_artwork(tmp_path / "printed.png", width=100, mirrored=True)
    seen = load_artwork(tmp_path / "seen.png", width=100)
    assert printed.mirrored
    assert not seen.mirrored
    assert printed.outline == seen.outline
    assert printed.sheet == seen.sheet
    assert printed.centroid == seen.centroid
    assert any("mirror image" in str(note) for note in printed.notes)


def test_outline_encloses_the_ink_as_closely_as_light_can_show(tmp_path):
    image, draw = canvas(1200, 1200)
    draw.ellipse((100, 100, 1100, 1100), fill=NAVY)
    image.save(tmp_path / "disc.png")
    art = load_artwork(tmp_path / "disc.png", width=120)
    (ring,) = art.outline
    distances = np.hypot(*np.array(ring).T)
    assert distances == pytest.approx(60, abs=0.4)
    assert shapely.Polygon(ring).area == pytest.approx(math.pi * 60**2, rel=0.01)
    assert len(ring) < 100


def test_outline_joins_what_lies_closer_than_light_can_part(tmp_path):
    image, draw = canvas(1000, 200)
    for x in range(50, 650, 30):  # 20 px bars 10 px apart: 2 mm gaps at 5 px/mm
        draw.rectangle((x, 50, x + 19, 149), fill=NAVY)
    image.save(tmp_path / "bars.png")
    assert len(load_artwork(tmp_path / "bars.png", width=118).outline) == 1
    assert len(load_artwork(tmp_path / "bars.png", width=590).outline) == 20


def test_a_small_part_keeps_its_outline_and_a_point_of_light_does_not(tmp_path):
    image = Image.new("RGBA", (1000, 400), (0, 0, 0, 0))
    image.paste((0, 0, 0, 255), (0, 0, 600, 400))
    image.paste((0, 0, 0, 255), (700, 100, 800, 200))  # 10 mm at 100 mm
    image.paste((0, 0, 0, 255), (985, 385, 1000, 400))  # 1.5 mm
    image.save(tmp_path / "parts.png")
    art = load_artwork(tmp_path / "parts.png", width=100)
    assert len(art.outline) == 2
    assert art.ink.width == 100  # what is too small for a line of light is ink all the same


def test_outline_of_many_shapes_is_joined_to_few(tmp_path):
    image, draw = canvas(1000, 1000)
    for x in range(50, 950, 100):
        for y in range(50, 950, 100):
            draw.rectangle((x, y, x + 40, y + 40), fill=NAVY)
    image.save(tmp_path / "tiles.png")
    rings = load_artwork(tmp_path / "tiles.png", width=340).outline
    assert 1 <= len(rings) <= 24  # 81 squares 24 mm apart: nobody lays a sheet to so many lines


@pytest.mark.parametrize(
    "text", ["TERN HARBOUR", "Maggie Pyke", "Gyula", "ROW", "Oar & Anchor", "TITT"]
)
def test_baseline_is_where_the_font_puts_it(tmp_path, text):
    # Outside reference: Pillow draws the text with its baseline (anchor "ls") at row 300.
    path = lettered(tmp_path / "text.png", text)
    found = find_baseline(find_ink("text", np.array(Image.open(path))).mask)
    assert found == pytest.approx(300, abs=0.03 * 200)


def test_art_that_is_no_line_of_letters_has_no_baseline(tmp_path):
    for points in (
        [(20, 280), (200, 20), (380, 280)],
        [(20, 150), (200, 20), (380, 150), (200, 280)],
    ):
        image, draw = canvas()
        draw.polygon(points, fill=NAVY)
        image.save(tmp_path / "mark.png")
        assert load_artwork(tmp_path / "mark.png", width=90).baseline is None


def test_ganged_sheet_comes_apart_in_reading_order(tmp_path):
    image, draw = canvas(1000, 800)
    boxes = [(100, 100, 300, 200), (500, 90, 700, 250), (120, 500, 900, 600)]
    for left, top, right, bottom in reversed(boxes):
        draw.rectangle((left, top, right - 1, bottom - 1), fill=NAVY)
    draw.rectangle((310, 100, 319, 199), fill=NAVY)  # 10 mm beside the first: part of it
    image.save(tmp_path / "gang.png")
    first, second, third = load_gang(tmp_path / "gang.png", sheet_width=1000, gap=40)
    assert first.ink.width == pytest.approx(220)
    assert (second.ink.width, second.ink.height) == pytest.approx((200, 160))
    assert third.ink.width == pytest.approx(780)
    assert first.name == "gang #1"
    assert first.sheet == first.ink.grown(20)
    with pytest.raises(SizeUnknown):
        load_gang(tmp_path / "gang.png")


def test_turned_extents_against_the_corners(tmp_path):
    art = load_artwork(block(tmp_path / "block.png"), width=100)
    angle = math.radians(-15)
    turned = extents(art, angle)
    # A rectangle w x h turned by a: w cos a + h sin a wide.
    assert turned.ink.width == pytest.approx(100 * math.cos(angle) + 50 * abs(math.sin(angle)))
    assert extents(art).ink == art.ink


def test_scaled_is_the_same_art_at_another_width(tmp_path):
    path = lettered(tmp_path / "text.png", "TERN")
    small, large = load_artwork(path, width=80), load_artwork(path, width=240)
    grown = small.scaled(3)
    assert grown.baseline == pytest.approx(large.baseline)
    assert grown.optical_centre.point == pytest.approx(large.optical_centre.point)
    assert np.array(grown.hull) == pytest.approx(np.array(large.hull))


def test_a_coarse_picture_is_noted(tmp_path):
    art = load_artwork(block(tmp_path / "block.png"), width=100)
    assert any("51 pixels to the inch" in str(note) for note in art.notes)


def _blank(path, mode, colour):
    Image.new(mode, (60, 40), colour).save(path)
    return path


def test_bad_art_is_refused_in_one_sentence(tmp_path):
    cases = {
        "no artwork file": tmp_path / "missing.png",
        "every pixel is transparent": _blank(tmp_path / "clear.png", "RGBA", (9, 9, 9, 0)),
        "one colour from edge to edge": _blank(tmp_path / "white.jpg", "RGB", "white"),
    }
    (tmp_path / "text.png").write_text("no picture at all")
    cases["not a picture"] = tmp_path / "text.png"
    (tmp_path / "empty.png").write_bytes(b"")
    cases["is empty"] = tmp_path / "empty.png"
    buffer = io.BytesIO()
    Image.new("RGB", (60, 40), "red").save(buffer, "PNG")
    (tmp_path / "cut.png").write_bytes(buffer.getvalue()[:-30])
    cases["not a picture "] = tmp_path / "cut.png"
    (tmp_path / "bad.svg").write_text("<svg><rect</svg>")
    cases["not a drawing"] = tmp_path / "bad.svg"
    (tmp_path / "bad.pdf").write_bytes(b"%PDF-1.7 nothing more")
    cases["not a PDF"] = tmp_path / "bad.pdf"
    for words, path in cases.items():
        with pytest.raises(Refusal, match=words.strip()) as caught:
            load_artwork(path, width=100)
        assert str(caught.value).count("\n") == 0
    (tmp_path / "folder.png").mkdir()
    with pytest.raises(Refusal, match="is a folder"):
        load_artwork(tmp_path / "folder.png", width=100)


def test_sheets_and_specks_that_are_none_are_refused(tmp_path):
    art = block(tmp_path / "block.png")
    for margin in (-1.0, 900.0, math.nan):
        with pytest.raises(Refusal, match=r"margin of .* is none"):
            load_artwork(art, width=100, sheet_margin=margin)
    dot = np.zeros((300, 300, 4), np.uint8)
    dot[100:110, 100:110] = 255
    Image.fromarray(dot).save(tmp_path / "dot.png")
    with pytest.raises(Refusal, match="only 10 x 10 pixels"):
        load_artwork(tmp_path / "dot.png", width=90)
    dot[100:120, 100:120] = 255
    Image.fromarray(dot).save(tmp_path / "dot.png")
    assert load_artwork(tmp_path / "dot.png", width=90).sheet.width == pytest.approx(1350)
    assert load_artwork(tmp_path / "dot.png", width=150, sheet_margin=6).sheet.width == 162
    with pytest.raises(Refusal, match="give the width of the whole sheet, such as"):
        load_gang(tmp_path / "dot.png")


@pytest.mark.parametrize(
    ("encoding", "declared"),
    [("utf-8", "UTF-8"), ("utf-8-sig", "utf-8"), ("latin-1", "ISO-8859-1"), ("utf-16", "UTF-16")],
)
def test_drawings_are_read_in_the_encoding_they_declare(tmp_path, encoding, declared):
    # XML 1.0, 4.3.3: a document in another encoding than UTF-8 or UTF-16 declares it.
    path = tmp_path / "crest.svg"
    path.write_bytes(
        f'<?xml version="1.0" encoding="{declared}"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="40mm" viewBox="0 0 50 40">'
        '<title>Évvard</title><rect x="10" y="10" width="20" height="10"/></svg>'.encode(encoding)
    )
    assert load_artwork(path).ink.width == pytest.approx(20, abs=0.05)


@pytest.mark.parametrize("width", [0.0, -3.0, 2.0, 4000.0, math.nan, math.inf])
def test_absurd_widths_are_refused(tmp_path, width):
    with pytest.raises(Refusal, match=r"larger than zero|no transfer"):
        load_artwork(block(tmp_path / "block.png"), width=width)
