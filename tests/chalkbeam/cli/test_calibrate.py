"""`chalkbeam calibrate`, `aim` and `rig`, as typed.

Detection has tests of its own: here photos are read by a stand-in that returns what a
true bench shows (`tests.support.synthetic_rig`), under the file's name.
"""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calibration.photo.read import Photo
from calibration.refusal import Refusal
from calibration.rig import from_photos, library
from calibration.rig.file import Rig, load, save
from calibration.solve.fit import solve
from calibration.solve.values import Stated
from chalkbeam.setup.point_files import read_crosses, read_points
from tests.support import synthetic_rig
from tests.support.run_cli import run_program
from tests.support.synthetic_rig import Bench

PLATEN = ("--platen", "406.4mmx508mm", "--size", "1920x1080")


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """Run the program in a folder of its own; return exit code, output and complaint."""
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.chdir(tmp_path)

    def call(*arguments):
        return run_program(capsys, monkeypatch, *arguments)

    return call


@pytest.fixture(scope="module")
def bench() -> Bench:
    """A bench whose picture covers the platen."""
    usual = synthetic_rig.bench(np.random.default_rng(1), card_error=0.15)
    return replace(usual, projector=replace(usual.projector, focal=0.85 * usual.projector.focal))


@pytest.fixture
def looked(bench, monkeypatch):
    """Let photos be read off the bench; returns the shots that were asked for."""
    asked = []
    lens = synthetic_rig.phone(np.random.default_rng(2))

    def look(shots, face, size):
        asked.extend(shots)
        seen = []
        for number, shot in enumerate(shots):
            if not shot.path.name.endswith(".jpg"):
                raise Refusal(f"There is no photo at {shot.path}.")
            there = bench
            if "bumped" in shot.path.name:
                place = bench.projector.position + np.array([9.0, -7.0, 3.0])
                there = replace(bench, projector=replace(bench.projector, position=place))
            rng = np.random.default_rng(10 + number)
            camera = synthetic_rig.posed(lens, rng)
            raised = 10.0 if shot.raised else 0.0
            found = there.photo(camera, rng, 0.05, raised, name=shot.path.name)
            seen.append(replace(found, raised=shot.raised))
        pale = np.full((3024, 4032, 3), 200, np.uint8)
        return tuple(Photo(s.name, pale, "phone") for s in seen), tuple(seen)

    monkeypatch.setattr(from_photos, "read_and_observe", look)
    return asked


@pytest.fixture(scope="module")
def made(bench: Bench) -> Rig:
    rng = np.random.default_rng(3)
    seen = [bench.photo(synthetic_rig.posed(synthetic_rig.phone(rng), rng), rng, 0.05)]
    thin = Stated(heights=(0.0, 1.0))  # one photo of the bare platen vouches for no more
    solution = solve(seen, bench.cards, bench.pattern, bench.face, thin)
    return Rig.of(solution, "Slipway", bench.face)


@pytest.fixture
def rig(made: Rig, tmp_path: Path) -> Path:
    save(made, tmp_path / "rig.json")
    return tmp_path / "rig.json"


def aimed(out: str) -> list[dict[str, float]]:
    return [{k: float(v) for k, v in row.items()} for row in csv.DictReader(io.StringIO(out))]


