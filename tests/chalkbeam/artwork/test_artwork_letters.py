"""Names and numbers set as artwork, against HarfBuzz and FreeType."""

import itertools
import math

import cv2
import numpy as np
import pytest
import shapely
import shapely.affinity
from PIL import Image, ImageDraw, ImageFont, features

from calibration.refusal import Refusal
from chalkbeam.artwork import TooLong, letter, letter_ink
from overlay.text.typeface import BUNDLED_FONT


def drawn(text):
    """The ink of text as HarfBuzz sets and FreeType draws it: left, top, right, bottom from the
    baseline's start, in heights of its H."""
    font = ImageFont.truetype(str(BUNDLED_FONT), 800, layout_engine=ImageFont.Layout.RAQM)

    def ink(words):
        image = Image.new("L", (6400, 1600))
        ImageDraw.Draw(image).text((100, 1000), words, font=font, fill=255, anchor="ls")
        left, top, right, bottom = image.point(lambda v: 255 * (v > 127)).getbbox()
        return np.array([left - 100, top - 1000, right - 100, bottom - 1000])

    return ink(text) / -ink("H")[1]


@pytest.mark.skipif(not features.check("raqm"), reason="this Pillow sets text without HarfBuzz")
@pytest.mark.parametrize("text", ["PYKE", "17", "AVATAR", "O'Malley", "Gannet"])
def test_width_agrees_with_harfbuzz_and_freetype(text):
    # Outside reference: HarfBuzz and FreeType through Pillow, whose capitals are 584 whole
    # pixels high: a pixel more or less is 0.17 %.
    left, top, right, bottom = drawn(text) * 63.5
    art = letter(text, height=63.5)
    assert art.ink.width == pytest.approx(right - left, rel=0.002, abs=0.3)
    assert art.ink.height == pytest.approx(bottom - top, rel=0.002, abs=0.3)
    assert art.baseline - art.ink.top == pytest.approx(-top, abs=0.4)


@pytest.mark.skipif(
    not (features.check("raqm") and features.check("fribidi")),
    reason="this Pillow sets text without HarfBuzz or FriBidi",
)
@pytest.mark.parametrize(
    "text",
    [
        "שלום",
        "דוד (7)",
        "Tern שלום 3 Oars",
        "سلام",
        "نادي التجديف ١٢",
        "لبنان, Beirut",
        "Ne\u0301e x\u0323",
    ],
)
def test_ink_agrees_with_fribidi_harfbuzz_and_freetype(text):
    # Outside reference: FriBidi (order), HarfBuzz and FreeType through Pillow. FreeType's hints
    # move edges by half a pixel; another order or other joints share about half of the ink.
    font = ImageFont.truetype(str(BUNDLED_FONT), 200, layout_engine=ImageFont.Layout.RAQM)
    image = Image.new("L", (2400, 600))
    ImageDraw.Draw(image).text((100, 300), text, font=font, fill=255, anchor="ls")
    left, top, right, bottom = image.getbbox()
    theirs = np.array(image.crop((left, top, right, bottom))) > 127
    art = letter(text, height=50)
    ink = letter_ink(art)
    ours = np.zeros(theirs.shape, np.uint8)
    for part in shapely.get_parts(ink):
        for ring, filled in ((part.exterior, 1), *((hole, 0) for hole in part.interiors)):
            across, down = (np.array(ring.coords) - (art.ink.left, art.ink.top)).T
            points = [
                across * theirs.shape[1] / art.ink.width,
                down * theirs.shape[0] / art.ink.height,
            ]
            cv2.fillPoly(
                ours, [np.rint(np.column_stack(points) * 16 - 8).astype(np.int32)], filled, shift=4
            )
    assert (right - left) / (bottom - top) == pytest.approx(
        art.ink.width / art.ink.height, rel=0.02
    )
    assert (theirs & (ours > 0)).sum() > 0.93 * (theirs | (ours > 0)).sum()


def test_letters_from_right_to_left_stand_on_an_arc():
    # Turned one by one like all others: a word read from either side hangs evenly.
    art = letter("אבא", height=40, arc=150)
    assert art.ink.height > letter("אבא", height=40).ink.height
    with pytest.raises(Refusal, match="written joined, and letters on an arc"):
        letter("سلام", height=40, arc=150)
    assert letter("دار", height=40, arc=150).ink.width > 50  # these join to none that follows


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("A" * 61, "61 letters"),
        ("ROW\nON", "line break"),
        ("a\u202eb", "hidden sign"),
        ("日本", "has no “日”"),
    ],
)
def test_text_that_is_no_line_of_letters_is_refused(text, says):
    with pytest.raises(Refusal, match=says) as refused:
        letter(text, height=50)
    assert "\n" not in str(refused.value)


def test_height_is_that_of_the_capitals():
    art = letter("HE", height=50)
    assert art.ink.height == pytest.approx(50, abs=1e-6)
    assert art.baseline == pytest.approx(25, abs=1e-6)


