"""Light for one artwork: the same loop as for an order, with a record that is thrown away."""

import functools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.artwork import load_artwork
from chalkbeam.garments import garment
from chalkbeam.light.choice import OFF_PRESSURE
from chalkbeam.locations import location
from chalkbeam.placement import place
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.record.progress import At
from chalkbeam.record.scratch import scratch_session
from chalkbeam.station.controller import StationController
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.modes import SINGLE
from chalkbeam.station.ready_imprint import ImprintPreparer
from chalkbeam.station.single_order import single_order
from chalkbeam.station.values import Showing
from overlay.marks import Crosshair, Role, Stroke
from overlay.window.inputs import Closed, Key, Pointer, Tick
from tests.support.crew_order import write_pennant
from tests.support.press import Press
from tests.support.rigs import make_rig

WIDTHS = {"left-chest": 90.0, "full-back": 260.0, "right-chest": 90.0, "full-front": 260.0}


@pytest.fixture(scope="module")
def art(tmp_path_factory):
    path = tmp_path_factory.mktemp("art") / "pennant.png"
    write_pennant(path)
    return path


@functools.cache
def pennant_at(art, name):
    artwork = load_artwork(art, width=WIDTHS[name])
    return place(garment("crew_tee", "M"), location(name), artwork)


class NoLight:
    """An output of another kind: the controller works with any."""

    def prepare(self, scene):
        assert scene is not None

    def begin(self, scene):
        return lambda: None


def station_at(art, *names, pad="", output=None, **options):
    """Return a station for a pennant on a crew tee at these locations."""
    placements = {name: pennant_at(art, name) for name in names}
    preparer = ImprintPreparer(
        [make_rig()], place=lambda piece, imprint, location_of: placements[location_of(imprint)]
    )
    order = single_order(list(placements.values()), art="pennant.png", colour="navy", pad=pad)
    output = output or FrameCache()
    return StationController(scratch_session(order), preparer, output, mode=SINGLE, **options)


@pytest.fixture
def press(art):
    """Left chest and full back."""
    return Press(station_at(art, "left-chest", "full-back"))


def test_steps_go_round_on_one_garment_after_another(press):
    steps = []
    for _ in range(7):
        steps.append(press.progress.at)
        press.keys("page down")
    load, lay, closed = (At(0, step) for step in (Step.LOAD, Step.LAY, Step.PRESS))
    assert steps == [load, lay, closed, load, lay, closed, load]
    assert press.progress.outcomes == {}
    press.keys("page up", "page up")
    assert press.progress.at == closed


def test_only_the_lines_of_the_step_are_lit(press):
    roles = {mark.role for mark in press.marks()}
    assert Role.LOAD in roles
    assert Role.LAY not in roles
    roles = {mark.role for mark in press.keys("space").marks()}
    assert Role.LAY in roles
    assert Role.LOAD not in roles
    assert press.keys("space").marks() is None  # dark while the press is closed


def test_a_location_on_the_other_face_is_loaded_first(press):
    """The garment must be turned: lay lines would be lit on the wrong side of it."""
    press.keys("space", "2")
    assert press.progress.at == At(1, Step.LOAD)
    assert "location 2 of 2: full back" in press.words()
    assert "back up" in press.words()
    press.keys("space", "1")
    assert press.progress.at == At(0, Step.LOAD)
    assert press.keys("space", "space", "2").progress.at == At(1, Step.LOAD)


def test_a_location_for_which_the_garment_stays_keeps_the_step(art):
    press = Press(station_at(art, "left-chest", "right-chest"))
    lying = press.station.readiness.ready
    press.keys("space", "2")
    assert press.progress.at == At(1, Step.LAY)
    assert press.station.readiness.ready.lies_as(lying)
    assert "location 2 of 2" in press.words()


def test_numbers_without_a_location_choose_nothing_and_say_so(press):
    press.keys("space", "5")
    assert press.progress.at == At(0, Step.LAY)
    assert "no location 5: there are 2" in press.words(Role.WARN)
    assert "no location" not in press.keys("1").words()


def test_a_pad_is_named_before_the_garment_covers_it(art):
    press = Press(station_at(art, "left-chest", pad="10x10x0.5in"))
    assert "on pad 10x10x0.5in" in press.words()
    assert press.station.readiness.ready.choice.loading.height > 12.7
    assert "on pad" not in press.keys("space").words()


def test_arrows_move_the_lay_lines_by_millimetres(press):
    press.keys("space")
    laid = press.marks()
    press.keys("right", "right", "up").keys("right", shift=True).keys("down", shift=True)
    moved = press.marks()
    before, after = (next(m for m in each if isinstance(m, Crosshair)) for each in (laid, moved))
    np.testing.assert_allclose(np.subtract(after.centre, before.centre), (2.1, 0.9), atol=1e-9)
    assert "2.1 mm right, 0.9 mm away" in press.words(Role.NOTE)
    # The outline moves with it.
    first, second = (
        np.array(next(m for m in each if isinstance(m, Stroke) and m.closed).points)
        for each in (laid, moved)
    )
    np.testing.assert_allclose(second - first, np.tile((2.1, 0.9), (len(first), 1)), atol=1e-6)


