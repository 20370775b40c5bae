"""Settings are a set-up: how they are told apart, what a change takes, in which order they go."""

import itertools
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.settings import (
    Degrees,
    Setting,
    cheapest_round,
    least_to_set,
    seconds_between,
)
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.stretches import stretches
from chalkbeam.orders.times import Times
from tests.support.random_orders import random_order

SHOPS = Path(__file__).parents[2] / "data" / "shops"
HOT = PressSettings("305 F", "12 s", "firm", "hot", dwell=12.0)
COLD = PressSettings("280 F", "10 s", "Medium pressure", "cold peel", dwell=10.0)
BRISK = Times(heat=20, cool=60, dial=5, pressure=10)


def test_a_setting_in_words():
    assert Setting.of(COLD).words() == "280 °F, medium · cold peel · 10 s"
    assert Setting.of(replace(COLD, temperature="280 °F", peel="Cold")) == Setting.of(COLD)
    assert Setting.of(PressSettings(time="10 s", dwell=10.0)) is None


@pytest.mark.parametrize(
    # 0 °C is 32 °F and 100 °C is 212 °F (the scales' definition); 280 °F is 137.8 °C.
    ("written", "degrees", "said"),
    [
        ("280 F", Degrees.AS_WRITTEN, "280 °F"),
        ("280 F", Degrees.CELSIUS, "138 °C"),
        ("100 C", Degrees.FAHRENHEIT, "212 °F"),
        ("150-160 deg C", Degrees.FAHRENHEIT, "302–320 °F"),
        ("as on the bag", Degrees.CELSIUS, "as on the bag"),
    ],
)
def test_degrees_as_the_shop_reads_them(written, degrees, said):
    assert Setting.of(PressSettings(written)).temperature_in(degrees) == said


def test_what_a_change_takes_by_hand():
    hot, cold = Setting.of(HOT), Setting.of(COLD)
    # 25 °F are 13.89 °C: cooling 83.3 s and heating 27.8 s, a dial 5 s, the pressure 10 s.
    assert seconds_between(hot, cold, BRISK) == pytest.approx(5 + 10 + 13.889 * 6, abs=0.01)
    assert seconds_between(cold, hot, BRISK) == pytest.approx(5 + 10 + 13.889 * 2, abs=0.01)
    assert seconds_between(hot, hot, BRISK) == seconds_between(None, hot, BRISK) == 0.0


SETTINGS = st.lists(
    st.builds(Setting, st.sampled_from(["280 °F", "305 °F", "160 °C", ""]),
              st.sampled_from(["firm", "medium"]), st.sampled_from(["hot", "cold"])),
    max_size=5, unique=True,
)  # fmt: skip


@given(SETTINGS)
def test_no_order_goes_below_the_least(wanted):
    order = cheapest_round(wanted, None, BRISK)
    assert sorted(order, key=str) == sorted(wanted, key=str)
    takes = sum(seconds_between(a, b, BRISK) for a, b in itertools.pairwise(order))
    assert takes >= least_to_set(wanted, BRISK) - 1e-6


def with_settings(pieces, seed):
    wanted = (HOT, COLD, PressSettings(), replace(HOT, temperature="320 F"))
    return [
        replace(
            piece,
            imprints=tuple(
                replace(imprint, press=wanted[(seed + len(piece.pile) + row) % 4])
                for imprint in piece.imprints
            ),
        )
        for row, piece in enumerate(pieces)
    ]  # one setting a piece: no print is then to be spared by its order


@given(st.integers(0, 10_000), st.integers(0, 15))
def test_with_settings_no_dearer_than_the_sheet_nor_below_the_bound(seed, count):
    planned = plan(with_settings(random_order(seed, count), seed))
    assert planned.bound - 1e-6 <= planned.seconds <= planned.as_listed + 1e-6


def changes(name):
    sheet = read_sheet(SHOPS / f"{name}.csv", artwork_folder=SHOPS / "art")
    planned = plan(sheet.pieces, Times(), fit_on_press)
    return planned.changes["setting"], planned.listed_changes["setting"]


def test_settings_are_changed_as_seldom_as_can_be():
    # Three settings, counted by hand on the sheet: 280 cold, 305 hot, 305 warm.
    # Its own order: polos, tees, polos, tees, polos, hoods, totes and tees.
    assert changes("office-order") == (2, 6)


def test_the_plan_says_what_to_set():
    art = Art(ArtKind.FILE, "a.svg")
    pieces = [
        Piece(f"{row}-1", row, 1, 1, "tee", "M", "navy",
              (Imprint(f"{row}-1/1", "left chest", art, press=press),))
        for row, press in enumerate((HOT, COLD, HOT), start=2)
    ]  # fmt: skip
    first, second = stretches(plan(pieces))
    assert {first.changes, second.changes} == {
        "press 280 °F, medium · cold peel · 10 s",
        "press 305 °F, firm · hot peel · 12 s",
    }
    assert first.changes.startswith("press 280")  # heating takes less than cooling
