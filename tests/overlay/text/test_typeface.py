import itertools
import string
import unicodedata

import freetype
import numpy as np
import pytest
from fontTools.ttLib import TTFont
from PIL import ImageFont, features

from calibration.refusal import Refusal
from overlay.contours import Contours
from overlay.text import typeface as module
from overlay.text.typeface import BUNDLED_FONT, FLATNESS, Typeface, advance, set_line, typeface

SIZE = 2048
"""The bundled font's units per em: at this size Pillow hints nothing away."""


def pillow_font():
    return ImageFont.truetype(str(BUNDLED_FONT), SIZE)


@pytest.mark.parametrize("text", ["AVATAR", "To Wave", "LT", "Tern Harbour", "07", "Grün & Ö"])
def test_widths_agree_with_pillow(text):
    """Reference: Pillow's FreeType advances, shaped by HarfBuzz where Pillow has it."""
    if not features.check("raqm"):
        pytest.skip("this Pillow knows no GPOS kerning")
    font = pillow_font()
    cap = -font.getbbox("H", anchor="ls")[1]
    assert set_line(text, 10.0).advance == pytest.approx(font.getlength(text) * 10 / cap, rel=1e-3)


@pytest.mark.parametrize("text", ["H", "Qg", "Bow seat 4"])
def test_ink_agrees_with_pillow(text):
    """Reference: bounding boxes of Pillow's rasters, whole pixels of 1/2048 em."""
    font = pillow_font()
    mask, (x, y) = font.getmask2(text, mode="L", anchor="ls")
    left, top, right, bottom = np.add(mask.getbbox(), (x, y, x, y))
    cap = -font.getbbox("H", anchor="ls")[1]
    ink = np.array(set_line(text, float(cap)).ink)
    np.testing.assert_allclose(ink, [left, -bottom, right, -top], atol=2.5)


def test_filled_area_agrees_with_pillow():
    """Reference: the summed coverage of Pillow's raster of the same glyphs."""
    font = pillow_font()
    mask, _ = font.getmask2("Qo8&", mode="L", anchor="ls")
    pixels = np.array(mask, dtype=float).sum() / 255
    cap = -font.getbbox("H", anchor="ls")[1]
    area = abs(set_line("Qo8&", float(cap)).contours.areas().sum())
    assert area == pytest.approx(pixels, rel=5e-3)


def test_capitals_are_as_high_as_asked():
    _, bottom, _, top = set_line("HEX", 12.5).ink
    assert bottom == pytest.approx(0, abs=1e-9)
    assert top == pytest.approx(12.5)


def glyphs(text):
    """The numbers of the glyphs of a line, from left to right."""
    return [number for letter in typeface().letters(text) for number, _, _ in letter.glyphs]


def test_curves_stray_no_more_than_stated(monkeypatch):
    """The letter o is round: every chord's middle lies within the flatness of a finer outline."""
    from shapely import LinearRing

    (round_one,) = glyphs("o")
    coarse = Typeface().outline(round_one).polygons()[0]
    monkeypatch.setattr(module, "FLATNESS", 1e-6)
    fine = Typeface().outline(round_one).polygons()[0]
    assert len(fine) > 5 * len(coarse)
    assert LinearRing(coarse).hausdorff_distance(LinearRing(fine)) < FLATNESS * 1.05


def test_missing_character_is_a_visible_box():
    lettering = set_line("a\u0e01b", 10.0)
    assert typeface().missing("a\u0e01b\u0e01") == "\u0e01"
    plain = set_line("ab", 10.0)
    assert len(lettering.contours) == len(plain.contours) + 2  # a frame: outside and hole
    assert lettering.advance > plain.advance + 5


def test_a_letter_without_an_outline_is_missing(tmp_path):
    # As in fonts of coloured pictures, whose outlines are empty.
    font = TTFont(BUNDLED_FONT)
    font["glyf"]["A"] = font["glyf"]["space"]
    font.save(tmp_path / "font.ttf")
    assert Typeface(tmp_path / "font.ttf").missing("A B CA") == "A"
    assert typeface().missing("A B CA") == ""


def test_line_breaks_and_controls_are_blanks():
    assert set_line("a\nb\t", 10.0).advance == set_line("a b ", 10.0).advance
    assert typeface().missing("a\nb\u2028c\ud800") == ""


@pytest.mark.parametrize("text", ["", " ", "   "])
def test_nothing_to_ink(text):
    assert len(set_line(text, 10.0).contours) == 0
    assert set_line(text, 10.0).ink == (0.0, 0.0, 0.0, 0.0)


def test_refuses_what_is_no_font(tmp_path):
    with pytest.raises(Refusal, match="is not there"):
        Typeface(tmp_path / "none.ttf")
    text = tmp_path / "letters.ttf"
    text.write_text("not a font")
    with pytest.raises(Refusal, match=r"letters\.ttf cannot be read as a font"):
        Typeface(text)


