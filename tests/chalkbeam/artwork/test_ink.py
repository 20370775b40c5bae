"""Ink told from paper: by transparency or by the background; baseline and outline."""

import io
import math

import cv2
import numpy as np
import pytest
import shapely
from PIL import Image

from calibration.refusal import Refusal
from chalkbeam.artwork import (
    load_artwork,
)
from chalkbeam.artwork.files import read_picture
from chalkbeam.artwork.ink import find_baseline, find_ink
from tests.support.images import NAVY, block, canvas, lettered


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


@pytest.mark.slow
def test_a_long_sheet_is_read_in_fewer_pixels(tmp_path):
    # 22 x 60 in at 300 dpi, as sheets of many transfers come
    image = Image.new("1", (6600, 18000), 1)
    image.paste(0, (600, 3000, 3600, 4500))
    image.save(tmp_path / "roll.png")
    picture = read_picture(tmp_path / "roll.png")
    assert picture.rgba.shape[0] * picture.rgba.shape[1] <= 20e6
    art = load_artwork(tmp_path / "roll.png", sheet_width=22 * 25.4)
    assert (art.ink.width, art.ink.height) == pytest.approx((254, 127), abs=0.4)


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
