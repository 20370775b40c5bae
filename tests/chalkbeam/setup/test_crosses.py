"""Crosses moved on to marks by hand: an operator with a true eye against a projector known here."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from calibration.rig import by_hand, drift, library
from calibration.rig.file import Rig, load, save
from calibration.solve.acceptance import examine
from calibration.solve.values import Cross, Stated
from chalkbeam.setup.crosses.light import lit
from chalkbeam.setup.crosses.state import (
    FAR,
    FINE,
    STEP,
    Setting,
    Solved,
    advance,
    name_of,
    ruler_words,
)
from overlay.window.inputs import Closed, Key, Pointer, Tick
from tests.support.oblique_projector import oblique_map
from tests.support.rigs import save_rig
from tests.support.run_cli import run_program

FACE = PlatenFace(406.0, 508.0, 15.0)
SIZE = (1280, 720)


def projector(roll=0.05, **options):
    usual = {"tilt": 0.55, "turn": 0.15, "distance": 1200, "throw": 1.2, "k1": -0.02}
    return oblique_map(SIZE, roll=roll, **{**usual, **options})


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


def press(setting, *names, solve=never, **held):
    for name in names:
        setting = advance(setting, Key(name, **held), solve)
    return setting


def move(setting, true, solve=never):
    """Press arrow keys as an operator does who sees where cross and mark are; count the keys."""
    count = 0
    target = true.projector_from_platen([setting.marks[setting.index].point])[0]
    for step, held in ((FAR, {"control": True}), (STEP, {}), (FINE, {"shift": True})):
        for _ in range(300):
            right, away = setting.directions()
            off = np.linalg.solve(np.array([right, away]).T, target - np.array(setting.cross))
            if np.abs(off).max() <= step / 2 * 1.01:
                break
            axis = int(abs(off[1]) > abs(off[0]))
            name = (("left", "right"), ("down", "up"))[axis][int(off[axis] > 0)]
            setting = press(setting, name, solve=solve, **held)
            count += 1
    return setting, count


def set_all(setting, true, solve):
    counts = []
    while setting.solved is None:
        setting, count = move(setting, true, solve)
        counts.append(count)
        setting = press(setting, "return", solve=solve)
    return setting, counts


def fresh(count=9):
    return Setting(FACE, SIZE, by_hand.suggested_points(FACE, count))


def landed(true, found):
    """Largest distance between meant and landed light over the platen, mm."""
    x, y = np.meshgrid(np.linspace(-203, 203, 15), np.linspace(-254, 254, 15))
    grid = np.column_stack([x.ravel(), y.ravel()])
    back = true.platen_from_projector(found.projector_from_platen(grid))
    return np.hypot(*(back - grid).T).max()


@pytest.mark.parametrize("roll", [0.05, 3.1, 1.6, -1.5])
def test_nine_crosses_make_a_rig_whichever_way_the_projector_hangs(roll):
    true = projector(roll)
    done, counts = set_all(fresh(), true, solver)
    assert done.solved.refused is None
    assert landed(true, done.solved.solution.map) < 0.5
    # Once four are set the others nearly stand on their marks by themselves.
    assert max(counts[4:]) <= 12
    kept = press(done, "return")
    assert kept.over
    assert kept.kept


def test_arrows_move_the_way_the_operator_sees_once_two_crosses_tell():
    """However the picture is turned, right is right and up is away on the platen."""
    for roll in (0.05, 3.1, 1.6):
        true = projector(roll)
        setting = fresh()
        for _ in range(3):
            setting, _ = move(setting, true)
            setting = press(setting, "return")
        for key, way in (("right", (1, 0)), ("up", (0, 1)), ("left", (-1, 0))):
            before = true.platen_from_projector([setting.cross])[0]
            after = true.platen_from_projector([press(setting, key, control=True).cross])[0]
            step = (after - before) / np.hypot(*(after - before))
            assert step @ way > 0.9


def test_a_turned_picture_can_be_said_before_the_first_cross():
    setting = fresh()
    first = [press(setting, *["r"] * turns).cross for turns in range(5)]
    assert first[0] == first[4]
    assert len({(round(x), round(y)) for x, y in first}) == 4
    right, away = press(setting, "r", "r").directions()
    np.testing.assert_allclose([right, away], [(-1, 0), (0, 1)], atol=1e-9)
    assert press(setting, "return", "r").turned == 0  # not once one is set


def test_steps_are_one_ten_and_a_quarter_of_a_pixel():
    setting = fresh()
    x, y = setting.cross
    assert press(setting, "right").cross == pytest.approx((x + 1, y))
    assert press(setting, "up", shift=True).cross == pytest.approx((x, y - 0.25))
    assert press(setting, "left", control=True).cross == pytest.approx((x - 10, y))
    far = press(setting, *["left"] * 500, control=True)
    assert far.cross == pytest.approx((0, y))  # stays in the picture


def test_the_mouse_drags_the_cross():
    setting = advance(fresh(), Pointer((333.5, 222.25), pressed=True), never)
    assert setting.cross == (333.5, 222.25)
    assert advance(setting, Pointer((1, 1)), never) == setting  # only while the button is down


def test_a_cross_can_be_taken_up_again():
    setting = press(fresh(), "right", "return", "down", "return")
    back = press(setting, "page up")
    assert back.index == 1
    assert back.cross == setting.pixels[1]
    assert press(back, "page up", "page up").index == 0


def test_darkness_and_leaving():
    setting = fresh()
    dark = press(setting, "b")
    assert lit(dark) is None
    assert press(dark, "right").dark is True or press(dark, "right").cross == setting.cross
    assert press(dark, "return").index == 0  # lights again, sets nothing
    asked = press(setting, "escape")
    assert not asked.over
    assert press(asked, "escape").over
    assert not press(asked, "right").leaving
    assert press(setting, "q", control=True).over
    assert not advance(setting, Closed(), never).kept
    assert advance(setting, Tick(), never) == setting


def test_crosses_on_the_wrong_marks_are_refused_and_can_be_set_again():
    true = projector()
    setting = fresh(5)
    done, _ = set_all(setting, true, solver)
    wrong = advance(press(done, "page up"), Pointer((90.0, 80.0), pressed=True), never)
    wrong = press(wrong, "return", solve=solver)
    assert wrong.solved.refused
    assert not press(wrong, "return").over  # there is nothing to keep
    assert lit(wrong).any()
    again, _ = move(press(wrong, "page up"), true)
    again = press(again, "return", solve=solver)
    assert again.index == 5
    assert again.solved.refused is None


def test_one_cross_of_a_refused_set_is_mended_and_the_others_stay():
    true = projector()
    done, _ = set_all(fresh(), true, solver)
    wrong = advance(press(done, "3"), Pointer((700.0, 90.0), pressed=True), never)
    done = press(wrong, "return", solve=solver)
    assert "back right corner" in str(done.solved.refused)
    for state in (done, wrong):  # every other cross can be seen, clear of the words
        frame = lit(state)
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
    setting = press(fresh(4), "right", "return", "down", "return", "left")
    assert setting.placed == setting.pixels
    first = press(setting, "1")
    assert (first.index, first.cross) == (0, setting.pixels[0])
    assert press(first, "r") == first  # the others tell how the picture lies
    assert press(first, "right").placed == ((first.cross[0] + 1, first.cross[1]), first.later[0])
    on = press(first, "return", "return")
    assert (on.index, on.at, on.pixels) == (2, None, setting.pixels)
    for key in ("4", "0", "9"):
        assert press(setting, key) == setting
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
    setting = press(fresh(), "right", "return")
    frame = lit(setting)
    assert lit(replace(setting)) is frame
    x, y = (round(value) for value in setting.cross)
    assert frame[y - 2 : y + 3, x - 2 : x + 3].max() > 200
    assert frame[y, x + 25].max() > 60  # an arm
    for later in (press(setting, "escape"), press(fresh(), "r")):
        assert lit(later).any()


@pytest.mark.parametrize("size", [SIZE, (1920, 1080), (2560, 1080), (3840, 2160)])
def test_crosses_are_seen_in_every_corner_of_a_picture_of_any_size(size):
    setting = Setting(FACE, size, by_hand.suggested_points(FACE, 9, 25.0))
    width, height = size
    for x, y in ((0.03, 0.04), (0.97, 0.05), (0.98, 0.97), (0.02, 0.96), (0.8, 0.5)):
        at_hand = advance(setting, Pointer((width * x, height * y), pressed=True), never)
        moved_on = press(at_hand, "return")
        for state, arm in ((at_hand, 60), (moved_on, 14)):
            frame = lit(state)
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


# -- from the command line ----------------------------------------------------------------


@pytest.fixture
def chalkbeam(capsys, monkeypatch, tmp_path):
    """Run `chalkbeam crosses` with an operator whose projector is `true`."""
    monkeypatch.chdir(tmp_path)

    def call(true, *arguments, leave=False, after=9, off=(0, 0)):
        """Leave at once, or once so many crosses are set, the first of them off its mark."""

        def operate(state, screen, *, update, view, done, **_):
            while not done(state):
                assert view(state).any()
                if leave or (state.solved is None and state.index >= after):
                    state = update(update(state, Key("escape")), Key("escape"))
                elif state.solved is None:
                    target = true.projector_from_platen([state.marks[state.index].point])[0]
                    # As near as quarter pixels come.
                    target = target + np.array(off) * (state.index == 0)
                    seen = tuple(float(value) for value in np.round(target * 4) / 4)
                    state = update(update(state, Pointer(seen, pressed=True)), Key("return"))
                elif state.solved.refused:
                    state = update(update(state, Key("escape")), Key("escape"))
                else:
                    state = update(state, Key("return"))
            return state

        monkeypatch.setattr("overlay.window.run.run", operate)
        return run_program(capsys, monkeypatch, "crosses", *arguments, "--window")

    return call


NEW = ("new", "--platen", "406mmx508mm", "--size", "1280x720", "--throw", "1.2")


def test_new_writes_a_rig_that_other_commands_take(chalkbeam, tmp_path):
    true = projector()
    code, out, err = chalkbeam(true, *NEW, "--out", "rig.json", "--report", "report.png")
    assert code == 0
    assert "Wrote rig.json and report.png" in out
    assert "1  front left: 25 mm from the left edge, 25 mm from the front edge" in err
    assert "platen cold" in err
    rig = load("rig.json")
    assert len(rig.crosses) == 9
    assert landed(true, rig.projector) < 0.5
    code, out, _ = chalkbeam(true, *NEW, "--name", "bench", "--json")
    assert json.loads(out)["crosses"] == 9
    assert library.open_rig("bench").name == "bench"


def test_check_tells_a_bump_and_repair_takes_it_back(chalkbeam, tmp_path):
    true = projector()
    assert chalkbeam(true, *NEW, "--out", "rig.json")[0] == 0
    code, out, _ = chalkbeam(true, "check", "--rig", "rig.json")
    assert code == 0
    # A knock that turns the projector by 4 mrad: its picture moves by 6 px, 5 mm on the platen.
    bumped = replace(true, pinhole=replace(true.pinhole, cx=true.pinhole.cx + 6))
    assert landed(bumped, load("rig.json").projector) > 2
    code, out, _ = chalkbeam(bumped, "check", "--rig", "rig.json", "--json")
    assert code == 1
    assert json.loads(out)["verdict"] == drift.DriftVerdict.MOVED.value
    before = load("rig.json")
    code, out, _ = chalkbeam(bumped, "check", "--rig", "rig.json", "--repair")
    assert code == 1  # three crosses tell that it moved, but not surely enough how
    assert "set 9 crosses (--count 9)" in out  # said in the window, where more can be done
    assert "No rig was written" in out
    assert load("rig.json") == before
    repair = ("check", "--rig", "rig.json", "--repair", "--count", "9")
    code, _, err = chalkbeam(bumped, *repair)
    assert code == 0, err
    assert landed(bumped, load("rig.json").projector) < 1.0
    assert chalkbeam(bumped, "check", "--rig", "rig.json")[0] == 0


def test_touch_up_takes_out_a_common_shift(chalkbeam, tmp_path):
    true = projector()
    assert chalkbeam(true, *NEW, "--out", "rig.json")[0] == 0
    first = load("rig.json")
    code, _, _ = chalkbeam(true, "touch-up", "--rig", "rig.json", "--out", "better.json")
    assert code == 0
    assert len(load("better.json").crosses) == len(first.crosses) + 3
    assert load("rig.json") == first


def test_leaving_early_writes_nothing(chalkbeam, tmp_path):
    code, out, _ = chalkbeam(projector(), *NEW, "--out", "rig.json", leave=True)
    assert code == 1
    assert "no rig was written" in out
    assert list(tmp_path.iterdir()) == []


def test_crosses_without_a_rig_are_kept_and_gone_on_with(chalkbeam, tmp_path):
    true = projector()
    here = (*NEW, "--out", "rig.json")
    code, out, _ = chalkbeam(true, *here, after=4)
    assert code == 1
    assert "“rig.crosses” keeps 4 of 9 crosses: the same command goes on with them" in out
    # Off by 30 px the first one makes no rig; the others are not lost with it.
    code, out, err = chalkbeam(true, *here, "--anew", off=(30, 0))
    assert code == 1
    assert "keeps 9 of 9 crosses" in out
    assert "Going on" not in err
    assert [path.name for path in tmp_path.iterdir()] == ["rig.crosses"]
    code, out, err = chalkbeam(true, *here)
    assert code == 1  # shown again, and left
    assert "Going on with 9 of 9 crosses, set before and kept in “rig.crosses”" in err
    # More crosses than before go on from those there are.
    code, out, err = chalkbeam(
        true, *NEW, "--out", "four.json", "--count", "4", after=4, off=(30, 0)
    )
    code, out, err = chalkbeam(true, *NEW, "--out", "four.json", after=5)
    assert "Going on with 4 of 9 crosses" in err
    assert "keeps 5 of 9" in out
    code, out, err = chalkbeam(true, *here, "--anew")
    assert code == 0, err
    assert load("rig.json").crosses
    assert not (tmp_path / "rig.crosses").exists()


def test_crosses_go_on_at_the_very_pixels(chalkbeam, tmp_path):
    true = projector()
    assert chalkbeam(true, *NEW, "--name", "Press 1.5", after=6)[0] == 1
    assert library.names() == ()  # no rig yet
    code, _, err = chalkbeam(true, *NEW, "--name", "Press 1.5")
    assert code == 0, err
    chalkbeam(true, *NEW, "--name", "whole")
    assert library.open_rig("Press 1.5").crosses == library.open_rig("whole").crosses


@pytest.mark.parametrize(
    ("other", "says"),
    [
        (("--platen", "400mmx500mm"), "for a platen of 406 mm x 508 mm and 1280x720 pixels"),
        (("--size", "1920x1080"), "do not belong to these marks"),
        (("--inset", "30mm"), "give platen, size and inset as then (--platen, --size, --inset)"),
    ],
)
def test_crosses_of_another_bench_are_neither_used_nor_lost(chalkbeam, tmp_path, other, says):
    true = projector()
    here = (*NEW, "--out", "rig.json")
    assert chalkbeam(true, *here, after=4)[0] == 1
    before = (tmp_path / "rig.crosses").read_text()
    code, _, err = chalkbeam(true, *here, *other)
    assert code == 2
    assert says in err
    assert "--anew" in err
    assert (tmp_path / "rig.crosses").read_text() == before


def test_damaged_crosses_are_refused(chalkbeam, tmp_path):
    true = projector()
    here = (*NEW, "--out", "rig.json")
    assert chalkbeam(true, *here, after=4)[0] == 1
    whole = (tmp_path / "rig.crosses").read_text()
    for damaged in ("", "[]", whole[:-40], whole.replace('"version": 1', '"version": 2')):
        (tmp_path / "rig.crosses").write_text(damaged)
        code, _, err = chalkbeam(true, *here)
        assert code == 2
        assert "holds no crosses that can be used: set all crosses anew (--anew)." in err
    assert chalkbeam(true, *here, "--anew")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((*NEW, "--count", "3"), "3 crosses are not possible"),
        ((*NEW, "--inset", "200mm"), "leave too little between them"),
        ((*NEW, "--out", "nowhere/rig.json"), "There is no folder nowhere"),
        ((*NEW, "--up-to", "2m"), "is no height above the platen"),
        (("check", "--rig", "none.json"), "none.json"),
        (("touch-up",), "There is no rig yet"),
        (("check", "--rig", "kept.rig", "--count", "2"), "2 crosses are not possible"),
        (("check", "--rig", "kept.rig", "--count", "12"), "12 crosses are not possible"),
    ],
)
def test_refusals(chalkbeam, tmp_path, arguments, says):
    save_rig(tmp_path / "kept.rig")
    code, _, err = chalkbeam(projector(), *arguments)
    assert code == 2
    assert says in err
    assert "Traceback" not in err
    assert list(tmp_path.glob("*.json")) == []


def test_rigs_by_hand_are_saved_and_read_like_others(tmp_path):
    true = projector()
    marks = by_hand.suggested_points(FACE, 9)
    pixels = true.projector_from_platen([mark.point for mark in marks])
    solution = by_hand.solve_by_hand([m.point for m in marks], pixels, FACE, SIZE)
    rig = Rig.of(solution, "by hand", FACE)
    save(rig, tmp_path / "rig.json")
    assert load(tmp_path / "rig.json") == rig
    assert all(isinstance(cross, Cross) for cross in rig.crosses)
    assert math.isfinite(rig.fit.noise)
