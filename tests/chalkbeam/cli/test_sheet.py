"""`chalkbeam sheet`: what the commands print, and their exit codes."""

import json

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from calibration.refusal import Refusal
from chalkbeam.cli.app import app
from chalkbeam.simulator.tern_harbour import SHEET, write_sample


def chalkbeam(*words):
    result = CliRunner().invoke(app, [str(word) for word in words], env={"COLUMNS": "160"})
    if isinstance(result.exception, Refusal):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.fixture
def sheet(tmp_path):
    return write_sample(tmp_path)


@pytest.mark.slow
def test_the_sample_is_an_order_of_about_sixty_mixed_pieces(tmp_path):
    assert SHEET in chalkbeam("sheet", "sample", "--out", tmp_path / "sample")
    said = json.loads(chalkbeam("sheet", "check", tmp_path / "sample" / SHEET, "--json"))
    pieces = said["pieces"]
    assert len(pieces) == 59
    assert len({piece["style"] for piece in pieces}) >= 8
    assert sum(bool(piece["name"] and piece["number"]) for piece in pieces) == 9
    assert said["notes"][0] == "Row 36 begins with “Total” and is left out."
    assert len(said["notes"]) == 2, said["notes"]  # names pressed with numbers; all of them fit


def test_a_sample_never_replaces_an_order(sheet):
    sheet.write_text("my own")
    with pytest.raises(Refusal, match="may be your own work"):
        chalkbeam("sheet", "sample", "--out", sheet.parent)
    assert sheet.read_text() == "my own"


@pytest.mark.slow
def test_check_counts_the_piles(sheet):
    said = chalkbeam("sheet", "check", sheet)
    assert "59 pieces, 113 imprints" in said
    assert "5  crew tee" in said


@pytest.mark.slow
def test_an_unknown_colour_is_a_note(sheet):
    sheet.write_text(sheet.read_text().replace(",sky,", ",evening mist,"))
    assert "There is no fabric colour “evening mist”" in chalkbeam("sheet", "check", sheet)


def test_plan_compares_and_says_its_assumptions(sheet):
    said = chalkbeam("sheet", "plan", sheet)
    for words in ("this order", "the sheet's own order", "measured by hand", "are assumptions"):
        assert words in said
    said = json.loads(chalkbeam("sheet", "plan", sheet, "--json", "--times", "measure=30"))
    assert said["seconds"] < said["as_listed_seconds"]
    assert said["by_hand_seconds"] == pytest.approx(said["as_listed_seconds"] + 59 * 30)
    assert len(said["stops"]) == 113


def test_plan_names_the_pad_that_the_first_piece_needs(sheet):
    lines = chalkbeam("sheet", "plan", sheet, "--first", "32-1").splitlines()
    first, *rest = [line for line in lines if ".svg" in line or ".png" in line]
    assert first.startswith("1 ")
    assert first.rstrip().endswith("pad 8x10x0.4in")
    assert any("pad out, transfers" in line for line in rest)


def test_plan_lists_the_codes_that_are_scanned(sheet):
    lines = chalkbeam("sheet", "plan", sheet).splitlines()
    (number,) = (n for n, line in enumerate(lines) if "tern.png" in line)
    assert lines[number].split()[1] == "3"
    assert lines[number + 1].split()[0] == "35-1…35-3"


def test_pins(sheet):
    said = json.loads(chalkbeam("sheet", "plan", sheet, "--json", "--first", "21-1, 13-1"))
    assert [stop["piece"] for stop in said["stops"]][:6] == ["21-1"] * 3 + ["13-1"] * 3
    said = json.loads(chalkbeam("sheet", "plan", sheet, "--json", "--as-listed"))
    assert said["seconds"] == said["as_listed_seconds"]
    with pytest.raises(Refusal, match="no piece “99-1” to pin"):
        chalkbeam("sheet", "plan", sheet, "--first", "99-1")


def test_the_samples_artwork_is_on_a_clear_ground(tmp_path):
    write_sample(tmp_path)
    picture = np.asarray(Image.open(tmp_path / "tern.png").convert("RGBA"))
    assert picture[0, 0, 3] == 0
    assert 0.1 < np.mean(picture[..., 3] > 128) < 0.6


def test_one_piece_is_no_pieces(sheet):
    lines = sheet.read_text(encoding="utf-8").splitlines()
    header = next(line for line in lines if line.startswith("Garment,"))
    tote = next(line for line in lines if line.startswith("Tote,")).replace(",3,", ",1,", 1)
    sheet.write_text(f"{header}\n{tote}\n", encoding="utf-8")
    assert ": 1 piece, 1 imprint." in chalkbeam("sheet", "check", sheet)
