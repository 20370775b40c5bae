"""Which pad and platen belong on the press is told before a garment is loaded."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.geometry import as_points
from chalkbeam.basics.spreadsheets import digest_of
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Fit
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Step
from chalkbeam.record.session import Sitting
from chalkbeam.record.store import Store
from chalkbeam.station import scene
from chalkbeam.station.controller import PressSide
from chalkbeam.station.display import board_of
from chalkbeam.station.ready_imprint import Bench
from chalkbeam.station.scene import fitting_words
from overlay.marks import Role, Stroke, Text
from tests.support.crew_order import crew
from tests.support.rigs import make_rig

PAD = "8x10x0.4in"


def open_side(folder):
    """Return a press side: a piece on a pad, one without, one without, in this order."""
    pieces = crew(folder)
    padded = replace(pieces[0].imprints[0], pad=PAD)
    pieces[0] = replace(pieces[0], imprints=(padded,))
    pieces[1] = replace(pieces[1], imprints=pieces[1].imprints[:1])
    sheet = folder / "crew.csv"
    sheet.write_text("the tests read no sheet\n")
    store = Store(folder / "record.db")
    planned = plan(pieces, Times(), fit_on_press, as_listed=True)
    store.begin(planned, title="crew", sheet=sheet, digest=digest_of(sheet))
    return reopened(folder)


def reopened(folder):
    store = Store(folder / "record.db")
    return PressSide(Sitting(store, store.latest()), Bench([make_rig()]))


def marks(side):
    side._ready()
    shown = side._scene(side.sitting.progress.at, side.at_hand, side.desk)
    return scene.lit(shown)


def words(side):
    return " ".join(m.text.replace("\n", " ") for m in marks(side) if isinstance(m, Text))


def press(side):
    for step in (Step.LAY, Step.PRESS):
        side.sitting.step(step)
    side.sitting.press()


def test_the_first_piece_names_its_pad_and_the_next_has_it_taken_out(tmp_path):
    side = open_side(tmp_path)
    assert f"on pad {PAD}" in words(side)
    assert board_of(side).fitting == f"on pad {PAD}"
    assert board_of(side).coming[0][1] == "pad out, other garments"
    side.sitting.step(Step.LAY)
    assert "on pad" not in words(side)  # the garment is over it
    side.sitting.step(Step.PRESS)
    side.sitting.press()
    assert "pad out" in words(side)
    press(side)
    assert "pad" not in words(side)  # it is out


def test_a_jump_compares_with_what_was_really_on_the_press(tmp_path):
    side = open_side(tmp_path)
    press(side)
    side.sitting.jump(2)  # the plan's piece before it has no pad; the press has
    assert "pad out" in words(side)
    press(side)
    side.sitting.press()  # the number, under the name
    assert side.sitting.progress.at.index == 1
    assert "pad" not in words(side)  # the plan says "pad out" here, and it is
    assert "pad" in side.sitting.progress.stop.changes
    side.sitting.jump(0)
    assert f"on pad {PAD}" in words(side)


def test_skipping_leaves_the_pad_in_doubt_until_a_garment_is_loaded(tmp_path):
    side = open_side(tmp_path)
    side.sitting.skip()  # the light has asked for the pad: it may be on
    assert "pad out" in words(side)
    side.sitting.skip()
    assert "pad out" in words(side)


def test_resuming_knows_the_pad_of_the_last_press(tmp_path):
    press(open_side(tmp_path))
    again = reopened(tmp_path)
    assert "pad out" in words(again)
    again.sitting.undo()  # the record is taken back, the pad is where it was
    again.sitting.step(Step.LOAD)
    assert f"on pad {PAD}" in words(again)


def test_a_platen_is_named_where_another_may_be_on():
    sleeve = Fit("sleeve-4x16in")
    assert fitting_words(sleeve, {Fit()}) == ("platen sleeve-4x16in",)
    assert fitting_words(sleeve, {sleeve}) == ()
    assert fitting_words(Fit(), {sleeve}) == ("platen of the rig",)


def test_the_pads_edge_is_lit_true_on_its_top_before_the_garment_lies_on_it(tmp_path):
    side = open_side(tmp_path)
    (edge,) = [m for m in marks(side) if isinstance(m, Stroke) and m.role is Role.CLEAR]
    assert edge.height == pytest.approx(0.4 * 25.4)
    assert np.ptp(as_points(edge.points), axis=0) == pytest.approx((8 * 25.4, 10 * 25.4))
    press(side)
    assert not [m for m in marks(side) if isinstance(m, Stroke) and m.role is Role.CLEAR]
