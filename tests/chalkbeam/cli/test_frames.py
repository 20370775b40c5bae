"""`chalkbeam frames` and `chalkbeam scanner`: the question, what is refused, and a fit."""

import io
import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from calibration.model.eye import Eye
from calibration.model.scanner import ScannerMap
from calibration.rig.file import save
from chalkbeam.lasers.scanner import read_scanner
from tests.calibration.detect.test_scanner_crosses import CAMERA, picture
from tests.chalkbeam.lasers.test_frames import FILE
from tests.overlay.laser.test_ilda import read
from tests.support.crew_order import write_pennant
from tests.support.rigs import make_rig
from tests.support.run_cli import run_program

WORDS = ("--style", "crew-tee", "--size", "M", "--location", "left-chest", "--platen", "16x20in",
         "--art", "pennant.png", "--width", "90mm", "--scanner", "scanner.toml")  # fmt: skip


@pytest.fixture
def bench(tmp_path, monkeypatch, capsys):
    write_pennant(tmp_path / "pennant.png")
    (tmp_path / "scanner.toml").write_text(FILE)
    monkeypatch.chdir(tmp_path)

    def call(*words, answer="yes\n"):
        monkeypatch.setattr("sys.stdin", io.StringIO(answer))
        return run_program(capsys, monkeypatch, *words)

    return call


def test_a_frame_is_written_after_a_yes(bench, tmp_path):
    code, out, err = bench("frames", *WORDS, "--json")
    assert code == 0
    assert "STANDING STILL" in err
    told = json.loads(out)
    (head, records), _ = read((tmp_path / "frames.ild").read_bytes())
    assert head[:2] == (5, "load")
    assert (len(records), told["rate_hz"]) == (told["points"], round(20_000 / len(records), 1))
    assert told["rate_hz"] >= 30
    assert sum(not record[3] & 0x40 for record in records) == told["lit"]


@pytest.mark.parametrize("answer", ["", "y\n"])
def test_nothing_is_written_without_a_yes(bench, tmp_path, answer):
    code, _, err = bench("frames", *WORDS, "--show", "lay", answer=answer)
    assert code == 2
    assert "Nothing was written" in err
    assert not (tmp_path / "frames.ild").exists()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--show", "ink"), "flicker"),
        (("--show", "lettering"), "flicker"),
        (("--format", "0"), "choose 5"),
        (("--without", "hem"), "choose from"),
        (("--out", "frames.txt"), ".ild"),
    ],
)
def test_what_is_not_written_is_told(bench, tmp_path, more, said):
    code, _, err = bench("frames", *WORDS, *more)
    assert code == 2
    assert said in err
    assert not list(tmp_path.glob("frames.*"))


def test_crosses_that_were_measured_give_the_geometry(bench, tmp_path):
    code, out, _ = bench("scanner", "crosses", "--scanner", "scanner.toml",
                         "--platen", "16x20in", "--json")  # fmt: skip
    assert code == 0
    meant = np.array(json.loads(out)["meant_mm"])
    stated = read_scanner(tmp_path / "scanner.toml").stated
    true = ScannerMap.hung((12.0, -9.0, 1139.0), 0.71, 14.0)
    seen = true.platen_from_signal(stated.signal_from_platen(meant))
    rows = [f"{k},{x:.2f},{y:.2f}" for k, (x, y) in enumerate(seen, start=1)]
    (tmp_path / "measured.csv").write_text("\n".join(["cross,x,y", *rows]))
    code, out, _ = bench("scanner", "fit", "measured.csv", "--scanner", "scanner.toml",
                         "--platen", "16x20in", "--error", "0.1mm", "--json")  # fmt: skip
    assert code == 0
    assert json.loads(out)["rms_mm"] < 0.1
    fitted = read_scanner(tmp_path / "scanner-fit.toml")
    signals = fitted.scanner.signal_from_platen(meant)
    assert np.abs(true.platen_from_signal(signals) - meant).max() < 0.1
    assert np.abs(true.platen_from_signal(stated.signal_from_platen(meant)) - meant).max() > 5


@pytest.mark.proof
def test_crosses_that_an_eye_saw_give_the_geometry(bench, tmp_path):
    meant = np.array([(x, y) for y in (-214, 0, 214) for x in (-163.2, 0, 163.2)])
    stated = read_scanner(tmp_path / "scanner.toml").stated
    true = ScannerMap.hung((12.0, -9.0, 1139.0), 0.71, 14.0)
    shots = picture(true.platen_from_signal(stated.signal_from_platen(meant)))
    for name, shot in zip(("lit", "dark"), shots, strict=True):
        Image.fromarray(shot).save(tmp_path / f"{name}.png")
    matrix = tuple((0.0,) * 15 for _ in range(15))
    eye = Eye(CAMERA, (800, 600), matrix, tuple((0.0,) * 20 for _ in range(15)), 0.1, 100, 100)
    save(replace(make_rig(), eye=eye), tmp_path / "rig.json")
    code, out, err = bench(
        "scanner", "fit", "--scanner", "scanner.toml", "--platen", "16x20in", "--json",
        "--eye", "rig.json", "--lit", "lit.png", "--dark", "dark.png",
    )  # fmt: skip
    assert code == 0, err
    assert json.loads(out)["rms_mm"] < 0.15
    fitted = read_scanner(tmp_path / "scanner-fit.toml").scanner
    off = true.platen_from_signal(fitted.signal_from_platen(meant)) - meant
    assert np.hypot(*off.T).max() < 0.4


@pytest.mark.parametrize("words", [("m.csv", "--eye", "rig.json"), ("--eye", "rig.json")])
def test_a_table_or_an_eye_and_not_both(bench, words):
    code, _, err = bench("scanner", "fit", *words, "--scanner", "scanner.toml",
                         "--platen", "16x20in")  # fmt: skip
    assert code == 2
    assert "a table of measured crosses, or --eye" in err
