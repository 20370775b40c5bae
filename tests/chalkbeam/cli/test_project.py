"""`chalkbeam project` and `chalkbeam displays` from the command line."""

import json

import cv2
import numpy as np
import pygame
import pytest

from calibration.rig import library
from chalkbeam.record.store import record_file
from overlay.window.outputs import Output
from tests.support.crew_order import write_pennant
from tests.support.keys import type_keys
from tests.support.rigs import make_rig, save_rig
from tests.support.run_cli import run_program as chalkbeam


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with a rig and an artwork, and it is the current one."""
    monkeypatch.chdir(tmp_path)
    save_rig(tmp_path / "rig.json")
    write_pennant(tmp_path / "pennant.png")
    return tmp_path


USUAL = (
    "project", "--rig", "rig.json", "--style", "crew_tee", "--size", "M", "--art", "pennant.png",
)  # fmt: skip


def test_writes_the_frames_it_would_light(bench, capsys, monkeypatch):
    code, out, _ = chalkbeam(
        capsys, monkeypatch, *USUAL, "--location", "left-chest", "--location", "full-back",
        "--check", "--png", "frames", "--fabric", "navy",
    )  # fmt: skip
    assert code == 0
    names = [
        "check", "1-left-chest-load", "1-left-chest-lay", "2-full-back-load", "2-full-back-lay",
    ]  # fmt: skip
    assert out.split() == [f"frames/{name}.png" for name in names]
    frames = [cv2.imread(str(bench / line)) for line in out.split()]
    assert all(frame.shape == (360, 640, 3) and frame.any() for frame in frames)
    assert len({frame.tobytes() for frame in frames}) == len(frames)


def test_the_default_rig_needs_no_naming(bench, capsys, monkeypatch):
    without = [word for word in USUAL if word not in ("--rig", "rig.json")]
    arguments = (*without, "--location", "left-chest", "--png", "frames")
    code, _, err = chalkbeam(capsys, monkeypatch, *arguments)
    assert code == 2
    assert "There is no rig yet" in err
    library.keep(make_rig())
    assert chalkbeam(capsys, monkeypatch, *arguments)[0] == 0


def test_thicker_cloth_moves_the_light(bench, capsys, monkeypatch):
    for folder, thickness in (("thin", "0.5mm"), ("thick", "10mm")):
        chalkbeam(
            capsys, monkeypatch, *USUAL, "--location", "left-chest", "--png", folder,
            "--thickness", thickness,
        )  # fmt: skip
    thin, thick = (
        cv2.imread(str(bench / folder / "1-left-chest-lay.png")).astype(float).sum(axis=2)
        for folder in ("thin", "thick")
    )
    rows = np.arange(360)[:, None]
    assert abs((thin * rows).sum() / thin.sum() - (thick * rows).sum() / thick.sum()) > 1


def test_window_steps_nudges_and_tells_at_the_end(bench, capsys, monkeypatch):
    keys = [pygame.K_SPACE, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_ESCAPE, pygame.K_ESCAPE]
    type_keys(monkeypatch, keys)
    code, out, err = chalkbeam(capsys, monkeypatch, *USUAL, "--location", "left-chest", "--window")
    assert (code, out) == (0, "left chest: moved 0.08 in right\n")
    assert "do not look into its lens" in err
    assert "hot" in err


def test_a_location_on_the_other_face_is_loaded_before_lines_can_be_moved(
    bench, capsys, monkeypatch
):
    keys = [pygame.K_SPACE, pygame.K_2, pygame.K_RIGHT, pygame.K_SPACE, pygame.K_UP]
    monkeypatch.setattr("chalkbeam.station.state.BOUNCE", 0.0)
    type_keys(monkeypatch, [*keys, pygame.K_ESCAPE, pygame.K_ESCAPE])
    _, out, _ = chalkbeam(
        capsys, monkeypatch, *USUAL, "--location", "left-chest", "--location", "full-back",
        "--window",
    )  # fmt: skip
    assert out == "full back: moved 0.04 in away\n"


def test_nothing_is_recorded(bench, capsys, monkeypatch):
    """Whatever was done, neither the shop's record nor any other file is made."""
    monkeypatch.setenv("XDG_DATA_HOME", str(bench / "data"))
    monkeypatch.setenv("TMPDIR", str(bench))
    monkeypatch.setattr("chalkbeam.station.state.BOUNCE", 0.0)
    keys = [*[pygame.K_SPACE] * 4, pygame.K_ESCAPE, pygame.K_ESCAPE]
    type_keys(monkeypatch, keys)
    code, _, _ = chalkbeam(capsys, monkeypatch, *USUAL, "--location", "left-chest", "--window")
    assert code == 0
    assert not record_file().exists()
    assert sorted(path.name for path in bench.rglob("*")) == ["pennant.png", "rig.json"]


