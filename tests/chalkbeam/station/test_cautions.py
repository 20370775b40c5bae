"""Cautions where the hand meets what they are about."""

from dataclasses import replace

import pytest

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import PressSettings
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.placement import Severity
from chalkbeam.record.events import Kind
from chalkbeam.record.progress import At, Progress
from chalkbeam.record.store import Store
from chalkbeam.station.cautions import BUTTONS, HOT_PEEL, PAD, cautions
from tests.support.crew_order import crew, open_run
from tests.support.hand import Hand
from tests.support.press import Press


def stops(folder, **changes):
    pieces = [
        replace(piece, imprints=tuple(replace(each, **changes) for each in piece.imprints))
        for piece in crew(folder)
    ]
    return plan(pieces, Times(), fit_on_press, as_listed=True).stops


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"press": PressSettings("305 F", peel="Hot")}, (HOT_PEEL,)),
        ({"press": PressSettings("280 F", peel="cold")}, ()),
        ({"pad": "5x5x0.5in"}, (PAD,)),
    ],
)
def test_what_the_sheet_brings_with_it(tmp_path, changes, said):
    assert cautions(Progress(stops(tmp_path, **changes)), At(0)) == said


def test_buttons_and_zips(tmp_path):
    pieces = [replace(piece, style="placket_shirt") for piece in crew(tmp_path)]
    progress = Progress(plan(pieces, Times(), fit_on_press, as_listed=True).stops)
    assert cautions(progress, At(0)) == (BUTTONS,)


def test_a_finished_print_is_told_where_it_is_heated_again(tmp_path):
    hand = Hand(stops(tmp_path))
    hand.press("j", "4", "-", "1", "return", "space", "space", "space", wait=20.0)
    (said,) = cautions(hand.progress, hand.progress.at)  # the number under its name
    assert said.startswith("This heats the finished print again (player name)")
    hand.press("j", "3", "-", "1", "return", "space", "space", "space", wait=20.0)
    assert cautions(hand.progress, hand.progress.at) == ()  # the chest, then the nape: turned


def test_a_spoiled_piece_is_left_out_for_want_of_a_transfer(tmp_path):
    press = Press(open_run(tmp_path)).keys("space", "x", "3", "3")
    assert press.progress.spoiled_pieces == {"2-1": 1}
    with Store(tmp_path / "record.db") as store:
        (event,) = [e for e in store.events(store.latest()) if e.kind is Kind.SPOILED]
    assert (event.data["replaced"], event.data["missing"]) == (False, "transfer")


def test_they_stand_on_the_display(tmp_path):
    pieces = [replace(piece, style="placket_shirt") for piece in crew(tmp_path)]
    press = Press(open_run(tmp_path, pieces=pieces))
    press.keys("space", "space")
    assert (Severity.CAUTION, BUTTONS) in press.display().warnings
