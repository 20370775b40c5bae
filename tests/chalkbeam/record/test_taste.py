"""The shop's taste: what is offered, what noise is not, and what becomes of a yes."""

import math

import numpy as np
import pytest
from typer.testing import CliRunner

from benchmarks.taste import GROUPS, KINDS, first_offer, history
from calibration.geometry import Isometry
from chalkbeam.basics.units import Unit
from chalkbeam.cli.app import app
from chalkbeam.garments import garment
from chalkbeam.locations import location
from chalkbeam.locations.house import HouseMove, keep_move
from chalkbeam.placement import place
from chalkbeam.record.store import Store
from chalkbeam.record.summary import summarise
from chalkbeam.record.taste import (
    FEWEST,
    Decision,
    TasteGroup,
    beyond,
    habit_words,
    habits,
    in_garment,
    shop_habits,
    with_taste,
)
from tests.support.artwork_files import block_art
from tests.support.crew_order import crew, open_run
from tests.support.press import Press

POLO = TasteGroup("placket_shirt", "adult", "left-chest")


def runs(*downs, group=POLO, **more):
    return [[Decision(group, 0.0, down, **more)] for down in downs]


def test_the_same_move_again_and_again_is_offered():
    (habit,) = habits(runs(-12.0, -13.0, -12.0, -13.0, -12.5))
    assert (habit.right, habit.down, habit.runs) == (0.0, -12.5, 5)
    assert habit_words(habit, Unit.INCH) == (
        "You move placket shirt left chest up 1/2 in (5 orders, 5 pieces): keep that?"
    )


@pytest.mark.parametrize(
    "said",
    [
        runs(*[-12.7] * (FEWEST - 1)),  # too seldom
        runs(*[-2.0] * 8),  # not worth it
        runs(-12.0, -13.0, 0.0, -12.5, -12.0),  # not always
        runs(-12.0, -13.0, 12.5, -12.5, -12.0),  # the other way once
        runs(-4.0, -30.0, -9.0, -22.0, -13.0),  # the same way, never the same move
        runs(*[-12.7] * 8, house=(0.0, -12.7)),  # the shop's rule already
        # Nothing else was pressed, under one calibration: it may be the rig.
        runs(*[-12.7] * 8, compared=False, calibrations=frozenset({"c1"})),
    ],
)
def test_anything_less_is_not_offered(said):
    assert habits(said) == ()


def test_taste_that_was_given_up_is_offered_no_more():
    assert habits(runs(*[-12.7] * 8)) != ()
    assert habits(runs(*[-12.7] * 8, 0.0, 0.5)) == ()


@pytest.mark.parametrize("kind", KINDS)
def test_noise_of_a_single_operator_is_hardly_ever_offered(kind):
    """Six invented shops of sixty orders each; `python -m benchmarks.taste` has more."""
    offered = [first_offer(history(np.random.default_rng((77, shop)), kind), None)
               for shop in range(6)]  # fmt: skip
    # At one false offer in fifty shops, two of six would be one in two hundred.
    assert sum(each is not None for each in offered) <= 1


def test_a_taste_under_the_same_noise_is_found():
    found = [first_offer(history(np.random.default_rng((78, shop)), "noise", (0.0, -12.7)),
                         GROUPS[0]) for shop in range(6)]  # fmt: skip
    assert all(each is not None and each < 30 for each in found)


@pytest.mark.parametrize(
    ("own", "common", "left"),
    [(13.0, 0.0, 13.0), (13.0, 5.0, 8.0), (13.0, 20.0, 0.0), (13.0, -9.0, 13.0), (0.0, 13.0, 0.0),
     (-6.0, -4.0, -2.0)],
)  # fmt: skip
def test_what_all_prints_were_moved_by_is_no_taste(own, common, left):
    assert beyond(own, common) == left


@pytest.mark.parametrize("angle", [0.0, math.pi, 0.3])
def test_moves_are_told_as_they_lie_on_the_garment(angle):
    lies = Isometry(5.0, -3.0, angle, mirrored=True)
    (before,), (after,) = (lies.inverse().apply([at]) for at in ((10.0, 20.0), (13.0, 16.0)))
    assert in_garment(3.0, -4.0, angle) == pytest.approx(tuple(after - before))


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    folder = tmp_path / "locations"
    monkeypatch.setattr("chalkbeam.locations.library.presets_folder", lambda: folder)
    monkeypatch.setattr("chalkbeam.locations.house.presets_folder", lambda: folder)
    return folder


