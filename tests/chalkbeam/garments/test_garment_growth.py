"""Growth over the sizes, against a pattern library's draft and a size standard."""

import csv
import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest

from chalkbeam.garments import FITS, garment, sizes, styles

ADULT = ("XS", "S", "M", "L", "XL", "2XL", "3XL", "4XL", "5XL")
DRAFT = Path(__file__).parents[2] / "data" / "tee_block_landmarks.csv"
TRADE = tomllib.loads(DRAFT.with_name("trade.toml").read_text(encoding="utf-8"))
INCH = 25.4
PAIRS = [
    ("neck_width", "neck_opening_width"),
    ("front_neck_drop", "front_neck_drop_from_hps"),
    ("pit_depth", "armhole_depth_from_hps"),
]


def _draft(body, column):
    """Half chest and another column of a T-shirt block, mm; source in the file's head."""
    with DRAFT.open() as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        pairs = [
            (float(row["chest_half_width_flat"]), float(row[column]))
            for row in rows
            if row["body"] == body
        ]
    return np.array(pairs).T


def _ours(measure, fit="regular"):
    pieces = [garment("crew_tee", size, fit=fit) for size in ADULT]
    return np.array([(p.measures["half_chest"].value, p.measures[measure].value) for p in pieces]).T


@pytest.mark.trade("growth")
@pytest.mark.parametrize("body", ["female", "male"])
@pytest.mark.parametrize(("measure", "column"), PAIRS)
def test_growth_with_chest_follows_an_independent_draft(body, measure, column):
    # A boxy blank is graded by the box (2 in of half chest a size, little at the neck), a close
    # block by the body: ours grows in the same sense, 0.4 to 1.25 times as fast.
    slope = np.polyfit(*_ours(measure), 1)[0]
    reference = np.polyfit(*_draft(body, column), 1)[0]
    assert 0.4 < slope / reference < 1.25


@pytest.mark.parametrize("body", ["female", "male"])
@pytest.mark.parametrize(("measure", "column"), PAIRS)
def test_same_chest_same_order_of_size(body, measure, column):
    # At the same half chest: within 0.7 to 1.2 of the draft (its neck opening is wider than a
    # boxy blank's collar seam, its pit for women higher).
    chest, ours = _ours(measure)
    reference_chest, reference = _draft(body, column)
    inside = (chest >= reference_chest.min()) & (chest <= reference_chest.max())
    assert inside.sum() >= 4
    share = ours[inside] / np.interp(chest[inside], reference_chest, reference)
    assert share.min() > 0.7
    assert share.max() < 1.2


# EN 13402-3, men's letter codes: chest girth of the body, cm; from memory.
BODY_CHEST = {"XS": (78, 86), "S": (86, 94), "M": (94, 102), "L": (102, 110), "XL": (110, 118),
              "2XL": (118, 129), "3XL": (129, 141)}  # fmt: skip


@pytest.mark.parametrize(("size", "band"), BODY_CHEST.items())
def test_letters_fit_the_bodies_of_the_standard(size, band):
    # A boxy tee clears the middle of its letter's bodies, by no more than 15 cm.
    girth = 2 * garment("crew_tee", size).measures["half_chest"].value / 10
    assert 0 < girth - sum(band) / 2 < 15


@pytest.mark.parametrize(("measure", "column"), PAIRS)
def test_womens_fits_grow_like_the_womens_draft(measure, column):
    # The same band as for the boxy fit: women's blanks have the boxy one's neck.
    slope = np.polyfit(*_ours(measure, "womens"), 1)[0]
    reference = np.polyfit(*_draft("female", column), 1)[0]
    assert 0.4 < slope / reference < 1.25


def _groups():
    """Every style and fit with the sizes of one age, smallest first."""
    found = {}
    for style in styles():
        for fit in FITS:
            for size in sizes(style, fit=fit):
                piece = garment(style, size, fit=fit)
                found.setdefault((style, fit, piece.age), []).append(piece)
    return found


GROUPS = _groups()


@pytest.mark.parametrize("group", GROUPS, ids="-".join)
def test_no_measure_shrinks_with_size(group):
    for smaller, larger in itertools.pairwise(GROUPS[group]):
        for name, measure in smaller.measures.items():
            assert larger.measures[name].value >= measure.value - 1e-9, (name, larger.label)


@pytest.mark.parametrize("group", GROUPS, ids="-".join)
def test_no_line_rises_with_size(group):
    # Not of a trade's table: a line below the neck seam that rose would move its prints up on a
    # larger garment, which no rule of common practice asks for.
    for smaller, larger in itertools.pairwise(GROUPS[group]):
        for face in smaller.faces:
            for name, line in smaller.face(face).along.items():
                if line.value >= 0:
                    value = larger.face(face).along[name].value
                    assert value >= line.value - 1e-9, (face, name, larger.label)


@pytest.mark.parametrize("style", ["crew_sweatshirt", "zip_hood", "placket_shirt", "trousers"])
def test_bands_hardly_grow_beyond_m(style):
    # From memory: ribs, plackets and waistbands are cut alike for all large sizes.
    usual, largest = garment(style, "M").measures, garment(style, "5XL").measures
    bands = {"hem_depth", "cuff_depth", "placket_width", "waistband_depth", "zip_width"}
    assert bands & usual.keys()
    for name in bands & usual.keys():
        assert largest[name].value - usual[name].value <= 0.3 * 25.4, name


def test_a_pouch_leaves_room_for_a_print():
    # Common practice, no source: a hooded front takes a print 2.5 to 3 in below the neck seam and
    # 1 in above the pocket; an adult's leaves at least 7.5 in for it.
    for fit in FITS:
        for size in ADULT:
            front = garment("pullover_hood", size, fit=fit).face("front")
            assert front.along["pocket_top"].value - (2.75 + 1) * 25.4 > 7.5 * 25.4


@pytest.mark.trade("chart")
@pytest.mark.parametrize("measure", list(TRADE["chart"]))
def test_a_crew_tee_is_within_an_inch_of_the_trades_chart(measure):
    # from memory; makers differ by an inch either way
    for size, inches in TRADE["chart"][measure].items():
        assert garment("crew_tee", size).measures[measure].value / INCH == pytest.approx(
            inches, abs=1.0 if inches > 15 else 0.5
        ), size


@pytest.mark.trade("adult-medium")
def test_an_adult_medium_is_cut_as_the_trade_says():
    measures = garment("crew_tee", "M").measures
    for name, least, most in (
        ("neck_width", 7, 7.5), ("front_neck_drop", 4, 4), ("back_neck_drop", 0.75, 1),
        ("pit_depth", 10, 10.5), ("shoulder_drop", 1.5, 2), ("sleeve_length", 8, 8.5),
    ):  # fmt: skip
        assert least - 0.01 <= measures[name].value / INCH <= most + 0.01, name


@pytest.mark.trade("one-box")
def test_measures_are_sure_within_one_box_to_half_an_inch():
    measures = garment("crew_tee", "M").measures
    taped = [measures[name].tolerance for name in ("half_chest", "body_length", "sleeve_length")]
    assert taped == pytest.approx([0.5 * INCH] * 3, abs=0.15 * INCH)
    assert all(0 < each.tolerance <= 0.5 * INCH + 0.01 for each in measures.values())
