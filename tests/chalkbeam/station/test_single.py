"""The projecting session: a pure fold over keys, and what it lights."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from chalkbeam.artwork import load_artwork
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.light.choice import OFF_PRESSURE, Choice, about
from chalkbeam.light.pages import Page, page_mark
from chalkbeam.locations import location
from chalkbeam.placement import place
from chalkbeam.placement.loading import load
from chalkbeam.placement.platens import COMMON, Platen, parse_pad
from chalkbeam.placement.platens import platen as find_platen
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.station.help import help_marks, shift_words
from chalkbeam.station.single import ACTS, Session, advance, lit
from chalkbeam.station.values import Showing
from overlay.marks import LEADING, Crosshair, Role, Stroke, Text
from overlay.text.typeface import set_line
from overlay.window.inputs import Closed, Key, Pointer, Tick
from tests.support.crew_order import write_pennant
from tests.support.rigs import FACE

SHIFT_RIGHT = Key("right", shift=True)


@pytest.fixture(scope="module")
def choices(tmp_path_factory):
    """Left chest and full back of a crew tee, with a pennant as artwork."""
    art = tmp_path_factory.mktemp("art") / "pennant.png"
    write_pennant(art)
    tee = garment("crew_tee", "M")
    platen = Platen("bench", FACE)
    made = []
    for name, width in (("left-chest", 90.0), ("full-back", 260.0)):
        placement = place(tee, location(name), load_artwork(art, width=width))
        made.append(Choice(placement, load(placement, platen)))
    return tuple(made)


@pytest.fixture
def session(choices):
    return Session.of(choices)


def press(session, *keys):
    for key in keys:
        session = advance(session, key if isinstance(key, Key) else Key(key))
    return session


def light(session):
    return lit(session, FACE, "bench press", Unit.MM)


def texts(marks, role=None):
    found = [mark for mark in marks or () if isinstance(mark, Text)]
    return " ".join(t.text.replace("\n", " ") for t in found if role in (None, t.role))


def test_steps_go_round_load_lay_dark(session):
    steps = []
    for _ in range(4):
        steps.append(session.step)
        session = press(session, "page down")
    assert steps == [Step.LOAD, Step.LAY, Step.PRESS, Step.LOAD]
    assert press(session, "page up").step is Step.LOAD


def test_only_the_lines_of_the_step_are_lit(session):
    roles = {mark.role for mark in light(session)}
    assert Role.LOAD in roles
    assert Role.LAY not in roles
    session = press(session, "space")
    roles = {mark.role for mark in light(session)}
    assert Role.LAY in roles
    assert Role.LOAD not in roles
    assert light(press(session, "space")) is None  # dark while the press is closed


def test_number_keys_choose_the_location_and_keep_the_step(session):
    laid = press(session, "space", "2")
    assert (laid.chosen, laid.step) == (1, Step.LAY)
    assert "full back" in texts(light(laid))
    assert press(session, "space", "space", "2").step is Step.LOAD
    wrong = press(laid, "5")
    assert wrong.chosen == 1
    assert "no location 5: there are 2" in texts(light(wrong), Role.WARN)
    assert "no location" not in texts(light(press(wrong, "1")))


def test_arrows_move_the_lay_lines_by_millimetres(session):
    laid = press(session, "space")
    before = next(m for m in light(laid) if isinstance(m, Crosshair))
    moved = press(laid, "right", "right", "up", SHIFT_RIGHT, Key("down", shift=True))
    after = next(m for m in light(moved) if isinstance(m, Crosshair))
    np.testing.assert_allclose(np.subtract(after.centre, before.centre), (2.1, 0.9), atol=1e-9)
    assert "2.1 mm right, 0.9 mm away" in texts(light(moved), Role.NOTE)
    # The outline moves with it.
    first, second = (
        np.array(next(m for m in light(s) if isinstance(m, Stroke) and m.closed).points)
        for s in (laid, moved)
    )
    np.testing.assert_allclose(second - first, np.tile((2.1, 0.9), (len(first), 1)), atol=1e-6)


def test_turning_goes_about_the_optical_centre(session):
    laid = press(session, "space")
    turned = press(laid, "l", "l", Key("r", shift=True))
    assert math.degrees(turned.nudge.angle) == pytest.approx(0.9)
    centres = [next(m for m in light(s) if isinstance(m, Crosshair)).centre for s in (laid, turned)]
    np.testing.assert_allclose(*centres, atol=1e-9)
    assert "0.9° turned left" in texts(light(turned))


def test_nudges_belong_to_their_location_and_can_be_taken_back(session):
    moved = press(session, "space", "left", "2", "up")
    assert moved.nudges == (Shift(-1, 0), Shift(0, 1))
    assert press(moved, "0").nudges == (Shift(-1, 0), Shift())
    assert press(moved, "1").nudge == Shift(-1, 0)


def test_tenths_add_up_without_dust(session):
    there = press(session, "space", *[SHIFT_RIGHT] * 30)
    assert there.nudge == Shift(3.0, 0.0)
    back = press(there, *["left"] * 3, *["l"] * 4, *["r"] * 4)
    assert back.nudge == Shift()
    assert "moved" not in texts(light(back))


def test_arrows_outside_the_lay_step_move_nothing_and_say_so(session):
    for start in (session, press(session, "space", "b"), press(session, "space", "h")):
        tried = press(start, "left")
        assert tried.nudge == Shift()
        assert "lines move in the lay step" in texts(light(tried))


def test_ink_moved_off_the_pressed_area_is_told(session):
    laid = press(session, "space")
    assert OFF_PRESSURE.sentence.say()[:20] not in texts(light(laid))
    off = press(laid, *["right"] * 60)
    assert "moved off the pressed area" in texts(light(off), Role.WARN)


def test_one_key_darkens_and_lights_again(session):
    dark = press(session, "b")
    assert light(dark) is None
    assert light(press(dark, "b")) == light(session)
    assert light(press(dark, "space")) is not None


def test_check_view_and_keys_come_and_go(session):
    squares = press(session, "c")
    assert squares.showing is Showing.CHECK
    assert "squares 100 mm" in texts(light(squares))
    assert press(squares, "c") == session
    listed = press(session, "h")
    assert "next step" in texts(light(listed))
    assert press(listed, "space") == session  # away with it, without a step
    assert press(listed, "c").showing is Showing.CHECK


def test_leaving_takes_two_escapes(session):
    asked = press(session, "escape")
    assert not asked.over
    assert "Escape again" in texts(light(asked), Role.WARN)
    assert press(asked, "escape").over
    stayed = press(asked, "space")
    assert not stayed.over
    assert not stayed.leaving
    assert press(session, Key("q", control=True)).over
    assert advance(session, Closed()).over


def test_a_foot_on_the_pedal_steps_once(session):
    assert press(session, "space", Key("space", repeated=True)).step is Step.LAY


def test_equal_sessions_are_lit_by_the_very_same_marks(session):
    assert light(press(session, "space", "left", "right")) is light(press(session, "space"))


@given(
    st.lists(
        st.builds(
            Key,
            st.sampled_from(
                ["space", "page up", "left", "up", "l", "r", "0", "1", "2", "3", "b", "c", "h",
                 "escape", "x", "f5", "return"]
            ),
            st.booleans(),
        ),
        max_size=30,
    )
)  # fmt: skip
def test_any_keys_leave_a_session_that_can_be_lit(choices, keys):
    session = Session.of(choices)
    for key in keys:
        session = advance(session, key)
        if session.over:
            break
    assert 0 <= session.chosen < 2
    light(session)


def test_other_inputs_change_nothing(session):
    assert advance(session, Pointer((3, 4))) is session
    assert advance(session, Tick()) is session
    assert advance(session, Key("f7")) is session


def test_a_shift_about_a_point_moves_that_point_only_by_its_length():
    by = about(Shift(3, -2, 0.5), (40.0, 10.0))
    np.testing.assert_allclose(by.apply([(40.0, 10.0)]), [(43.0, 8.0)])


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        (Shift(), ""),
        (Shift(0.04, -0.04, math.radians(0.04)), ""),
        (Shift(-1.25, 0), "1.2 mm left"),
        (Shift(0, -3), "3.0 mm near"),
        (Shift(1, 1, math.radians(-2)), "1.0 mm right, 1.0 mm away, 2.0° turned right"),
    ],
)
def test_shifts_in_words(shift, words):
    assert shift_words(shift) == words


@pytest.mark.parametrize("face", [FACE, PlatenFace(125, 125), PlatenFace(100, 400)])
def test_the_list_of_keys_fits_the_platen(face):
    for text in help_marks(Page(face), ACTS):
        lines = text.text.split("\n")
        widest = max(set_line(line, text.size).advance for line in lines)
        left = text.anchor[0] - text.align[0] * widest
        assert -face.width / 2 < left
        assert left + widest < face.width / 2
        assert 1.75 * text.size * len(lines) < face.depth


@pytest.mark.parametrize("pad", ["", "6x6x0.5in", "10x10x0.5in", "4x4x0.25in"])
@pytest.mark.parametrize("plate", COMMON)
def test_pages_of_words_lie_level_and_on_what_they_are_lit_on(plate, pad):
    """Whole on the platen's face, on the pad, or so far before it that the cloth lies flat."""
    try:
        bed = find_platen(plate).with_pad(parse_pad(pad) if pad else None)
    except Refusal:  # the pad is larger than the platen
        return
    page = Page.on(bed, bed.height + 1.0)
    face, top = (shapely.Polygon(edge) for edge in (bed.face.outline(), bed.pressed()))
    asked = ("Spoiled: why?", "1 in the wrong place", "2 wrong transfer", "3 scorched")
    refused = ("The ink (260 mm x 235 mm) would leave the pressed area: use 16x20in.",)
    for marks in (
        help_marks(page, ACTS),
        (page_mark(page, asked, Role.NOTE),),
        (page_mark(page, refused, Role.WARN),),
    ):
        for text in marks:
            wide = max(set_line(line, text.size).advance for line in text.text.split("\n"))
            tall = text.size * (1 + LEADING * text.text.count("\n"))
            x, y = np.array(text.anchor) - np.multiply(text.align, (wide, tall))
            ink = shapely.box(x, y - 0.3 * text.size, x + wide, y + tall)
            box = ink.buffer(0.5 * text.size if text.role is Role.WARN else 0.0)
            assert text.size >= 7.0
            assert face.contains(box)
            if bed.pad is not None and text.height == bed.height + 1.0:
                assert top.contains(box)
            elif bed.pad is not None:
                assert text.height == pytest.approx(1.0)
                assert top.distance(ink) >= 2 * bed.pad.height
