"""`chalkbeam rig platen` and the commands that take a press's platens, as typed."""

import json
from dataclasses import replace

import numpy as np
import pytest

from calibration.rig import library
from calibration.rig.file import load, save
from chalkbeam.placement.platens import platens
from overlay.window.inputs import Key, Pointer
from tests.support.crew_order import write_pennant
from tests.support.rigs import demo_rig
from tests.support.run_cli import run_program

UP, ASIDE = 22.0, (9.0, -30.0)
"""Where the sleeve platen lies on the post: above the first, and aside of it, mm."""
MARKS = np.array([(x, y) for x in (-50.0, 0.0, 50.0) for y in (-200.0, 0.0, 200.0)])


@pytest.fixture
def chalkbeam(capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    save(demo_rig(), tmp_path / "rig.json")
    return lambda *words: run_program(capsys, monkeypatch, *words)


@pytest.fixture
def crosses(chalkbeam, tmp_path):
    """Write the crosses that an operator would set on the sleeve platen."""
    pixels = lit(MARKS)
    rows = [f"{x},{y},{u},{v}" for (x, y), (u, v) in zip(MARKS, pixels, strict=True)]
    (tmp_path / "set.csv").write_text("\n".join(["x_mm,y_mm,x_px,y_px", *rows]))
    return "set.csv"


def lit(points):
    """Pixels that light points of the sleeve platen: the first one's map, at its height."""
    return demo_rig().projector.projector_from_platen(points + ASIDE, UP)


ADD = ("rig", "platen", "add", "sleeve-5x18in", "--rig", "rig.json", "--crosses")


def test_a_platen_is_added_listed_aimed_at_and_dropped(chalkbeam, crosses, tmp_path):
    code, out, err = chalkbeam(*ADD, crosses, "--height", "22mm")
    assert code == 0, err
    assert "sleeve-5x18in lies 9.0 mm to the right, 30.0 mm to the front and 22.0 mm above" in out
    assert load(tmp_path / "rig.json").platen == "16x20in"  # as its size is called on file
    code, out, _ = chalkbeam("rig", "platen", "list", "--rig", "rig.json")
    assert [line.split(":")[0] for line in out.splitlines()] == ["16x20in", "sleeve-5x18in"]
    code, out, _ = chalkbeam("rig", "platen", "list", "--rig", "rig.json", "--json")
    first, other = json.loads(out)
    assert (first["platen"], first["platens"]) == ("16x20in", [])
    assert other["above_mm"] == pytest.approx(22, abs=0.5)
    assert other["heights"][0]["within_mm"] < 1.0
    aim = ("aim", "-40mm", "150mm", "--rig", "rig.json", "--json")
    code, out, _ = chalkbeam(*aim, "--platen", "sleeve-5x18in")
    (point,) = json.loads(out)["points"]
    meant = lit(np.array([(-40.0, 150.0)]))[0]
    assert (point["x_px"], point["y_px"]) == pytest.approx(meant, abs=0.2)
    code, out, _ = chalkbeam(*aim)
    assert json.loads(out)["points"][0]["x_px"] != point["x_px"]
    assert chalkbeam("rig", "platen", "drop", "sleeve-5x18in", "--rig", "rig.json")[0] == 0
    code, _, err = chalkbeam(*aim, "--platen", "sleeve-5x18in")
    assert code == 2
    assert "has no platen “sleeve-5x18in”" in err


def test_a_name_of_the_shops_own_is_on_file_from_then_on(chalkbeam, crosses, tmp_path):
    own = ("rig", "platen", "add", "long one", *ADD[4:], crosses, "--height", "22 mm")
    code, _, err = chalkbeam(*own)
    assert (code, "No platen “long one” is on file" in err) == (2, True)
    assert chalkbeam(*own, "--platen", "127x457mm")[0] == 0
    assert platens()["long one"].face.depth == 457.0
    write_pennant(tmp_path / "pennant.png")
    placing = ("place", "--style", "crew_tee", "--size", "M", "--location", "left-sleeve",
               "--art", "pennant.png", "--width", "2 in")  # fmt: skip
    code, out, _ = chalkbeam(*placing, "--platen", "long one")
    assert (code, "On the platen long one" in out) == (0, True)
    other = ("rig", "platen", "add", "Long One", *ADD[4:], crosses, "--height", "22mm")
    code, _, err = chalkbeam(*other, "--platen", "200x457mm")
    assert (code, "is a platen of 127 x 457 mm on file" in err) == (2, True)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ((), "Crosses do not tell a height"),
        (("--height", "2 m"), "is on no post"),
        (("photo.jpg", "--height", "22mm"), "Give photos of cards on this platen, or crosses"),
    ],
)
def test_what_is_missing_is_asked_for(chalkbeam, crosses, tmp_path, more, said):
    before = (tmp_path / "rig.json").read_bytes()
    code, _, err = chalkbeam(*ADD, crosses, *more)
    assert (code, said in err) == (2, True)
    assert (tmp_path / "rig.json").read_bytes() == before


