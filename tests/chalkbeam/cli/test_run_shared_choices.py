"""What becomes of an earlier run where presses share the queue: the operator's choice, as alone."""

import json

import pygame
import pytest

from chalkbeam.presses.address import read_address
from chalkbeam.presses.places import press_record
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from tests.support.run_command import PLAIN, STEPS, WAY_OUT

pytestmark = pytest.mark.slow

QUEUE = ("--record", "sqlite:///queue.db")
EDITED = PLAIN.replace("navy,2", "navy,3").replace("tee,L,", "tee,XL,")


@pytest.fixture
def press(shop, chalkbeam):
    """Work the order at a press of this name."""
    (shop / "crew.csv").write_text(PLAIN)

    def call(name, *more, keys=(), order="crew.csv"):
        asked = ("run", order, "--rig", "rig.json", *QUEUE, "--window", "--no-page")
        return chalkbeam(*asked, "--press-name", name, *more, keys=[*keys, *WAY_OUT])

    return call


@pytest.fixture
def board(chalkbeam):
    """Return the orders on the board, the newest first."""
    return lambda: json.loads(chalkbeam("orders", *QUEUE, "--json")[1])["orders"]


def test_an_edited_sheet_is_told_and_gone_on_with_as_recorded(shop, press, board):
    press("left", keys=STEPS)
    (shop / "crew.csv").write_text(EDITED)
    code, _, err = press("right")
    assert code == 2
    assert "1 of 3 imprints pressed), and the sheet was edited:" in err
    assert "--as-recorded" in err
    code, _, err = press("right", "--as-recorded", keys=STEPS)
    assert code == 0, err
    assert [(each["imprints"], each["pressed"]) for each in board()] == [(3, 2)]


def test_changes_are_taken_in_and_what_is_pressed_stays_pressed(shop, press, board, chalkbeam):
    press("left", keys=STEPS)
    (shop / "crew.csv").write_text(EDITED)
    code, out, err = press("left", "--take-changes", keys=STEPS)
    assert code == 0, err
    assert "1 imprints stay pressed; 3 are to be done" in out
    (order,) = board()  # the edited one took the place of the other
    assert (order["imprints"], order["pressed"]) == (4, 2)
    code, out, err = press("right", keys=STEPS)
    assert code == 0, err
    assert dict(board()[0]["by_press"]) == {"left": 2, "right": 1}
    code, out, err = press("left", keys=STEPS)
    assert code == 0, err
    (order,) = board()
    assert (order["pressed"], order["waiting"]) == (4, [])
    report = json.loads(chalkbeam("report", *QUEUE, "--json")[1])
    assert (report["pressed"], report["open"]) == (4, 0)


def test_changes_are_not_taken_in_under_the_hands_of_another_press(shop, press, board):
    press("left", keys=STEPS[:2])  # a garment is under its head
    (shop / "crew.csv").write_text(EDITED)
    code, _, err = press("right", "--take-changes")
    assert code == 2
    assert "Other presses work on this order as it was: left has 2-1" in err
    assert len(board()) == 1
    code, _, err = press("left", "--take-changes")
    assert code == 2
    assert "was it pressed?" in err
    (shop / "crew.csv").write_text(PLAIN)
    assert press("left", keys=STEPS[:1])[0] == 0
    (shop / "crew.csv").write_text(EDITED)
    assert press("right", "--take-changes")[0] == 2  # the rest of its pile is left's
    taken = ("--take-over", "left", "--pressed", "none")
    (shop / "crew.csv").write_text(PLAIN)
    assert press("right", *taken)[0] == 0
    (shop / "crew.csv").write_text(EDITED)
    code, _, err = press("right", "--take-changes", keys=STEPS)
    assert code == 0, err
    assert board()[0]["imprints"] == 4


def skip_at(name):
    """Skip what is next at a press; keys typed as fast as a test's are taken for a scanner's."""
    with Store(press_record(read_address(QUEUE[1]), name)) as store:
        session = open_session(store, store.latest())
        session.skip("later")
        session.close()


def test_only_what_was_skipped_is_pressed_again(press, board):
    press("left", keys=STEPS)
    skip_at("left")
    press("left", keys=STEPS)
    (order,) = board()
    assert (order["pressed"], order["skipped"]) == (2, 1)
    code, _, err = press("right")
    assert code == 2
    assert "This order was finished on " in err
    assert "--only-spoiled" in err
    code, _, err = press("right", "--only-spoiled", keys=STEPS)
    assert code == 0, err
    newest = board()[0]
    assert (newest["imprints"], newest["pressed"]) == (1, 1)


def test_an_order_is_pressed_again_where_it_lay_at_any_press(press, board):
    code, out, err = press("left", keys=[*STEPS[:1], pygame.K_RIGHT, *STEPS[1:], *STEPS * 2])
    assert code == 0, err
    earlier = board()[0]["run"]
    code, out, err = press("right", "--again", earlier[:8], keys=STEPS)
    assert code == 0, err
    assert "A reorder: 3 of 3 imprints come back" in out
    assert len(board()) == 2
    code, out, err = press("left", keys=STEPS)  # the order that the other press has begun
    assert code == 0, err
    assert board()[0]["pressed"] == 2


def test_an_order_of_another_machine_is_pressed_by_its_number(
    shop, press, board, monkeypatch, tmp_path
):
    press("left", keys=STEPS)
    (shop / "crew.csv").unlink()
    (shop / "pennant.png").unlink()  # that machine has neither sheet nor artwork
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "another machine"))
    run = board()[0]["run"]
    code, _, err = press("right", keys=STEPS, order=run[:8])
    assert code == 0, err
    assert board()[0]["pressed"] == 2
    code, _, err = press("right", order="nowhere")
    assert code == 2
    assert "nowhere" in err
