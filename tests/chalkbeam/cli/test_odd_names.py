"""Names of files as no one types them on purpose: a sentence for each, before any work."""

import os

import pytest

from tests.support.run_cli import run_program

PLACE = ("place", "--style", "crew-tee", "--size", "M", "--location", "left-chest")


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    return lambda *words: run_program(capsys, monkeypatch, *words)


@pytest.mark.parametrize("place", [".", "..", "./", "x/.", "round"])
@pytest.mark.parametrize(
    "words",
    [
        (*PLACE, "--text", "HI", "--png"),
        ("garment", "draw", "--style", "tee", "--size", "M", "--out"),
        ("cards", "--platen", "16x20in", "--out"),
    ],
)
def test_what_is_no_place_to_write_to(run, tmp_path, words, place):
    (tmp_path / "round").symlink_to("round")
    code, _, err = run(*words, place)
    assert code == 2
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize(
    "words",
    [
        ("calibrate", "front.jpg", "left\udcff.jpg", "--platen", "16x20in", "--size", "1920x1080"),
        (*PLACE, "--art", "crest\udce9.png", "--width", "3in"),
        ("run", "order.csv", "--operator", "Ren\udce9"),
        ("report", "--csv", "\udc80.csv"),
    ],
)
def test_names_that_are_no_utf8_are_refused_at_once(run, words):
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert "is not written in UTF-8" in err


@pytest.mark.parametrize(
    "words",
    [
        (*PLACE, "--width", "3in", "--art"),
        (*PLACE, "--text", "HI", "--font"),
        ("sheet", "check"),
        ("aim", "--points"),
        ("aim", "0mm", "0mm", "--rig"),
        ("garment", "import", "--style", "tee", "--name", "House tee"),
        ("report", "--record"),
        ("location", "check"),
    ],
)
def test_rings_of_links_devices_and_pipes(run, tmp_path, words):
    (tmp_path / "round").symlink_to("round")
    os.mkfifo(tmp_path / "pipe")
    for place in ("round", "/dev/zero", "pipe", "a\0b"):
        code, _, err = run(*words, place)
        assert (code, len(err.strip().splitlines())) == (2, 1)
