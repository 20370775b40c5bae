"""Which pad and platen belong on the press is told before a garment is loaded."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.geometry import as_points
from chalkbeam.basics.spreadsheets import digest_of
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import PressSetup
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station import scene
from chalkbeam.station.display import display_of
from chalkbeam.station.scene import fitting_words
from overlay.marks import Role, Stroke, Text
from tests.support.crew_order import crew, station_on

PAD = "8x10x0.4in"


def open_controller(folder):
    """Return a press station: a piece on a pad, one without, one without, in this order."""
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
    return station_on(open_session(store, store.latest()))


def marks(station):
    station._refresh()
    return scene.lit(station.scene())


def words(station):
    return " ".join(m.text.replace("\n", " ") for m in marks(station) if isinstance(m, Text))


def press(station):
    for step in (Step.LAY, Step.PRESS):
        station.session.step(step)
    station.session.press()


def test_the_first_piece_names_its_pad_and_the_next_has_it_taken_out(tmp_path):
    station = open_controller(tmp_path)
    assert f"on pad {PAD}" in words(station)
    assert display_of(station.view(), station.state).fitting == f"on pad {PAD}"
    assert display_of(station.view(), station.state).coming[0][1] == "pad out, other garments"
    station.session.step(Step.LAY)
    assert "on pad" not in words(station)  # the garment is over it
    station.session.step(Step.PRESS)
    station.session.press()
    assert "pad out" in words(station)
    press(station)
    assert "pad" not in words(station)  # it is out


def test_a_jump_compares_with_what_was_really_on_the_press(tmp_path):
    station = open_controller(tmp_path)
    press(station)
    station.session.jump(2)  # the plan's piece before it has no pad; the press has
    assert "pad out" in words(station)
    press(station)
    station.session.press()  # the number, under the name
    assert station.session.progress.at.index == 1
    assert "pad" not in words(station)  # the plan says "pad out" here, and it is
    assert "pad" in station.session.progress.stop.changes
    station.session.jump(0)
    assert f"on pad {PAD}" in words(station)


def test_skipping_leaves_the_pad_in_doubt_until_a_garment_is_loaded(tmp_path):
    station = open_controller(tmp_path)
    station.session.skip()  # the light has asked for the pad: it may be on
    assert "pad out" in words(station)
    station.session.skip()
    assert "pad out" in words(station)


def test_resuming_knows_the_pad_of_the_last_press(tmp_path):
    press(open_controller(tmp_path))
    again = reopened(tmp_path)
    assert "pad out" in words(again)
    again.session.undo()  # the record is taken back, the pad is where it was
    again.session.step(Step.LOAD)
    assert f"on pad {PAD}" in words(again)


def test_a_platen_is_named_where_another_may_be_on():
    sleeve = PressSetup("sleeve-4x16in")
    assert fitting_words(sleeve, {PressSetup()}) == ("platen sleeve-4x16in",)
    assert fitting_words(sleeve, {sleeve}) == ()
    assert fitting_words(PressSetup(), {sleeve}) == ("platen of the rig",)


def test_the_pads_edge_is_lit_true_on_its_top_before_the_garment_lies_on_it(tmp_path):
    station = open_controller(tmp_path)
    (edge,) = [m for m in marks(station) if isinstance(m, Stroke) and m.role is Role.CLEAR]
    assert edge.height == pytest.approx(0.4 * 25.4)
    assert np.ptp(as_points(edge.points), axis=0) == pytest.approx((8 * 25.4, 10 * 25.4))
    press(station)
    assert not [m for m in marks(station) if isinstance(m, Stroke) and m.role is Role.CLEAR]