def test_the_first_platen_takes_a_name(chalkbeam, tmp_path):
    assert chalkbeam("rig", "platen", "name", "big one", "--rig", "rig.json")[0] == 0
    assert load(tmp_path / "rig.json").platen == "big one"
    assert "big one" in platens()


def test_an_order_is_checked_and_planned_on_all_platens_of_a_rig(chalkbeam, crosses, tmp_path):
    write_pennant(tmp_path / "pennant.png")
    (tmp_path / "order.csv").write_text(
        "Style,Size,Colour,Qty,Location,Artwork,Width,Location 2,Artwork 2,Width 2,Platen 2\n"
        "crew tee,M,navy,2,left chest,pennant.png,3 in,left sleeve,pennant.png,2 in,sleeve-5x18in\n"
    )
    check = ("sheet", "check", "order.csv", "--rig", "rig.json")
    code, _, err = chalkbeam(*check)
    assert (code, "wants platen sleeve-5x18in" in err) == (2, True)
    chalkbeam(*ADD, crosses, "--height", "22mm")
    assert chalkbeam(*check)[0] == 0
    code, out, _ = chalkbeam("sheet", "plan", "order.csv", "--rig", "rig.json", "--json")
    stops = json.loads(out)["stops"]
    assert [stop["platen"] for stop in stops] == ["16x20in"] * 2 + ["sleeve-5x18in"] * 2
    assert json.loads(out)["changes"]["platen"] == 1


def test_one_imprint_is_lit_on_the_platen_that_is_named(chalkbeam, crosses, tmp_path):
    write_pennant(tmp_path / "pennant.png")
    chalkbeam(*ADD, crosses, "--height", "22mm")
    shown = ("project", "--rig", "rig.json", "--style", "crew_tee", "--size", "M", "--location",
             "left-sleeve", "--art", "pennant.png", "--width", "2 in", "--png")  # fmt: skip
    for folder, more in (("first", ()), ("sleeve", ("--platen", "sleeve-5x18in"))):
        assert chalkbeam(*shown, folder, *more)[0] == 0
    one, other = (
        (tmp_path / folder / "1-left-sleeve-lay.png").read_bytes() for folder in ("first", "sleeve")
    )
    assert one != other


def test_crosses_are_moved_on_to_marks_of_the_platen(chalkbeam, monkeypatch, tmp_path):
    def operate(state, screen, *, update, view, done, **_):
        while not done(state):
            if state.solved is None:
                u, v = lit(np.array([state.marks[state.index].point]))[0]
                state = update(update(state, Pointer((float(u), float(v)), True)), Key("return"))
            else:
                state = update(state, Key("return"))
        return state

    monkeypatch.setattr("overlay.window.run.run", operate)
    words = ("crosses", "platen", "sleeve-5x18in", "--rig", "rig.json", "--window", "--count", "9")
    code, _, err = chalkbeam(*words, "--height", "22mm")
    assert code == 0
    assert "platen cold" in err
    found = replace(load(tmp_path / "rig.json").platens[0])
    points = np.array([(0.0, 0.0), (40.0, -180.0)])
    off = found.projector.projector_from_platen(points) - lit(points)
    assert np.abs(off).max() < 0.2


def test_a_rig_is_named_first_or_by_its_option(chalkbeam):
    library.keep(replace(demo_rig(), name="Press 1"))
    for words in (("Press 1", "now.jpg"), ("press 1", "now.jpg"), ("--rig", "Press 1", "now.jpg")):
        code, _, err = chalkbeam("rig", "check", *words)
        assert code == 2
        assert "no photo at now.jpg" in err
    assert chalkbeam("rig", "show", "Press 1")[1] == chalkbeam("rig", "show", "--rig", "Press 1")[1]
