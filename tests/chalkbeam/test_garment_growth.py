"""Growth over the sizes, against a pattern library's draft and a size standard."""

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest

from chalkbeam.garments import garment

ADULT = ("XS", "S", "M", "L", "XL", "2XL", "3XL", "4XL", "5XL")
DRAFT = Path(__file__).parents[1] / "data" / "tee_block_landmarks.csv"
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


def _ours(measure):
    pieces = [garment("crew_tee", size) for size in ADULT]
    return np.array([(p.measures["half_chest"].value, p.measures[measure].value) for p in pieces]).T


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


GROUPS = [
    ("crew_tee", "regular", ADULT),
    ("crew_tee", "womens", ADULT),
    ("crew_tee", "regular", ("6M", "12M", "18M", "24M", "2T", "3T", "4T", "5-6T")),
    ("crew_tee", "regular", ("YXS", "YS", "YM", "YL", "YXL")),
    ("pullover_hood", "regular", ADULT),
    ("placket_shirt", "regular", ("YXS", "YS", "YM", "YL", "YXL")),
]


@pytest.mark.parametrize(("style", "fit", "group"), GROUPS)
def test_no_measure_shrinks_with_size(style, fit, group):
    pieces = [garment(style, size, fit=fit) for size in group]
    for smaller, larger in itertools.pairwise(pieces):
        for name, measure in smaller.measures.items():
            assert larger.measures[name].value >= measure.value - 1e-9, (name, larger.label)
