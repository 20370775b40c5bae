"""`chalkbeam place` and `chalkbeam location`, as typed."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from tests.support.images import block
from tests.support.run_cli import run_program


@pytest.fixture
def run(capsys, monkeypatch):
    """Run the program; return exit code, what it printed and what it complained of."""
    monkeypatch.setenv("COLUMNS", "80")

    def call(*arguments):
        return run_program(capsys, monkeypatch, *arguments)

    return call


@pytest.fixture
def art(tmp_path):
    return block(tmp_path / "crest.png", box=(50, 50, 350, 250))  # 3 : 2


TEE = ("--style", "crew_tee", "--size", "M")


def test_place_says_where_why_and_how_to_load(run, art):
    code, out, err = run(
        "place", *TEE, "--location", "left chest", "--art", art, "--platen", "16x20in"
    )
    assert (code, err) == (0, "")
    assert "Left chest, Crew tee, adult M" in out
    assert "3 1/2 in x 2 3/8 in" in out  # the location's usual width, as none was given
    assert "2 1/2 in above" in out
    assert "Measured down from the top of the shoulder" in out
    assert "hanging 1/2 in over the edge" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


def test_units_and_width(run, art):
    code, out, _ = run(
        "place", *TEE, "--location", "full-front", "--art", art, "--width", "25cm", "--units", "mm"
    )
    assert code == 0
    assert "250 mm x 167 mm" in out
    assert " in " not in out.replace(" in turn", "").split("Why")[0]
    assert "It fits on" in out


def test_json_is_complete_and_in_millimetres(run, art):
    code, out, _ = run(
        "place", *TEE, "--location", "left-chest", "--art", art, "--width", "90mm",
        "--sheet-margin", "8mm", "--platen", "15x15in", "--collar", "towards", "--json",
    )  # fmt: skip
    answer = json.loads(out)
    assert code == 0
    assert answer["possible"] is True
    assert answer["artwork"]["width_mm"] == 90.0
    assert answer["artwork"]["sheet_mm"]["left"] == -53.0
    x, y = answer["optical_centre_mm"]
    pose = answer["loading"]["platen_from_garment"]
    assert pose["mirrored"] is True
    assert abs(pose["angle_deg"]) == 180.0
    # half a turn with a mirror: x is turned round, y is kept
    assert answer["loading"]["optical_centre_mm"] == pytest.approx(
        [pose["x_mm"] - x, pose["y_mm"] + y], abs=1e-3
    )
    assert {rule["verdict"] for rule in answer["rules"]} <= {
        "met", "within common practice", "missed",
    }  # fmt: skip
    assert answer["cross_checks"][0]["agrees"] is True


def test_a_measured_piece(run, art):
    def centre(*more):
        _, out, _ = run("place", *TEE, "--location", "left-chest", "--art", art, "--json", *more)
        return json.loads(out)["optical_centre_mm"][1]

    assert centre("--measured", "pit_depth=11.5in") - centre() == pytest.approx(25.4)


def test_name_and_number_as_text(run):
    code, out, _ = run(
        "place", *TEE, "--location", "player-number", "--text", "17", "--under", "PYKE", "--json"
    )
    assert code == 0
    answer = json.loads(out)
    assert answer["artwork"]["height_mm"] == pytest.approx(203.2, rel=0.03)
    gap = next(r for r in answer["rules"] if r["line"] == "name_foot")
    assert gap["got_mm"] == pytest.approx(31.75, abs=0.01)
    code, out, _ = run("place", *TEE, "--location", "player-name", "--text", "FOTHERINGAY-SMYTHE",
                       "--json")  # fmt: skip
    assert json.loads(out)["artwork"]["width_mm"] == pytest.approx(304.8)


def test_spoiling_and_impossible_places_exit_with_1(run, art):
    hood = ("--style", "zip_hood", "--size", "M")
    code, out, _ = run("place", *hood, "--location", "centre-chest", "--art", art, "--width", "8in")
    assert code == 1
    assert "stop The ink lies on the zip" in out
    tall = ("--style", "pullover_hood", "--size", "M", "--location", "full-front", "--art", art)
    code, out, _ = run("place", *tall, "--height", "15in")
    assert code == 1
    assert "leave" in out
    assert "in wide" in out
    code, out, _ = run("place", *tall, "--height", "15in", "--json")
    answer = json.loads(out)
    assert code == 1
    assert answer["possible"] is False
    assert answer["width_that_fits_mm"] > 200


def test_plan_picture(run, art, tmp_path):
    path = tmp_path / "plan.png"
    code, out, _ = run("place", *TEE, "--location", "full-back", "--art", art, "--png", path)
    assert (code, out.splitlines()[-1]) == (0, f"{path}: the plan of it.")
    with Image.open(path) as picture:
        assert picture.width > 500
        assert len(picture.convert("RGB").getcolors(1 << 20)) > 10


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--location", "elbow", "--art", "ART"), "no location “elbow”"),
        (("--location", "left-chest"), "--art FILE"),
        (("--location", "left-chest", "--art", "ART", "--text", "A"), "--art FILE"),
        (("--location", "left-chest", "--art", "none.png"), "no artwork file"),
        (("--location", "left-chest", "--art", "ART", "--width", "4"), "no unit"),
        (("--location", "left-chest", "--art", "ART", "--width", "4m"), "no transfer"),
        (("--location", "left-chest", "--art", "ART", "--centre", "nose"), "no centre"),
        (("--location", "left-chest", "--art", "ART", "--platen", "table"), "no platen"),
        (("--location", "left-chest", "--art", "ART", "--overhang", "1in"), "Name the platen"),
        (("--location", "left-chest", "--art", "ART", "--platen", "16x20in", "--collar", "up"),
         "cannot point"),
        (("--location", "left-chest", "--art", "ART", "--platen", "16x20in", "--pad", "9x9x9in"),
         "pad"),
        (("--location", "left-chest", "--art", "ART", "--platen", "16x20in", "--aside", "9in"),
         "would leave the pressed area"),
        (("--location", "tote", "--art", "ART"), "no face"),
        (("--location", "left-chest", "--art", "ART", "--collar", "left"), "Name the platen"),
        (("--location", "left-chest", "--art", "ART", "--on-top"), "Name the platen"),
        (("--location", "left-chest", "--art", "ART", "--turn", "nan"), "A turn of nan° is none"),
        (("--location", "left-chest", "--art", "ART", "--turn", "361"), "from -360 to 360"),
        (("--location", "left-chest", "--art", "ART", "--arc", "9in"), "--arc goes with --text"),
        (("--location", "left-chest", "--text", "A", "--pick", "2"), "--pick goes with --art"),
        (("--location", "left-chest", "--art", "ART", "--under", "PYKE"), "a number's location"),
        (("--location", "left-chest", "--art", "ART", "--width", "3in", "--pick", "1"), "alone"),
        (("--location", "left-chest", "--art", "ART", "--width", "3in", "--sheet-width", "9in"),
         "not both"),
        (("--location", "left-chest", "--art", "a" * 300), "File name too long"),
        (("--location", "left-chest", "--art", "ART", "--measured", "half_chest=20in",
          "--measured", "half chest=21in"), "measured twice"),
        (("--location", "left-chest", "--art", "ART", "--measured", "pit=4"), "no unit"),
        (("--location", "left-chest", "--art", "ART", "--pick", "4", "--sheet-width", "20in"),
         "no number 4"),
    ],
)  # fmt: skip
def test_bad_input_is_one_sentence_and_exit_2(run, art, tmp_path, options, words):
    options = [art if option == "ART" else option for option in options]
    code, out, err = run("place", *TEE, *options, "--png", tmp_path / "plan.png")
    assert (code, out) == (2, "")
    assert err.startswith("chalkbeam: ")
    assert words in err
    assert err.count("\n") == 1
    assert not (tmp_path / "plan.png").exists()


def test_pad_on_the_command_line(run, art):
    code, out, _ = run(
        "place", *TEE, "--location", "left-chest", "--art", art, "--platen", "16x20in",
        "--pad", "6x5x0.5in", "--json",
    )  # fmt: skip
    assert code == 0
    assert json.loads(out)["loading"]["pad_mm"] == [152.4, 127.0, 12.7]
    assert json.loads(out)["loading"]["height_mm"] == pytest.approx(12.7 + 0.8)


def test_location_list_and_show(run):
    code, out, _ = run("location", "list")
    assert code == 0
    assert "left-chest-script" in out
    assert max(map(len, out.splitlines()[:-1])) <= 80
    code, out, _ = run("location", "list", "--json")
    assert json.loads(out)["nape"]["width_mm"]["adult"] == [25.4, 50.8, 76.2]
    code, out, _ = run("location", "show", "full-back", "--age", "youth", "--units", "mm")
    assert code == 0
    assert "never broken" in out
    assert "70 mm (51 to 89" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    code, _, err = run("location", "show", "full-back", "--age", "old")
    assert code == 2
    assert "no age" in err


def test_own_location_from_copy_to_use(run, art):
    code, out, _ = run("location", "copy", "left-chest", "heart-side")
    assert code == 0
    path = out.split("Copied to ")[1].split(": edit")[0]
    code, out, _ = run("location", "check", path)
    assert code == 0
    assert "all in order" in out
    code, out, _ = run("place", *TEE, "--location", "heart-side", "--art", art)
    assert code == 0
    code, _, err = run("location", "copy", "left-chest", "heart-side")
    assert code == 2
    assert "there already" in err
    assert run("location", "copy", "right-chest", "x")[0] == 2
    assert run("location", "copy", "left-chest", "../x")[0] == 2
    code, out, _ = run("location", "list")
    assert "yours" in next(line for line in out.splitlines() if line.startswith("heart-side"))


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
def test_a_full_disk_and_a_narrow_encoding_are_no_traceback():
    def call(where, **environment):
        words = [sys.executable, "-c", "from chalkbeam.cli.app import main; main()", "fabrics"]
        with Path(where).open("w") as out:
            return subprocess.run(
                [*words, "white"], stdout=out, stderr=subprocess.PIPE, text=True, check=False,
                env={**os.environ, **environment},
            )  # fmt: skip

    full = call("/dev/full")
    assert full.returncode == 2
    assert full.stderr == "chalkbeam: No space left on device; check the name and the disk.\n"
    narrow = call(os.devnull, PYTHONIOENCODING="ascii")
    assert (narrow.returncode, narrow.stderr) == (0, "")


def test_names_are_printed_as_they_are_written(run, art, tmp_path):
    code, out, _ = run("place", *TEE, "--location", "left-chest", "--text", "[/b] :tada: [red]x")
    assert code == 0
    assert "[/b] :tada: [red]x: ink" in out
    (tmp_path / "a[b].png").write_bytes(Path(art).read_bytes())
    sheet = tmp_path / "order.csv"
    sheet.write_text(
        "Style,Size,Quantity,Colour,Location,Artwork,Width\n"
        "Crew tee,M,1,navy [/b],left chest,a[b].png,3 in\n"
    )
    assert "navy [/b]" in run("sheet", "check", sheet)[1]
    code, out, _ = run("sheet", "plan", sheet)
    assert code == 0
    assert "a[b].png" in out


def test_words_of_the_shop_are_shown_as_written(run, art):
    path = run("location", "copy", "full-back", "mine")[1].split("Copied to ")[1].split(": ")[0]
    text = Path(path).read_text()
    says = re.search(r'says = "(.*)"', text)[1]
    Path(path).write_text(text.replace(says, "so far {0} from {the} edge {"))
    code, out, _ = run("place", *TEE, "--location", "mine", "--art", art)
    assert code == 0
    assert "So far {0} from {the} edge {" in out


def test_check_names_the_line_that_is_wrong(run, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text('title = "mine own"\nface = "front"\nbasis = "the shop"\nwith = "3 in"\n')
    code, _, err = run("location", "check", path)
    assert code == 2
    assert "line 4" in err
    path.write_text(
        'title = "mine own"\nface = "front"\nbasis = "the shop"\n'
        '[[rule]]\nsays = "so far off"\nart = "ink_middle"\nacross = "left_neckpoint"\n'
        '[[rule]]\nsays = "so far down"\nart = "ink_top"\nbelow = "neck_seam"\nby = "3 in"\n'
    )
    code, out, _ = run("location", "check", path)
    assert code == 1
    assert "no garment has a line “left_neckpoint”" in out
    code, out, _ = run("location", "check", path, "--json")
    assert code == 1
    assert json.loads(out)["mine"]["unknown_lines"] == ["left_neckpoint"]
    path.write_text(path.read_text().replace('"front"', '"hat"'))
    code, _, err = run("location", "check", path)
    assert code == 2
    assert "no garment has a face “hat”" in err
    assert "left_sleeve" in err
    code, _, err = run("location", "check", tmp_path / "none.toml")
    assert code == 2
    assert "cannot be read" in err
