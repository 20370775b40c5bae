import numpy as np
import pytest
from PIL import ImageFont, features

from calibration.refusal import Refusal
from overlay.contours import Contours
from overlay.text.typeface import BUNDLED_FONT, FLATNESS, Typeface, set_line, typeface

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


def test_curves_stray_no_more_than_stated():
    """The letter o is round: every chord's middle lies within the flatness of a finer outline."""
    face = typeface()
    name = face._characters[ord("o")]
    coarse = face._glyph(name)[0].polygons()[0]
    from fontTools.pens.recordingPen import DecomposingRecordingPen
    from shapely import LinearRing

    from overlay.text.typeface import _flatten

    pen = DecomposingRecordingPen(face._glyphs)
    face._glyphs[name].draw(pen)
    fine = _flatten(pen.value, 1e-6 * face._cap).polygons()[0] / face._cap
    assert len(fine) > 5 * len(coarse)
    assert LinearRing(coarse).hausdorff_distance(LinearRing(fine)) < FLATNESS * 1.05


def test_missing_character_is_a_visible_box():
    lettering = set_line("a\u0e01b", 10.0)
    assert lettering.missing == "\u0e01"
    plain = set_line("ab", 10.0)
    assert len(lettering.contours) == len(plain.contours) + 2  # a frame: outside and hole
    assert lettering.advance > plain.advance + 5


def test_line_breaks_and_controls_are_blanks():
    assert set_line("a\nb\t", 10.0).advance == set_line("a b ", 10.0).advance
    assert set_line("a\nb", 10.0).missing == ""


@pytest.mark.parametrize("text", ["", " ", "   "])
def test_nothing_to_ink(text):
    assert len(set_line(text, 10.0).contours) == 0
    assert set_line(text, 10.0).ink == (0.0, 0.0, 0.0, 0.0)


def test_tracking_lies_between_characters_only():
    face = typeface()
    assert face.set_line("HHH", 10, tracking=2).advance == pytest.approx(
        face.set_line("HHH", 10).advance + 4
    )


def test_refuses_what_is_no_font(tmp_path):
    with pytest.raises(Refusal, match="is not there"):
        Typeface(tmp_path / "none.ttf")
    text = tmp_path / "letters.ttf"
    text.write_text("not a font")
    with pytest.raises(Refusal, match=r"letters\.ttf cannot be read as a font"):
        Typeface(text)


def test_older_kern_table_is_read():
    """The bundled font carries the same pairs in GPOS and in kern (drop one, compare)."""
    from fontTools.ttLib import TTFont

    from overlay.text.kerning import read_kerning

    modern, older = TTFont(BUNDLED_FONT), TTFont(BUNDLED_FONT)
    del older["GPOS"]
    assert read_kerning(modern)("A", "V") == read_kerning(older)("A", "V") < 0
    assert read_kerning(modern)("H", "H") == read_kerning(older)("H", "H") == 0


def test_contours_join_choose_and_measure():
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2.0]])
    triangle = np.array([[0, 0], [0, 3], [3, 0.0]])  # clockwise
    both = Contours.joined([Contours.empty(), Contours.of([square]), Contours.of([triangle])])
    np.testing.assert_allclose(both.areas(), [4, -4.5])
    np.testing.assert_array_equal(both.counts, [4, 3])
    np.testing.assert_allclose(both.chosen(np.array([False, True])).points, triangle)
    np.testing.assert_allclose(Contours.alike([square, square + 1e6]).areas(), [4, 4])
    low, high = both.boxes()
    np.testing.assert_allclose(low, [[0, 0], [0, 0]])
    np.testing.assert_allclose(high, [[2, 2], [3, 3]])
    assert [len(polygon) for polygon in both.polygons()] == [4, 3]
    assert len(Contours.joined([])) == 0
    assert Contours.empty().polygons() == []