class TestCalibrate:
    @pytest.mark.parametrize("name", ["a/b", "CON", " ", ".x"])
    def test_a_name_that_cannot_be_kept_is_refused_before_any_work(self, run, looked, name):
        code, _, err = run("calibrate", "a.jpg", *PLATEN, "--name", name)
        assert code == 2
        assert f"“{name}” cannot name a rig" in err
        assert looked == []

    def test_says_what_it_does_and_first_that_its_files_can_be_written(self, run, looked):
        Path("rig.json").mkdir()
        words = ("calibrate", "a.jpg", "b.jpg", "--raised", "10mm", "c.jpg", *PLATEN)
        code, _, said = run(*words, "--out", "rig.json")
        assert code == 2
        assert "“rig.json” cannot be written (it is a folder)" in said
        assert not looked
        code, out, said = run(*words, "--out", "good.json", "--json")
        assert code == 0
        assert said.splitlines()[:2] == ["Reading a.jpg, b.jpg, c.jpg …", "Solving …"]
        assert out.startswith("{")

    def test_flat_and_raised_photos(self, run, looked, bench):
        code, out, _err = run(
            "calibrate", "a.jpg", "b.jpg", "--raised", "10mm", "c.jpg", *PLATEN,
            "--out", "rig.json", "--report", "report.png",
        )  # fmt: skip
        assert code == 0
        assert [(s.path.name, s.raised) for s in looked] == [
            ("a.jpg", 0.0), ("b.jpg", 0.0), ("c.jpg", 10.0)
        ]  # fmt: skip
        assert "height from photos of cards raised by 10 mm" in out
        assert "Wrote rig.json and report.png." in out
        assert "no photo can tell" in out.splitlines()[-1]
        rig = load("rig.json")
        grid = synthetic_rig.grid()
        landed = bench.landing(rig.projector.projector_from_platen(grid, 10.0), 10.0)
        assert np.linalg.norm(landed - grid, axis=1).max() < 0.5
        with Image.open("report.png") as picture:
            assert picture.width == 1600

    @pytest.mark.parametrize(
        "typed",
        [
            ["--raised", "10mm", "up.jpg", "--raised", "0", "flat.jpg", *PLATEN],
            [*PLATEN, "flat.jpg", "--raised=10mm", "up.jpg"],
            ["flat.jpg", *PLATEN, "--raised", "1cm", "up.jpg"],
        ],
    )
    def test_raised_holds_for_the_photos_after_it(self, run, looked, typed):
        assert run("calibrate", *typed, "--out", "rig.json")[0] == 0
        assert {s.path.name: s.raised for s in looked} == {"flat.jpg": 0.0, "up.jpg": 10.0}

    def test_json_says_all_that_was_solved(self, run, looked):
        code, out, _ = run(
            "calibrate", "a.jpg", *PLATEN, "--out", "rig.json", "--bar", "100mm", "--json"
        )
        said = json.loads(out)
        assert code == 0
        assert said["written"] == "rig.json"
        assert said["calibration_id"] == load("rig.json").calibration_id
        assert {card["name"] for card in said["cards"]} == {
            "front-left", "front-right", "back-left", "back-right"
        }  # fmt: skip
        heights = {each["height_mm"]: each for each in said["heights"]}
        assert set(heights) == {0.0, 1.0, 4.0, 10.0, 20.0}
        assert 0 < heights[0.0]["within_mm"] <= said["tolerance_mm"]
        assert "95 %" in said["basis"]

    def test_without_out_the_rig_is_kept_by_name(self, run, looked):
        assert run("calibrate", "a.jpg", *PLATEN, "--name", "Slipway press")[0] == 0
        assert library.names() == ("Slipway press",)
        code, out, _ = run("aim", "0mm", "0mm")
        assert code == 0
        assert len(aimed(out)) == 1

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            (["a.jpg", "--raised", "10mm"], "No photo follows --raised 10mm"),
            (["a.jpg", "--raised"], "--raised needs a height"),
            (["a.jpg", "--raised", "b.jpg"], "wants a height and then photos: --raised 10mm b.jpg"),
            (["a.jpg", "--raised", "2.jpg", "b.jpg"], "--raised 10mm 2.jpg"),
            (["a.jpg", "--raised", "10", "b.jpg"], "“10” has no unit"),
            (["a.jpg", "--raised", "-2mm", "b.jpg"], "no height above the platen"),
            (["--raised", "10mm", "b.jpg"], "cards on the bare platen"),
            (["a.png"], "There is no photo at a.png"),
            (["a.jpg", "--bar", "4mm"], "100 mm bar"),
            (["a.jpg", "--throw", "14"], "no throw ratio"),
            (["a.jpg", "--lens", "1mm,2mm"], "place of a lens"),
            (["a.jpg", "--lens", "0,600,-900mm"], "above the platen"),
            (["a.jpg", "--tolerance", "0mm"], "--tolerance 0mm is not possible"),
            (["a.jpg", "--tolerance", "0.05mm"], "Light could land"),
            (["a.jpg", "--report", "nowhere/report.png"], "no folder"),
        ],
    )
    def test_bad_input_is_one_sentence_and_writes_nothing(self, run, looked, typed, said):
        code, _, err = run("calibrate", *typed, *PLATEN, "--out", "rig.json")
        assert code == 2
        assert said in err
        told = [line for line in err.splitlines() if not line.endswith("…")]  # what is being done
        assert len(told) == 1
        assert list(Path().iterdir()) == []

    def test_the_measured_lens_may_be_in_inches(self, run, looked, bench):
        x, y, z = bench.projector.position / 25.4
        lens = f"{x:.1f};{y:.1f};{z:.1f}in"
        assert run("calibrate", "a.jpg", *PLATEN, "--lens", lens, "--out", "rig.json")[0] == 0
        stated = load("rig.json").stated.lens
        np.testing.assert_allclose(stated, bench.projector.position, atol=2.0)


