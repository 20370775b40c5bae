"""`chalkbeam crosses`, its window worked by an operator whose projector is known."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.rig import by_hand, drift, library
from calibration.rig.file import Rig, load, save
from calibration.solve.values import Cross
from overlay.window.inputs import Key, Pointer
from tests.support.crosses import FACE, SIZE, largest_miss, projector
from tests.support.rigs import save_rig
from tests.support.run_cli import run_program


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


@pytest.mark.slow
def test_new_writes_a_rig_that_other_commands_take(chalkbeam, tmp_path):
    true = projector()
    code, out, err = chalkbeam(true, *NEW, "--out", "rig.json", "--report", "report.png")
    assert code == 0
    assert "Wrote rig.json and report.png" in out
    assert "1  front left: 25 mm from the left edge, 25 mm from the front edge" in err
    assert "platen cold" in err
    rig = load("rig.json")
    assert len(rig.crosses) == 9
    assert largest_miss(true, rig.projector) < 0.5
    code, out, _ = chalkbeam(true, *NEW, "--name", "bench", "--json")
    assert json.loads(out)["crosses"] == 9
    assert library.open_rig("bench").name == "bench"


@pytest.mark.slow
def test_check_tells_a_bump_and_repair_takes_it_back(chalkbeam, tmp_path):
    true = projector()
    assert chalkbeam(true, *NEW, "--out", "rig.json")[0] == 0
    code, out, _ = chalkbeam(true, "check", "--rig", "rig.json")
    assert code == 0
    # A knock that turns the projector by 4 mrad: its picture moves by 6 px, 5 mm on the platen.
    bumped = replace(true, pinhole=replace(true.pinhole, cx=true.pinhole.cx + 6))
    assert largest_miss(bumped, load("rig.json").projector) > 2
    code, out, _ = chalkbeam(bumped, "check", "--rig", "rig.json", "--json")
    assert code == 1
    assert json.loads(out)["verdict"] == drift.DriftVerdict.MOVED.value
    before = load("rig.json")
    code, out, _ = chalkbeam(bumped, "check", "--rig", "rig.json", "--repair")
    assert code == 1  # three crosses tell that it moved, but not surely enough how
    assert "four corners (--count 4)" in out  # said in the window, where more can be done
    assert "No rig was written" in out
    assert load("rig.json") == before
    repair = ("check", "--rig", "rig.json", "--repair", "--count", "9")
    code, _, err = chalkbeam(bumped, *repair)
    assert code == 0, err
    assert largest_miss(bumped, load("rig.json").projector) < 1.0
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


@pytest.mark.slow
def test_crosses_without_a_rig_are_saved_and_gone_on_with(chalkbeam, tmp_path):
    true = projector()
    here = (*NEW, "--out", "rig.json")
    code, out, _ = chalkbeam(true, *here, after=4)
    assert code == 1
    assert "“rig.crosses” holds 4 of 9 crosses: the same command goes on with them" in out
    # Off by 30 px the first one makes no rig; the others are not lost with it.
    code, out, err = chalkbeam(true, *here, "--start-over", off=(30, 0))
    assert code == 1
    assert "holds 9 of 9 crosses" in out
    assert "Going on" not in err
    assert [path.name for path in tmp_path.iterdir()] == ["rig.crosses"]
    code, out, err = chalkbeam(true, *here)
    assert code == 1  # shown again, and left
    assert "Going on with 9 of 9 crosses, set before and saved in “rig.crosses”" in err
    # More crosses than before go on from those there are.
    code, out, err = chalkbeam(
        true, *NEW, "--out", "four.json", "--count", "4", after=4, off=(30, 0)
    )
    code, out, err = chalkbeam(true, *NEW, "--out", "four.json", after=5)
    assert "Going on with 4 of 9 crosses" in err
    assert "holds 5 of 9" in out
    code, out, err = chalkbeam(true, *here, "--start-over")
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
def test_crosses_of_another_press_are_neither_used_nor_lost(chalkbeam, tmp_path, other, says):
    true = projector()
    here = (*NEW, "--out", "rig.json")
    assert chalkbeam(true, *here, after=4)[0] == 1
    before = (tmp_path / "rig.crosses").read_text()
    code, _, err = chalkbeam(true, *here, *other)
    assert code == 2
    assert says in err
    assert "--start-over" in err
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
        assert "holds no crosses that can be used: set all crosses again (--start-over)." in err
    assert chalkbeam(true, *here, "--anew")[0] == 0  # the former name still works


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ((*NEW, "--count", "3"), "3 crosses are not possible"),
        ((*NEW, "--inset", "200mm"), "leave too little between them"),
        ((*NEW, "--out", "nowhere/rig.json"), "There is no folder nowhere"),
        ((*NEW, "--up-to", "2m"), "is no height above the platen"),
        (("check", "--rig", "none.json"), "none.json"),
        (("touch-up",), "There is no rig yet"),
        (("check", "--rig", "press.rig", "--count", "2"), "2 crosses are not possible"),
        (("check", "--rig", "press.rig", "--count", "12"), "12 crosses are not possible"),
    ],
)
def test_refusals(chalkbeam, tmp_path, arguments, says):
    save_rig(tmp_path / "press.rig")
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
