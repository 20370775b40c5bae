"""Crosses moved on to marks by hand: an operator with a true eye against a projector known here."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.refusal import Refusal
from calibration.rig import by_hand
from calibration.solve.acceptance import examine
from calibration.solve.values import Stated
from chalkbeam.basics.units import Unit
from chalkbeam.setup.crosses.light import frame_of
from chalkbeam.setup.crosses.state import (
    FAR,
    FINE,
    STEP,
    CrossState,
    Solved,
    advance,
    name_of,
    ruler_words,
)
from overlay.window.inputs import Closed, Key, Pointer, Tick
from tests.support.crosses import FACE, SIZE, largest_miss, projector


def solver(crosses):
    places = [cross.point for cross in crosses]
    lights = [cross.pixel for cross in crosses]
    try:
        solution = by_hand.solve_by_hand(places, lights, FACE, SIZE, Stated(throw=1.2))
        return Solved(solution, examine(solution, FACE))
    except Refusal as refusal:
        return Solved(refused=refusal)


def never(crosses):
    pytest.fail("asked before all crosses were set")


def press(state, *names, solve=never, **held):
    for name in names:
        state = advance(state, Key(name, **held), solve)
    return state


def move(state, true, solve=never):
    """Press arrow keys as an operator does who sees where cross and mark are; count the keys."""
    count = 0
    target = true.projector_from_platen([state.marks[state.index].point])[0]
    for step, held in ((FAR, {"control": True}), (STEP, {}), (FINE, {"shift": True})):
        for _ in range(300):
            right, away = state.directions()
            off = np.linalg.solve(np.array([right, away]).T, target - np.array(state.cross))
            if np.abs(off).max() <= step / 2 * 1.01:
                break
            axis = int(abs(off[1]) > abs(off[0]))
            name = (("left", "right"), ("down", "up"))[axis][int(off[axis] > 0)]
            state = press(state, name, solve=solve, **held)
            count += 1
    return state, count


def set_all(state, true, solve):
    counts = []
    while state.solved is None:
        state, count = move(state, true, solve)
        counts.append(count)
        state = press(state, "return", solve=solve)
    return state, counts


def fresh(count=9):
    return CrossState(FACE, SIZE, by_hand.suggested_points(FACE, count))


@pytest.mark.slow
@pytest.mark.parametrize("roll", [0.05, 3.1, 1.6, -1.5])
def test_nine_crosses_make_a_rig_whichever_way_the_projector_hangs(roll):
    true = projector(roll)
    done, counts = set_all(fresh(), true, solver)
    assert done.solved.refused is None
    assert largest_miss(true, done.solved.solution.map) < 0.5
    # Once four are set the others nearly stand on their marks by themselves.
    assert max(counts[4:]) <= 12
    # The result is shown by squares in the unit that is worked in.
    inches, millimetres = (frame_of(replace(done, unit=unit)) for unit in (Unit.INCH, Unit.MM))
    assert (inches != millimetres).any()
    ended = press(done, "return")
    assert ended.over
    assert ended.accepted


def test_arrows_move_the_way_the_operator_sees_once_two_crosses_tell():
    """However the picture is turned, right is right and up is away on the platen."""
    for roll in (0.05, 3.1, 1.6):
        true = projector(roll)
        state = fresh()
        for _ in range(3):
            state, _ = move(state, true)
            state = press(state, "return")
        for key, way in (("right", (1, 0)), ("up", (0, 1)), ("left", (-1, 0))):
            before = true.platen_from_projector([state.cross])[0]
            after = true.platen_from_projector([press(state, key, control=True).cross])[0]
            step = (after - before) / np.hypot(*(after - before))
            assert step @ way > 0.9


def test_a_turned_picture_can_be_said_before_the_first_cross():
    state = fresh()
    first = [press(state, *["r"] * turns).cross for turns in range(5)]
    assert first[0] == first[4]
    assert len({(round(x), round(y)) for x, y in first}) == 4
    right, away = press(state, "r", "r").directions()
    np.testing.assert_allclose([right, away], [(-1, 0), (0, 1)], atol=1e-9)
    assert press(state, "return", "r").turned == 0  # not once one is set


def test_steps_are_one_ten_and_a_quarter_of_a_pixel():
    state = fresh()
    x, y = state.cross
    assert press(state, "right").cross == pytest.approx((x + 1, y))
    assert press(state, "up", shift=True).cross == pytest.approx((x, y - 0.25))
    assert press(state, "left", control=True).cross == pytest.approx((x - 10, y))
    far = press(state, *["left"] * 500, control=True)
    assert far.cross == pytest.approx((0, y))  # stays in the picture


def test_the_mouse_drags_the_cross():
    state = advance(fresh(), Pointer((333.5, 222.25), pressed=True), never)
    assert state.cross == (333.5, 222.25)
    assert advance(state, Pointer((1, 1)), never) == state  # only while the button is down


def test_a_cross_can_be_taken_up_again():
    state = press(fresh(), "right", "return", "down", "return")
    back = press(state, "page up")
    assert back.index == 1
    assert back.cross == state.pixels[1]
    assert press(back, "page up", "page up").index == 0


def test_darkness_and_leaving():
    state = fresh()
    dark = press(state, "b")
    assert frame_of(dark) is None
    assert press(dark, "right").dark is True or press(dark, "right").cross == state.cross
    assert press(dark, "return").index == 0  # lights again, sets nothing
    asked = press(state, "escape")
    assert not asked.over
    assert press(asked, "escape").over
    assert not press(asked, "right").leaving
    assert press(state, "q", control=True).over
    assert not advance(state, Closed(), never).accepted
    assert advance(state, Tick(), never) == state


def test_crosses_on_the_wrong_marks_are_refused_and_can_be_set_again():
    true = projector()
    state = fresh(5)
    done, _ = set_all(state, true, solver)
    wrong = advance(press(done, "page up"), Pointer((90.0, 80.0), pressed=True), never)
    wrong = press(wrong, "return", solve=solver)
    assert wrong.solved.refused
    assert not press(wrong, "return").over  # there is nothing to accept
    assert frame_of(wrong).any()
    again, _ = move(press(wrong, "page up"), true)
    again = press(again, "return", solve=solver)
    assert again.index == 5
    assert again.solved.refused is None


@pytest.mark.slow
def test_one_cross_of_a_refused_set_is_mended_and_the_others_stay():
    true = projector()
    done, _ = set_all(fresh(), true, solver)
    wrong = advance(press(done, "3"), Pointer((700.0, 90.0), pressed=True), never)
    done = press(wrong, "return", solve=solver)
    assert "back right corner" in str(done.solved.refused)
    for state in (done, wrong):  # every other cross can be seen, clear of the words
        frame = frame_of(state)
        for index, (x, y) in enumerate(done.pixels):
            around = frame[round(y) - 12 : round(y) + 13, round(x) - 12 : round(x) + 13]
            assert 15 < (around.max(axis=2) > 60).sum() < 150, index
    at_hand = press(done, "3")
    assert at_hand.cross == done.pixels[2]
    assert at_hand.placed == done.pixels
    mended, _ = move(at_hand, true)
    again = press(mended, "return", solve=solver)
    assert again.solved.solution is not None
    assert [a == b for a, b in zip(again.pixels, done.pixels, strict=True)] == [
        index != 2 for index in range(9)
    ]


def test_crosses_are_taken_up_in_any_order_and_none_counts_before_it_is_set():
    state = press(fresh(4), "right", "return", "down", "return", "left")
    assert state.placed == state.pixels
    first = press(state, "1")
    assert (first.index, first.cross) == (0, state.pixels[0])
    assert press(first, "r") == first  # the others tell how the picture lies
    assert press(first, "right").placed == ((first.cross[0] + 1, first.cross[1]), first.later[0])
    on = press(first, "return", "return")
    assert (on.index, on.at, on.pixels) == (2, None, state.pixels)
    for key in ("4", "0", "9"):
        assert press(state, key) == state
    asked = []

    def refuse(crosses):
        asked.append(crosses)
        return Solved(refused=Refusal("no."))

    done = press(on, "return", "return", solve=refuse)
    assert press(done, "5", solve=refuse) == done
    back = press(done, "page up", "page up", "page up", solve=refuse)
    assert (back.index, back.placed) == (1, done.pixels)
    assert press(back, "return", solve=refuse).solved is not None  # none is left to set
    assert asked[0] == asked[1]


def test_frames_show_the_cross_where_it_stands_and_are_drawn_once():
    state = press(fresh(), "right", "return")
    frame = frame_of(state)
    assert frame_of(replace(state)) is frame
    x, y = (round(value) for value in state.cross)
    assert frame[y - 2 : y + 3, x - 2 : x + 3].max() > 200
    assert frame[y, x + 25].max() > 60  # an arm
    for later in (press(state, "escape"), press(fresh(), "r")):
        assert frame_of(later).any()


@pytest.mark.parametrize("size", [SIZE, (1920, 1080), (2560, 1080), (3840, 2160)])
def test_crosses_are_seen_in_every_corner_of_a_picture_of_any_size(size):
    state = CrossState(FACE, size, by_hand.suggested_points(FACE, 9, 25.0))
    width, height = size
    for x, y in ((0.03, 0.04), (0.97, 0.05), (0.98, 0.97), (0.02, 0.96), (0.8, 0.5)):
        at_hand = advance(state, Pointer((width * x, height * y), pressed=True), never)
        moved_on = press(at_hand, "return")
        for state, arm in ((at_hand, 60), (moved_on, 14)):
            frame = frame_of(state)
            column, row = (round(value) for value in at_hand.cross)
            for sign in (-1, 1):
                tip = column + sign * round(arm * height / 1080)
                if 1 <= tip < width - 1:
                    assert frame[row - 1 : row + 2, tip].max() > 60, (state.index, x, sign)


@pytest.mark.parametrize(
    ("point", "name", "words"),
    [
        ((-178, -229), "front left", "25 mm from the left edge, 25 mm from the front edge"),
        ((0, 0), "middle", "half way across, half way back"),
        ((0, 229), "back middle", "half way across, 25 mm from the back edge"),
        ((178, 0), "right middle", "25 mm from the right edge, half way back"),
    ],
)
def test_marks_in_words(point, name, words):
    assert name_of(point, FACE) == name
    assert ruler_words(point, FACE) == words
