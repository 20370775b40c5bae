import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.refusal import Refusal
from chalkbeam.basics.units import (
    MM_PER_INCH,
    Unit,
    format_length,
    parse_length,
    parse_pixels,
    parse_size,
)


def test_inch_is_exact():
    # International yard and pound agreement of 1959: 1 yd = 0.9144 m exactly, so 1 in = 25.4 mm.
    assert MM_PER_INCH == 25.4
    assert pytest.approx(914.4, abs=1e-12) == 36 * MM_PER_INCH


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("3 1/2 in", 88.9),
        ("3½ in", 88.9),
        ("3 ½ in", 88.9),
        ("½ in", 12.7),
        ('3-1/2"', 88.9),
        ("3.5″", 88.9),
        ("3.5 inches", 88.9),
        ("1/8in", 3.175),
        ("12,7 mm", 12.7),
        ("8.9cm", 89.0),
        ("89 mm", 89.0),
        (".5in", 12.7),
        ("-3 mm", -3.0),
        ("−3 mm", -3.0),
        ("0", 0.0),
        ("16 in.", 406.4),
    ],
)
def test_lengths_as_people_write_them(text, millimetres):
    assert parse_length(text) == pytest.approx(millimetres, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "", "mm", "89", "3 in in", "1/0 in", "5 furlong", "nan mm", "1e3mm", "½5 in", "3½5 in",
        "3½/2 in", "3.5 1/2 in", "3.51/2 in", "9" * 5000 + " mm", "1/" + "9" * 5000 + " in",
        "9" * 50 + " mm", "100001 mm",
    ],
)  # fmt: skip
def test_not_a_length_is_one_sentence(text):
    with pytest.raises(Refusal) as refused:
        parse_length(text)
    assert str(refused.value).count("\n") == 0


def test_a_bare_number_takes_only_a_stated_default():
    assert parse_length("3.5", Unit.INCH) == pytest.approx(88.9)
    with pytest.raises(Refusal, match="no unit"):
        parse_length("3.5")


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("406mmx508mm", (406, 508)),
        ("16x20in", (406.4, 508)),
        ('16" x 20"', (406.4, 508)),
        ("40,6cm × 50,8cm", (406, 508)),
        ("15 1/2 x 20 in", (393.7, 508)),
    ],
)
def test_sizes(text, size):
    assert parse_size(text) == pytest.approx(size)


@pytest.mark.parametrize("text", ["406mm", "406x508", "0mmx5mm", "-4mmx5mm", "1mmx2mmx3mm", "x"])
def test_not_a_size(text):
    with pytest.raises(Refusal):
        parse_size(text)


@pytest.mark.parametrize(
    ("text", "asked"),
    [("16x20", "16x20in?"), ("406 x 508", "406 x 508mm?"), ("9.5×12", "9.5×12in?")],
)
def test_a_size_without_unit_is_answered_with_the_likely_one(text, asked):
    with pytest.raises(Refusal) as caught:
        parse_size(text)
    assert asked in str(caught.value)


@pytest.mark.parametrize("text", ["1920", "1920x", "0x0", "1920.5x1080", "99999x99999", "-16x16"])
def test_not_a_picture_size(text):
    with pytest.raises(Refusal):
        parse_pixels(text)


def test_picture_sizes():
    assert parse_pixels("1920x1080") == (1920, 1080)
    assert parse_pixels(" 3840 × 2160 ") == (3840, 2160)


@given(st.integers(min_value=-8000, max_value=8000))
def test_eighths_of_an_inch_survive_the_round_trip(eighths):
    millimetres = eighths * MM_PER_INCH / 8
    assert parse_length(format_length(millimetres, Unit.INCH)) == pytest.approx(millimetres)


@given(st.floats(min_value=-3000, max_value=3000))
def test_millimetres_survive_the_round_trip_to_the_shown_decimals(millimetres):
    shown = format_length(millimetres, Unit.MM, decimals=2)
    assert parse_length(shown) == pytest.approx(millimetres, abs=0.005 + 1e-9)