class TestAim:
    @pytest.mark.parametrize(
        "typed",
        [
            ["-100mm", "50mm", "--rig", "rig.json"],
            ["--rig", "rig.json", "--", "-100mm", "50mm"],
            ["--rig", "rig.json", "-10cm", "5 cm"],
        ],
    )
    def test_a_point_may_be_negative(self, run, rig, made, typed):
        code, out, _ = run("aim", *typed)
        assert code == 0
        (row,) = aimed(out)
        expected = made.projector.projector_from_platen([[-100, 50]])[0]
        assert (row["x_px"], row["y_px"]) == pytest.approx(tuple(expected), abs=1e-3)
        assert (row["x_mm"], row["y_mm"]) == (-100.0, 50.0)

    def test_a_point_without_light_is_told(self, run, rig, made):
        code, out, err = run("aim", "--rig", rig, "3m", "0mm", "--json")
        assert code == 0
        assert not json.loads(out)["points"][0]["lit"]
        assert "no light falls there" in err
        side = f"{made.face.width / 2 + 2:g}mm"
        assert "lies off the platen" in run("aim", "--rig", rig, side, "0mm")[2]
        assert run("aim", "--rig", rig, "10mm", "0mm")[2] == ""

    def test_height_moves_the_pixel(self, run, rig, made):
        (flat,) = aimed(run("aim", "--rig", rig, "0mm", "0mm")[1])
        (high,) = aimed(run("aim", "--rig", rig, "0mm", "0mm", "--height", "10mm")[1])
        expected = made.projector.projector_from_platen([[0, 0]], 10.0)[0]
        assert (high["x_px"], high["y_px"]) == pytest.approx(tuple(expected), abs=1e-3)
        assert high != flat

    @pytest.mark.parametrize(
        "text",
        [
            "x_mm,y_mm\n-100,50\n12.5,-3\n",
            "x,y\n-100 mm,50mm\n1.25cm,-3mm\n",
            "x;y\n-100;50\n12,5;-3\n",
            "X (mm)\tY (mm)\n-100\t50\n12.5\t-3\n",
            "-100,50\n12.5,-3\n",
            "\ufeffx_cm,y_cm\r\n-10,5\r\n1.25,-0.3\r\n",
            "name,x_mm,y_mm\n# a note\nA,-100,50\nB,12.5,-3\n",
        ],
        ids=["mm", "units", "semicolons", "tabs", "bare", "cm", "more columns"],
    )
    def test_files_of_points(self, run, rig, made, tmp_path, text):
        (tmp_path / "points.csv").write_text(text, "utf-8")
        code, out, err = run("aim", "--rig", rig, "--points", "points.csv", "--height", "4mm")
        assert (code, err) == (0, "")
        pixels = [(row["x_px"], row["y_px"]) for row in aimed(out)]
        expected = made.projector.projector_from_platen([[-100, 50], [12.5, -3]], 4.0)
        np.testing.assert_allclose(pixels, expected, atol=1e-3)

    def test_heights_may_stand_in_the_file(self, tmp_path):
        (tmp_path / "points.csv").write_text("x_mm,y_mm,height_mm\n0,0,4\n1,1,0.7\n")
        _, heights = read_points(tmp_path / "points.csv", 20.0)
        assert heights.tolist() == [4.0, 0.7]

    def test_json_carries_the_uncertainty(self, run, rig, made):
        said = json.loads(run("aim", "--rig", rig, "1in", "2in", "--json")[1])
        (point,) = said["points"]
        assert point["x_mm"] == 25.4
        assert 0 < point["within_mm"] < 1.5
        assert said["calibration_id"] == made.calibration_id

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            (["100", "50"], "“100” has no unit"),
            (["100mm"], "A point is X and Y"),
            ([], "Give one point"),
            (["1mm", "2mm", "--points", "points.csv"], "Give one point"),
            (["1mm", "2mm", "--height", "2m"], "no height above the platen"),
            (["--points", "absent.csv"], "no file of points"),
            (["--points", "points.csv"], "has no column y"),
            (["--hieght", "4mm", "1mm", "2mm"], "No such option"),
        ],
    )
    def test_bad_input(self, run, rig, tmp_path, typed, said):
        (tmp_path / "points.csv").write_text("x_mm,z_mm\n1,2\n")
        code, _, err = run("aim", "--rig", rig, *typed)
        assert code == 2
        assert said in err

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("x_mm,y_mm\n1,two\n", "Point 1 of .*two"),
            ("x_mm,y_mm\n1,2\n3\n", "Point 2 of .* has 1 of 2 columns"),
            ("", "is empty"),
            ("x_px,y_px\n1,2\n", "has no column x"),
        ],
    )
    def test_files_that_are_no_points(self, tmp_path, text, said):
        (tmp_path / "points.csv").write_text(text)
        with pytest.raises(Refusal, match=said):
            read_points(tmp_path / "points.csv", 0.0)

    def test_a_missing_rig_is_named(self, run):
        code, _, err = run("aim", "--rig", "rig.json", "1mm", "2mm")
        assert code == 2
        assert "no rig file at “rig.json”" in err