def test_width_and_widest():
    assert letter("PYKE", width=200).ink.width == pytest.approx(200)
    assert letter("ROW", height=63.5, widest=250) == letter("ROW", height=63.5)


def test_a_stated_height_is_kept_and_what_is_too_wide_condensed():
    free = letter("GANNET", height=40)
    art = letter("GANNET", height=40, widest=0.9 * free.ink.width)
    assert art.ink.width == pytest.approx(0.9 * free.ink.width)
    assert art.ink.height == pytest.approx(free.ink.height)
    assert str(art.notes[0]).startswith("Condensed to 90 % of its own width: ")
    squeezed = shapely.affinity.scale(letter_ink(free), 0.9, 1.0)
    assert letter_ink(art).symmetric_difference(squeezed).area < 0.002 * squeezed.area


def test_what_cannot_be_condensed_enough_is_refused_with_what_fits():
    with pytest.raises(TooLong, match=r"“FOTHERINGAY” 64 mm high is 684 mm wide") as refused:
        letter("FOTHERINGAY", height=63.5, widest=250)
    fits = refused.value.height
    art = letter("FOTHERINGAY", height=fits, widest=250)
    assert art.ink.width == pytest.approx(250)
    assert art.letters.share == pytest.approx(0.75)
    with pytest.raises(TooLong):
        letter("FOTHERINGAY", height=1.01 * fits, widest=250)
    with pytest.raises(TooLong):
        letter("FOTHERINGAY", height=fits, widest=250, narrowest=0.8)


def test_the_arc_that_a_refusal_names_brings_the_line_within_its_width():
    # A short word gains nothing by an arc: the heads of its letters stand out beyond the chord.
    with pytest.raises(TooLong) as refused:
        letter("ROW", height=30, widest=0.97 * letter("ROW", height=30).ink.width, narrowest=1)
    assert "arch" not in str(refused.value)
    long = "FOTHERINGAY WILLOUGHBY"
    widest = 0.94 * letter(long, height=30).ink.width
    with pytest.raises(TooLong, match="arch it on a radius of") as refused:
        letter(long, height=30, widest=widest, narrowest=1)
    arched = letter(long, height=30, arc=refused.value.words.lengths[5])
    assert 0.8 * widest < arched.ink.width <= widest


def test_arc_lies_on_its_circle():
    # On an arc of radius r every letter's foot is tangent to the circle at its middle: feet of
    # equal letters lie at equal distance from the circle's centre, equal angles apart.
    art = letter("I I I I I", height=20, arc=120)
    feet = []
    for ring in art.outline:
        points = np.array(ring) - (0, art.baseline + 120)  # from the circle's centre, y down
        # an I stands along the radius: the long axis of its ink points at the centre
        middle = points.mean(axis=0)
        long_axis = np.linalg.svd(points - middle)[2][0]
        assert abs(long_axis @ middle) / np.hypot(*middle) == pytest.approx(1, abs=1e-3)
        feet.append(points[np.argsort(np.hypot(*points.T))[:2]].mean(axis=0))
    radii = np.hypot(*np.array(feet).T)
    assert radii == pytest.approx(120, rel=0.002, abs=0.3)
    turns = np.sort([math.atan2(x, -y) for x, y in feet])
    assert np.diff(turns) == pytest.approx(np.diff(turns).mean(), abs=0.005)
    hanging = letter("I I I I I", height=20, arc=-120)
    assert hanging.ink.height > 20
    assert letter("TERN HARBOUR", width=280, arc=200).ink.width == pytest.approx(280, abs=0.01)


def test_mirrored_and_margin():
    art = letter("PYKE", height=50, mirrored=True, sheet_margin=9)
    assert art.mirrored
    assert art.sheet == art.ink.grown(9)


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        ("PYKE", {}, "height of its capitals or a width"),
        ("PYKE", {"height": 10, "width": 10}, "height of its capitals or a width"),
        ("PYKE", {"height": -4}, "larger than zero"),
        ("   ", {"height": 50}, "no ink"),
        ("", {"height": 50}, "no ink"),
        ("龍", {"height": 50}, "has no “龍”"),
        ("TERN HARBOUR", {"height": 60, "arc": 40}, "too long for an arc"),
        ("PYKE", {"height": 4000}, "no transfer"),
    ],
)
def test_bad_text_is_refused(text, options, words):
    with pytest.raises(Refusal, match=words):
        letter(text, **options)


def test_missing_font_is_refused(tmp_path):
    with pytest.raises(Refusal, match="font"):
        letter("PYKE", height=50, font=tmp_path / "none.ttf")


def test_a_word_that_reads_the_same_both_ways_is_symmetric_on_an_arc():
    # Each letter is turned about the middle of its advance: H, O and H hang evenly.
    # So do A and V, however near the kerning brings them.
    for arc, word in itertools.product((150.0, -150.0), ("HOH", "AVA")):
        art = letter(word, height=40, arc=arc)
        hull = shapely.Polygon(art.hull)
        mirrored = shapely.Polygon(np.array(art.hull) * (-1, 1))
        assert hull.symmetric_difference(mirrored).area < 0.002 * hull.area