def test_turning_goes_about_the_optical_centre(press):
    laid = press.keys("space").marks()
    press.keys("l", "l").keys("r", shift=True)
    assert math.degrees(press.progress.nudge(0).angle) == pytest.approx(0.9)
    centres = [
        next(m for m in each if isinstance(m, Crosshair)).centre for each in (laid, press.marks())
    ]
    np.testing.assert_allclose(*centres, atol=1e-9)
    assert "0.9° turned left" in press.words()


def test_nudges_belong_to_their_location_and_can_be_taken_back(press):
    press.keys("space", "left", "2", "space", "up")
    assert [press.progress.nudge(index) for index in (0, 1)] == [Shift(-1, 0), Shift(0, 1)]
    press.keys("0", "1")
    assert [press.progress.nudge(index) for index in (0, 1)] == [Shift(-1, 0), Shift()]


def test_nudges_last_for_the_next_garment(press):
    press.keys("space", "left", "space", "space", "space")
    assert press.progress.at == At(0, Step.LAY)
    assert "1.0 mm left" in press.words()


def test_tenths_add_up_without_dust(art):
    press = Press(station_at(art, "left-chest", output=NoLight()))
    press.keys("space").keys(*["right"] * 30, shift=True)
    assert "moved 3.0 mm right" in press.words()
    press.keys(*["left"] * 3, *["l"] * 4, *["r"] * 4)
    assert "moved" not in press.words()


@pytest.mark.parametrize("keys", [(), ("space", "b"), ("space", "h")])
def test_arrows_outside_the_lay_step_move_nothing_and_say_so(press, keys):
    press.keys(*keys, "left")
    assert press.progress.nudge(0) == Shift()
    assert press.station.state.said == "lines move in the lay step"
    assert "lines move in the lay step" in press.words()


def test_ink_moved_off_the_pressed_area_is_told(art):
    press = Press(station_at(art, "left-chest", output=NoLight()))
    press.keys("space")
    assert OFF_PRESSURE.sentence.say()[:20] not in press.words()
    press.keys(*["right"] * 60)
    assert "moved off the pressed area" in press.words(Role.WARN)


def test_one_key_darkens_and_lights_again(press):
    lit = press.marks()
    assert press.keys("b").marks() is None
    assert press.keys("b").marks() == lit
    assert press.keys("b", "space").marks() is not None


def test_check_view_and_keys_come_and_go(press):
    lit = press.marks()
    assert "squares 100 mm" in press.keys("c").words()
    assert press.keys("c").marks() == lit
    assert "next step" in press.keys("h").words()
    assert press.keys("space").marks() == lit  # away with it, without a step
    assert press.keys("h", "c").station.state.showing is Showing.CHECK


def test_it_can_begin_with_squares(art):
    assert "squares 100 mm" in Press(station_at(art, "left-chest", check=True)).words()


def test_leaving_takes_two_escapes(press):
    press.keys("escape")
    assert not press.station.state.over
    assert "Escape again" in press.words(Role.WARN)
    press.keys("space")
    assert not press.station.state.leaving
    assert press.keys("escape", "escape").station.state.over


@pytest.mark.parametrize("last", [Key("q", control=True), Closed()])
def test_leaving_at_once(press, last):
    assert press.station.take(last).state.over


def test_a_foot_on_the_pedal_steps_once(press):
    press.keys("space").station.take(Key("space", repeated=True, at=press.at + 5))
    assert press.progress.at.step is Step.LAY


@pytest.mark.parametrize("name", ["s", "x", "u", "g", "j", "p", "return", "f7"])
def test_keys_of_an_order_do_nothing_and_characters_are_not_held_back(press, name):
    before = press.marks()
    press.station.take(Key(name, text=name if len(name) == 1 else "", at=press.at + 5))
    assert press.station.state.due is None
    assert press.marks() == before


def test_equal_light_is_the_very_same_frame(press):
    press.keys("space")
    first = press.frame()
    press.station.take(Pointer((3, 4)))
    press.station.take(Tick())
    assert press.frame() is first
    assert press.keys("left", "right").frame() is first


@pytest.mark.slow
@given(
    st.lists(
        st.tuples(
            st.sampled_from(
                ["space", "page up", "left", "up", "l", "r", "0", "1", "2", "3", "b", "c", "h",
                 "escape", "x", "f5", "return"]
            ),
            st.booleans(),
        ),
        max_size=12,
    )
)  # fmt: skip
def test_whatever_is_pressed_lay_is_lit_only_on_the_face_that_was_loaded(art, keys):
    press = Press(station_at(art, "left-chest", "full-back", output=NoLight()))
    loaded = press.progress.stop.fit
    for name, shift in keys:
        press.keys(name, shift=shift)
        if press.station.state.over:
            break
        if press.progress.at.step is Step.LOAD:
            loaded = press.progress.stop.fit
        assert press.progress.at.step is Step.LOAD or press.progress.stop.fit == loaded
    press.marks()