@pytest.mark.parametrize("without", [(), ("GPOS",)])
def test_kerning_agrees_with_freetype(tmp_path, without):
    """Reference: FreeType's advances and its reading of the font's older kern table.

    The bundled font carries the same pairs in GPOS; without that the older table serves.
    """
    font = TTFont(BUNDLED_FONT)
    for table in without:
        del font[table]
    font.save(tmp_path / "font.ttf")
    face, reference = Typeface(tmp_path / "font.ttf"), freetype.Face(str(BUNDLED_FONT))
    wide, kerned = {}, 0
    for character in string.ascii_letters + ".,'7":
        reference.load_char(character, freetype.FT_LOAD_NO_SCALE)
        wide[character] = reference.glyph.advance.x
    reference.load_char("H", freetype.FT_LOAD_NO_SCALE)
    cap = reference.glyph.metrics.horiBearingY
    for one, two in itertools.product(wide, repeat=2):
        kerning = reference.get_kerning(one, two, freetype.FT_KERNING_UNSCALED).x
        kerned += kerning != 0
        assert face.advance(one + two) * cap == pytest.approx(wide[one] + wide[two] + kerning)
    assert kerned > 100


def joined_forms():
    """Arabic letters as they are written joined, and Unicode's characters for how that looks."""
    written = {"<final>": "ـ{}", "<initial>": "{}ـ", "<medial>": "ـ{}ـ"}  # U+0640 joins both ways
    for form in map(chr, range(0xFE80, 0xFEFD)):
        kind, *letters = unicodedata.decomposition(form).split()
        if kind in written:
            yield written[kind].format("".join(chr(int(letter, 16)) for letter in letters)), form


def test_arabic_letters_join():
    """Reference: Unicode's character database (as Python carries it), which says what each
    letter's final, initial and medial forms are, lam with alef among them; FreeType says which
    glyph of the font that is."""
    reference = freetype.Face(str(BUNDLED_FONT))
    tatweel, checked = reference.get_char_index("ـ"), 0
    for written, form in joined_forms():
        found = [number for number in glyphs(written) if number != tatweel]
        assert found == [reference.get_char_index(form)], repr(written)
        checked += 1
    assert checked > 80
    assert glyphs("لا") == [reference.get_char_index("ﻻ")]


def test_joined_letters_are_told():
    face = typeface()
    assert face.joins("بيت")
    assert face.joins("Tern بيت")
    for apart in ("دار", "Tern", "שלום", "AVATAR"):  # dal, alef and reh join to no letter after
        assert not face.joins(apart)


def test_hebrew_runs_from_right_to_left():
    assert [letter.text for letter in typeface().letters("שלום")] == list("םולש")
    assert [letter.text for letter in typeface().letters("A שם 12")] == [*"A 12 ", "ם", "ש"]
    assert glyphs("א(ב)") == glyphs("(") + glyphs("ב") + glyphs(")") + glyphs("א")


def test_letters_stand_where_the_line_has_them():
    for text in ("AVATAR fi", "שלום 12", "e\u0301x\u0323"):
        letters = [*typeface().letters(text)]
        pens = np.cumsum([0, *(letter.advance for letter in letters)])
        assert [letter.start for letter in letters] == pytest.approx(pens[:-1])
        assert advance(text) == pytest.approx(pens[-1])
        assert sum(len(letter.text) for letter in letters) == len(text)
    assert len([*typeface().letters("e\u0301x\u0323")]) == 2
    assert glyphs("fi") == glyphs("f") + glyphs("i")


def test_a_mark_is_set_on_its_letter():
    """Canonically equivalent text looks the same (Unicode Standard Annex #15)."""
    for text in ("Åéñ", "ệ"):
        np.testing.assert_allclose(
            set_line(unicodedata.normalize("NFD", text), 10.0).contours.points,
            set_line(text, 10.0).contours.points,
        )
    left, bottom, right, _ = set_line("x\u0323", 10.0).ink  # the font has no such letter whole
    alone = set_line("x", 10.0).ink
    assert bottom < -1
    assert (left, right) == pytest.approx((alone[0], alone[2]))


def test_contours_join_choose_and_measure():
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2.0]])
    triangle = np.array([[0, 0], [0, 3], [3, 0.0]])  # clockwise
    both = Contours.joined([Contours.empty(), Contours.of([square]), Contours.of([triangle])])
    np.testing.assert_allclose(both.areas(), [4, -4.5])
    np.testing.assert_array_equal(both.counts, [4, 3])
    np.testing.assert_allclose(both.chosen(np.array([False, True])).points, triangle)
    np.testing.assert_allclose(Contours.uniform([square, square + 1e6]).areas(), [4, 4])
    low, high = both.boxes()
    np.testing.assert_allclose(low, [[0, 0], [0, 0]])
    np.testing.assert_allclose(high, [[2, 2], [3, 3]])
    assert [len(polygon) for polygon in both.polygons()] == [4, 3]
    assert len(Contours.joined([])) == 0
    assert Contours.empty().polygons() == []