def pressed_high(folder, store, times, up):
    """So many orders in which left chests, and nothing else, are moved up by so many mm."""
    for _ in range(times):
        press = Press(open_run(folder, store=store, pieces=crew(folder)[:2]))
        while press.progress.stop is not None:
            chest = press.progress.stop.imprint.location == "left-chest"
            press.keys("space", *["up"] * (up if chest else 0), "space", "space", wait=20.0)


def test_from_the_press_to_the_shops_own_rule(tmp_path, own_folder):
    record = tmp_path / "record.db"
    store = Store(record)
    pressed_high(tmp_path, store, 4, 13)
    (habit,) = shop_habits(store)
    assert habit.group == TasteGroup("crew_tee", "adult", "left-chest")
    assert (habit.right, habit.down) == pytest.approx((0.0, -13.0), abs=0.01)
    run = store.latest()
    found = with_taste(store, summarise(run, store.events(run)), Unit.MM)
    assert found.taste == (
        "You move crew tee left chest up 13 mm (4 orders, 8 pieces): keep that?",
    )
    assert location("left-chest").house("crew_tee", "adult") is None  # never without a yes
    store.close()

    def chalkbeam(*words):
        return CliRunner().invoke(app, ["location", *words, "--record", str(record)])

    assert "location keep left-chest --style crew_tee" in chalkbeam("habits").stdout
    said = chalkbeam("keep", "left-chest", "--style", "crew-tee", "--units", "mm")
    assert said.exit_code == 0, said.output
    assert "left chest on crew tee goes up 13 mm" in said.stdout
    assert location("left-chest").house("crew_tee", "adult").by == (0.0, -13.0)
    # What is pressed by the new rule without a nudge offers nothing more, and is told of.
    store = Store(record)
    pressed_high(tmp_path, store, 5, 0)
    assert shop_habits(store) == ()
    run = store.latest()
    found = with_taste(store, summarise(run, store.events(run)), Unit.MM)
    assert found.taste == ("By the shop's own rule: left chest up 13 mm.",)


def test_a_no_is_remembered(tmp_path, own_folder):
    store = Store(tmp_path / "record.db")
    pressed_high(tmp_path, store, 4, 13)
    keep_move(HouseMove("left-chest", "crew_tee", "adult", 0.0, 0.0, settled=True))
    assert shop_habits(store) == ()


def test_the_file_is_the_shops_copy_with_one_decision_for_each(own_folder):
    for down in (-5.0, -12.7):
        path = keep_move(HouseMove("right-chest", "crew_tee", "adult", 3.0, down))
    assert path == own_folder / "left-chest.toml"  # its twin's file
    text = path.read_text()
    assert text.count("[[moved]]") == 1
    assert location("right-chest").house("crew_tee", "adult").by == (3.0, -12.7)
    assert location("left-chest").house("crew_tee", "adult") is None
    assert location("right-chest").house("crew_tee", "youth") is None
    assert location("right chest by the shoulder").house("crew_tee", "adult").by == (3.0, -12.7)


@pytest.mark.parametrize("style", ["crew_tee", "placket_shirt"])
@pytest.mark.parametrize("size", ["S", "3XL"])
def test_the_shops_rule_moves_a_print_by_just_so_much(own_folder, style, size):
    """On large sizes soft limits hold the plain place: the shop's word goes before them."""
    art, worn = block_art(90.0, 60.0), garment(style, size)
    plain = place(worn, location("left-chest"), art)
    keep_move(HouseMove("left-chest", style, "adult", -6.0, -12.7))
    own = place(worn, location("left-chest"), art)
    moved = np.subtract(own.centre, plain.centre)
    assert moved == pytest.approx((-6.0, -12.7), abs=0.01)
    (said,) = [each.sentence.say(Unit.MM) for each in own.warnings if each.about == "house"]
    assert "6 mm left and 13 mm up from the plain place" in said
    other = place(garment("zip_hood", "M"), location("left-chest"), art)
    assert not any(each.about == "house" for each in other.warnings)
