"""Artwork at true size: its ink's width and height, its sheet, and where it balances."""

import math

import numpy as np
import pytest
import scipy.ndimage
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
from chalkbeam.artwork.ink import centroid, find_ink
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
    assert any("51 pixels to the inch" in str(note) for note in art.said())
    assert any("68 pixels to the inch" in str(note) for note in art.scaled(0.75).said())
    assert art.scaled(0.5).said() == ()


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


@pytest.mark.parametrize("width", [0.0, -3.0, 2.0, 4000.0, math.nan, math.inf])
def test_absurd_widths_are_refused(tmp_path, width):
    with pytest.raises(Refusal, match=r"larger than zero|no transfer"):
        load_artwork(block(tmp_path / "block.png"), width=width)


def test_a_shift_that_no_ruler_shows_is_not_told():
    # A small name's centre, 0.9 mm off its box's: it had read “0 in right of and 0 in below”.
    small = optical_centre(Box(-10, -5, 10, 5), (0.9, 0.5))
    assert small.point == (0.9, 0.5)
    assert str(small.reason) == "the middle of the ink's box"
    lower = str(optical_centre(Box(-10, -30, 10, 30), (0.9, 3.0)).reason)
    assert "below" in lower
    assert "right" not in lower
