import json

import cv2
import numpy as np
import pypdfium2
import pytest
from typer.testing import CliRunner

from calibration.refusal import Refusal
from calibration.targets.pattern import Pattern
from chalkbeam.cli.app import app
from overlay.window.inputs import Closed, DisplayLost, Key, Tick

runner = CliRunner()


def run(*words):
    return runner.invoke(app, [str(word) for word in words])


def test_cards_writes_sheets_pictures_and_their_places(tmp_path):
    out, pictures = tmp_path / "cards.pdf", tmp_path / "png"
    result = run(
        "cards",
        "--platen",
        "16x20in",
        "--paper",
        "a4",
        "--out",
        out,
        "--png",
        pictures,
        "--dpi",
        120,
    )
    assert result.exit_code == 0
    assert "measure the bar" in result.stdout
    assert len(pypdfium2.PdfDocument(out)) == 4
    record = json.loads((pictures / "layout.json").read_text())
    assert set(record) == {"platen_mm", "cards"}
    assert record["platen_mm"] == pytest.approx([406.4, 508.0])
    for card in record["cards"]:
        assert set(card) == {"png", "corners_mm"}
        picture = cv2.imread(str(pictures / card["png"]), cv2.IMREAD_GRAYSCALE)
        side = np.ptp(np.array(card["corners_mm"])[:, 0])
        assert picture.shape == (round(side / 25.4 * 120),) * 2


def test_cards_prints_json(tmp_path):
    result = run("cards", "--platen", "5x5in", "--out", tmp_path / "c.pdf", "--json")
    answer = json.loads(result.stdout)
    assert answer["written"] == [str(tmp_path / "c.pdf")]
    assert len(answer["cards"]) == 4


@pytest.mark.parametrize(("platen", "fine"), [(None, False), ("16x20in", False), ("5x5in", True)])
def test_pattern_writes_the_picture_to_project(tmp_path, platen, fine):
    out = tmp_path / "pattern.png"
    words = ["pattern", "--size", "1280x720", "--out", out]
    result = run(*words, *(["--platen", platen] if platen else []))
    assert result.exit_code == 0
    assert (cv2.imread(str(out)) == Pattern((1280, 720)).draw(fine)).all()


@pytest.mark.parametrize("end", [Key("escape"), Closed()])
def test_pattern_fills_a_display_until_it_is_ended(tmp_path, monkeypatch, end):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("overlay.window.run.choose_display", lambda size, wanted: wanted)
    shown = []

    def operate(state, screen, *, update, view, done, **_):
        shown.append((screen.size, screen.display, view(state)))
        for happened in (Tick(), Key("space"), end):
            assert not done(state)
            state = update(state, happened)
        assert done(state)
        with pytest.raises(Refusal, match="is gone"):
            update(state, DisplayLost("Display 2 is gone: check its cable."))
        return state

    monkeypatch.setattr("overlay.window.run.run", operate)
    result = run("pattern", "--size", "1280x720", "--platen", "5x5in", "--display", "2")
    assert result.exit_code == 0
    assert "Do not look into the projector's beam." in result.stdout
    ((size, display, frame),) = shown
    assert (size, display) == ((1280, 720), 2)
    assert (frame == Pattern((1280, 720)).draw(True)).all()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("cards", "--platen", "60mmx60mm"), "too small for four cards"),
        (("cards", "--platen", "406x508"), "no unit"),
        (("cards", "--platen", "406mmx508mm", "--dpi", "5", "--png", "x"), "5 dpi"),
        (("pattern", "--size", "100x90"), "cannot carry the pattern"),
        (("cards", "--platen", "16x20m"), "16000 x 20000 mm, and no platen"),
        (("cards", "--platen", "16x20mm"), "check the unit"),
        (("pattern", "--size", "19200x10800"), "from 800 x 480 to 8192 x 4320"),
        (("pattern", "--size", "640x480"), "from 800 x 480 to 8192 x 4320"),
        (("pattern", "--size", "full"), "not a picture size"),
        (("pattern", "--size", "1920x1080", "--out", "p.jpg"), "does not end in .png"),
        (("cards", "--platen", "16x20in", "--out", "cards.docx"), "name it cards.pdf"),
        (("pattern", "--size", "1280x720", "--display", "1", "--out", "p.png"), "not both"),
    ],
)
def test_bad_input_is_refused_and_writes_nothing(tmp_path, monkeypatch, words, sentence):
    monkeypatch.chdir(tmp_path)
    result = run(*words)
    assert isinstance(result.exception, Refusal)
    assert sentence in str(result.exception)
    assert list(tmp_path.iterdir()) == []
