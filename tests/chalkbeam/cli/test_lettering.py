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
    code, _, err = ask(*NAME, "MONTGOMERY", "--height", "2.5in")
    assert code == 2
    assert "“MONTGOMERY” 2 1/2 in high is" in err
    assert "and 12 in is the widest here: set it 1 1/2 in high, which fits" in err
    assert "(tall)" in err
    code, out, _ = ask(*NAME, "MONTGOMERY", "--height", "2.5in", "--font", "tall", "--json")
    assert code == 0
    assert any("of its own width" in each["sentence"] for each in json.loads(out)["warnings"])


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