def test_keys_pressed_before_the_first_picture_do_nothing(bench, capsys, monkeypatch):
    keys = [pygame.K_RIGHT, pygame.K_ESCAPE, pygame.K_ESCAPE]
    type_keys(monkeypatch, keys, early=[pygame.K_SPACE] * 3)
    _, out, err = chalkbeam(capsys, monkeypatch, *USUAL, "--location", "left-chest", "--window")
    assert out == ""  # still in the load step: the arrow moved nothing
    assert err.startswith("Getting ready")


def test_escape_before_the_first_picture_ends(bench, capsys, monkeypatch):
    type_keys(monkeypatch, [], early=[pygame.K_ESCAPE])
    code, out, _ = chalkbeam(capsys, monkeypatch, *USUAL, "--location", "left-chest", "--window")
    assert (code, out) == (0, "")


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("--location", "left-chest", "--rig", "none.json"), 2, "There is no rig file"),
        (("--location", "left-chest", "--rig", "pennant.png"), 2, "pennant.png"),
        (("--location", "left-chset"), 2, "left-chset"),
        (("--location", "left-chest", "--size", "9XL"), 2, "9XL"),
        (("--location", "left-chest", "--art", "none.svg", "--window"), 2, "none.svg"),
        (("--location", "left-chest", "--collar", "inside"), 2, "inside"),
        (("--location", "left-chest", "--thickness", "2in"), 2, "2in"),
        (("--location", "left-chest", "--fabric", "invisible"), 2, "invisible"),
        (("--location", "left-chest", "--pad", "1x1x9in", "--window"), 2, "pad"),
        (("--location", "left-chest"), 2, "No display shows 640x360"),
        (("--location", "left-chest", "--display", "7"), 2, "There is no display 7"),
        (("--location", "left-chest", "--display", "1"), 2, "Display 1 shows"),
        (("--location", "left-chest") * 10, 2, "nine number keys"),
        (("--location", "left-chest", "--width", "30in", "--window"), 2, "pressed area"),
        (("--style", "hoodie", "--location", "full-front", "--width", "22in", "--window"), 1,
         "collar"),
    ],
)  # fmt: skip
def test_refusals(bench, capsys, monkeypatch, arguments, code, says):
    done, out, err = chalkbeam(capsys, monkeypatch, *USUAL, *arguments)
    assert done == code
    assert says in (err if code == 2 else out)
    assert "Traceback" not in err
    assert sorted(path.name for path in bench.iterdir()) == ["pennant.png", "rig.json"]


def test_lists_displays(capsys, monkeypatch):
    monkeypatch.setattr(pygame.display, "get_desktop_sizes", lambda: [(1366, 768), (1920, 1080)])
    code, out, _ = chalkbeam(capsys, monkeypatch, "displays")
    assert code == 0
    assert out == "1  1366x768  (main)\n2  1920x1080\n"
    _, out, _ = chalkbeam(capsys, monkeypatch, "displays", "--json")
    assert json.loads(out)[1] == {"number": 2, "size": [1920, 1080], "socket": ""}


def test_lists_displays_by_their_sockets_where_the_system_names_them(capsys, monkeypatch):
    outputs = (Output("eDP-1", (0, 0), (1366, 768)), Output("HDMI-1", (1366, 0), (1920, 1080)))
    monkeypatch.setattr(
        pygame.display, "get_desktop_sizes", lambda: [each.size for each in outputs]
    )
    monkeypatch.setattr("overlay.window.run.listing_for", lambda driver: lambda: outputs)
    _, out, _ = chalkbeam(capsys, monkeypatch, "displays")
    assert out == "1  1366x768  eDP-1  (main)\n2  1920x1080  HDMI-1\n"