def _crosses(path: Path, bench: Bench, shift: tuple[float, float] = (0.0, 0.0)) -> Path:
    marks = np.array([(-180.0, -230.0), (180.0, -230.0), (180.0, 230.0), (-180.0, 230.0)])
    lit = np.column_stack([marks - shift, np.zeros(4)])
    rows = np.column_stack([marks, bench.projector.project(lit)])
    path.write_text("x_mm,y_mm,x_px,y_px\n" + "\n".join(",".join(map(str, r)) for r in rows))
    return path


class TestRig:
    def test_list_show_and_default(self, run, made):
        assert "No rigs" in run("rig", "list")[1]
        library.keep(made)
        library.keep(replace(made, name="Boathouse"))
        code, out, _ = run("rig", "list")
        assert code == 0
        assert [line[:12] for line in out.splitlines()] == ["  Boathouse:", "  Slipway: p"]
        assert run("rig", "default", "Boathouse")[:2] == (0, "Boathouse\n")
        assert "* Boathouse" in run("rig", "list")[1]
        assert run("rig", "default")[1] == "Boathouse\n"
        assert "Light lands within" in run("rig", "show")[1]
        said = json.loads(run("rig", "show", "Slipway", "--json")[1])
        assert said["calibration_id"] == made.calibration_id
        assert run("rig", "default", "attic")[0] == 2

    def test_a_damaged_rig_does_not_hide_the_others(self, run, made):
        library.keep(made)
        library.place("broken").write_text("{")
        code, out, _ = run("rig", "list", "--json")
        assert code == 0
        broken, good = json.loads(out)
        assert "is damaged or incomplete" in broken["problem"]
        assert good["name"] == "Slipway"

    def test_show_draws_the_report(self, run, rig):
        assert run("rig", "show", rig, "--report", "report.png")[0] == 0
        assert Path("report.png").stat().st_size > 10_000

    def test_check_a_rig_left_alone(self, run, rig, looked):
        code, out, _ = run("rig", "check", "now.jpg", "--rig", rig)
        assert code == 0
        assert out.startswith("Unchanged")

    @pytest.mark.proof
    def test_check_and_repair_a_bumped_projector(self, run, rig, looked):
        before = rig.read_text()
        code, out, _ = run("rig", "check", "bumped.jpg", "--rig", rig, "--json")
        said = json.loads(out)
        assert code == 1
        assert said["verdict"] == "moved"
        assert said["shift_mm"] == pytest.approx([9.0, -7.0], abs=2.0)
        assert rig.read_text() == before
        assert run("rig", "repair", "bumped.jpg", "--rig", rig, "--out", "new.json")[0] == 0
        assert rig.read_text() == before
        assert run("rig", "repair", "bumped.jpg", "--rig", rig)[0] == 0
        assert run("rig", "check", "bumped.jpg", "--rig", rig)[0] == 0
        assert load(rig).name == "Slipway"

    def test_check_by_hand(self, run, rig, bench, tmp_path):
        assert (
            run("rig", "check", "--rig", rig, "--crosses", _crosses(tmp_path / "a", bench))[0] == 0
        )
        moved = _crosses(tmp_path / "b", bench, (6.0, 0.0))
        assert run("rig", "check", "--rig", rig, "--crosses", moved)[0] == 1

    def test_touch_up_follows_the_crosses(self, run, rig, bench, tmp_path):
        file = _crosses(tmp_path / "crosses.csv", bench, (0.5, 0.0))
        code, out, err = run("rig", "touch-up", "--rig", rig, "--crosses", file)
        assert (code, err) == (0, "")
        assert "4 crosses set by hand" in out
        (cross, *_) = read_crosses(file)
        pixel = load(rig).projector.projector_from_platen([cross.point])[0]
        assert np.hypot(*(pixel - cross.pixel)) < 1.0

    def test_neither_photos_nor_crosses(self, run, rig):
        code, _, err = run("rig", "check", "--rig", rig)
        assert code == 2
        assert "Give photos taken now" in err
