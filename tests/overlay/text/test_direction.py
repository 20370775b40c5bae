import unicodedata

import pytest
from bidi import get_display
from hypothesis import given
from hypothesis import strategies as st

from overlay.text.direction import base_direction, visual_runs

LETTERS = "abאבגשمب12٣٤ +-,./%$()[]{!\u0301\u05b8\u200e\u200f"
"""Every bidirectional class that is not explicit formatting."""


def shown(text, base):
    """The characters from left to right."""
    runs = visual_runs(text, base)
    return "".join(
        text[start:end] if way == "ltr" else text[start:end][::-1] for start, end, way in runs
    )


@given(st.text(LETTERS, max_size=20), st.sampled_from(["ltr", "rtl"]))
def test_order_agrees_with_another_implementation(text, base):
    # Outside reference: the Rust crate unicode-bidi, through python-bidi.
    assert shown(text, base) == get_display(text, base_dir=base[0].upper())


@pytest.mark.parametrize(
    ("text", "as_shown"),
    [
        ("car means אבג.", "car means גבא."),
        ("אבג car 12", "car 12 גבא"),
        ("טלפון 03-1234", "03-1234 ןופלט"),
        ("a(א)b", "a(א)b"),
        ("אב (גד) 7", "7 )דג( בא"),  # brackets are mirrored when they are drawn
    ],
)
def test_worked_examples(text, as_shown):
    # The first is of Unicode Standard Annex #9, "Reordering Resolved Levels" (its capitals stand
    # for right-to-left letters); from memory. The others follow from its rules, worked by hand.
    assert shown(text, base_direction(text)) == as_shown


def test_every_letter_that_runs_leftwards_turns_a_line():
    # Outside reference: Unicode's character database, as Python carries it.
    for code in range(0x110000):
        if unicodedata.bidirectional(chr(code)) in {"R", "AL"}:
            assert visual_runs("ab" + chr(code), "ltr")[-1][2] == "rtl", hex(code)


@pytest.mark.parametrize(
    ("text", "base"),
    [("", "ltr"), ("12", "ltr"), ("7 אב", "rtl"), ("a אב", "ltr"), ("(بيت) a", "rtl")],
)
def test_a_line_runs_as_its_first_letter_does(text, base):
    assert base_direction(text) == base


def test_explicit_formatting_has_no_effect():
    assert [run[2] for run in visual_runs("a\u202eb\u202cc", "ltr")] == ["ltr"]
    assert visual_runs("א\u202aב", "ltr") == [(0, 3, "rtl")]
