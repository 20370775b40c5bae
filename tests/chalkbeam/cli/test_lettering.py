"""`chalkbeam fonts`, and names and numbers of `place` and `garment measure`."""

import json

import pytest
from PIL import Image

from tests.support.run_cli import run_program


@pytest.fixture
def ask(capsys, monkeypatch):
    def call(*words):
        return run_program(capsys, monkeypatch, *map(str, words))

    return call


NAME = ("place", "--style", "tee", "--size", "XL", "--location", "player-name", "--text")


def test_faces_are_listed_and_drawn(ask, tmp_path):
    code, out, _ = ask("fonts", "--png", tmp_path / "faces.png", "--text", "PIP 7")
    assert code == 0
    assert "varsity" in out
    with Image.open(tmp_path / "faces.png") as drawn:
        dark = sum(
            count for level, count in enumerate(drawn.convert("L").histogram()) if level < 99
        )
        assert dark > 5000
    assert json.loads(ask("fonts", "--json")[1])["faces"]["block"]


def test_a_stated_height_is_never_overridden(ask):
    # It had been set at 1 1/8 in, silently, to hold a width of 12 in.
    code, _, err = ask(*NAME, "MONTGOMERY", "--height", "2.5in", "--font", "plain")
    assert code == 2
    assert "“MONTGOMERY” 2 1/2 in high is" in err
    assert "and 12 in is the widest here: set it 1 1/2 in high, which fits" in err
    assert "(tall)" in err
    code, out, _ = ask(*NAME, "MONTGOMERY", "--height", "2.5in", "--json")
    assert code == 0
    assert any("of its own width" in each["sentence"] for each in json.loads(out)["warnings"])


def test_where_no_face_is_named_lines_are_as_wide_as_usual(ask):
    # Figures 8 in high are 8 to 10 in wide, ten letters 2 1/2 in high go into 12 in: common
    # practice, no source.
    number = ("place", "--style", "tee", "--size", "XL", "--location", "player-number", "--text")
    figures = json.loads(ask(*number, "88", "--json")[1])["artwork"]
    assert 8 * 25.4 < figures["width_mm"] < 10 * 25.4
    name = json.loads(ask(*NAME, "MONTGOMERY", "--json")[1])["artwork"]
    assert name["height_mm"] == pytest.approx(2.5 * 25.4, rel=0.05)
    code, out, _ = ask(*NAME, "ИЯ")  # letters that the usual face lacks
    assert code == 0
    assert "Capitals" not in out


def test_a_short_name_of_the_usual_height_is_not_called_too_narrow(ask):
    chest = ("place", "--style", "tee", "--size", "M", "--location", "left-chest", "--text", "Al")
    assert json.loads(ask(*chest, "--json")[1])["warnings"] == []
    small = json.loads(ask(*chest, "--height", "0.2in", "--json")[1])["warnings"]
    assert "So far off" in small[0]["sentence"]


def test_name_and_number_are_said_to_be_pressed_once(ask):
    number = [*NAME[:6], "player-number", "--text", "88", "--under", "PIP", "--font", "tall"]
    code, out, _ = ask(*number, "--json")
    assert code == 0
    assert "16x20in" in json.loads(out)["pressed_once_on"]


def test_a_measured_piece_comes_on_the_shelf(ask):
    code, _, err = ask("garment", "measure", "--style", "tee", "--size", "M", "--maker",
                       "Pale Fen", "--number", "31", "--measured", "half_chest=21in")  # fmt: skip
    assert (code, err) == (0, "")
    shelf = json.loads(ask("garment", "shelf", "--json")[1])
    assert shelf["pale_fen_31"]["maker"] == "Pale Fen"
    assert "XL" in shelf["pale_fen_31"]["sizes"]


def test_the_camera_tells_the_half_chest_and_the_tape_the_rest(ask, tmp_path):
    def reading(**size):
        place = tmp_path / f"reading-{len(list(tmp_path.iterdir()))}.json"
        place.write_text(json.dumps({"size": {"why": "", **size}}), encoding="utf-8")
        return place

    measure = ("garment", "measure", "--style", "tee", "--size", "M", "--maker", "Pale Fen",
               "--number", "32", "--seen")  # fmt: skip
    seen = reading(half_chest_mm=531.0, sure=True)
    code, out, _ = ask(*measure, seen, "--measured", "body_length=28in")
    assert code == 0
    assert "not measured: neck width, front neck drop" in out
    shown = json.loads(ask("garment", "show", "--style", "Pale Fen 32", "--size", "M", "--json")[1])
    assert shown["measures"]["half_chest"]["mm"] == pytest.approx(531.0)
    for given, said in (
        ((reading(half_chest_mm=531.0, sure=True), "--measured", "half_chest=20in"), "given twice"),
        ((reading(half_chest_mm=531.0, sure=False, why="a side is out of sight"),),
         "not sure how wide the piece is (a side is out of sight)"),
        ((reading(half_chest_mm="wide", sure=True),), "is no reading of the camera"),
        ((tmp_path / "none.json",), "cannot be read"),
    ):  # fmt: skip
        code, _, err = ask(*measure, *given)
        assert code == 2
        assert said in err
