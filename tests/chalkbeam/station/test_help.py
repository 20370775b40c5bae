"""Pages of words in light: the list of keys, questions, and how far lines were moved."""

import math

import numpy as np
import pytest
import shapely

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.light.pages import Page, page_mark
from chalkbeam.placement.platens import COMMON, parse_pad
from chalkbeam.placement.platens import platen as find_platen
from chalkbeam.placement.shift import Shift
from chalkbeam.station.help import help_marks, shift_words
from chalkbeam.station.modes import ORDER, SINGLE
from overlay.marks import LEADING, Role
from overlay.text.typeface import set_line
from tests.support.rigs import FACE


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        (Shift(), ""),
        (Shift(0.04, -0.04, math.radians(0.04)), ""),
        (Shift(-1.25, 0), "1.2 mm left"),
        (Shift(0, -3), "3.0 mm near"),
        (Shift(1, 1, math.radians(-2)), "1.0 mm right, 1.0 mm away, 2.0° turned right"),
    ],
)
def test_shifts_in_words(shift, words):
    assert shift_words(shift, Unit.MM) == words


@pytest.mark.parametrize(
    ("shift", "words"),
    [  # an inch is 25.4 mm exactly (1959)
        (Shift(12.7, 0), "0.50 in right"),
        (Shift(-1, 0.1), "0.04 in left, 0.004 in away"),
    ],
)
def test_shifts_in_inches_where_the_shop_counts_in_them(shift, words):
    assert shift_words(shift, Unit.INCH) == words


@pytest.mark.parametrize("mode", [ORDER, SINGLE])
@pytest.mark.parametrize("face", [FACE, PlatenFace(125, 125), PlatenFace(100, 400)])
def test_the_list_of_keys_fits_the_platen(face, mode):
    for text in (*help_marks(Page(face), mode.acts), *help_marks(Page(face), mode.acts, Unit.INCH)):
        lines = text.text.split("\n")
        widest = max(set_line(line, text.size).advance for line in lines)
        left = text.anchor[0] - text.align[0] * widest
        assert -face.width / 2 < left
        assert left + widest < face.width / 2
        assert 1.75 * text.size * len(lines) < face.depth


@pytest.mark.parametrize("pad", ["", "6x6x0.5in", "10x10x0.5in", "4x4x0.25in"])
@pytest.mark.parametrize("plate", COMMON)
def test_pages_of_words_lie_level_and_on_what_they_are_lit_on(plate, pad):
    """Whole on the platen's face, on the pad, or so far before it that the cloth lies flat."""
    try:
        bed = find_platen(plate).with_pad(parse_pad(pad) if pad else None)
    except Refusal:  # the pad is larger than the platen
        return
    page = Page.on(bed, bed.height + 1.0)
    face, top = (shapely.Polygon(edge) for edge in (bed.face.outline(), bed.pressed()))
    asked = ("Spoiled: why?", "1 in the wrong place", "2 wrong transfer", "3 scorched")
    refused = ("The ink (260 mm x 235 mm) would leave the pressed area: use 16x20in.",)
    for marks in (
        help_marks(page, SINGLE.acts),
        (page_mark(page, asked, Role.NOTE),),
        (page_mark(page, refused, Role.WARN),),
    ):
        for text in marks:
            wide = max(set_line(line, text.size).advance for line in text.text.split("\n"))
            tall = text.size * (1 + LEADING * text.text.count("\n"))
            x, y = np.array(text.anchor) - np.multiply(text.align, (wide, tall))
            ink = shapely.box(x, y - 0.3 * text.size, x + wide, y + tall)
            box = ink.buffer(0.5 * text.size if text.role is Role.WARN else 0.0)
            assert text.size >= 7.0
            assert face.contains(box)
            if bed.pad is not None and text.height == bed.height + 1.0:
                assert top.contains(box)
            elif bed.pad is not None:
                assert text.height == pytest.approx(1.0)
                assert top.distance(ink) >= 2 * bed.pad.height
