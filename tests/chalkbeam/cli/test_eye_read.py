"""`chalkbeam eye read`, from the patterns to the answer by files, on a press drawn flat."""

from __future__ import annotations

import json
import math
import shutil

import cv2
import numpy as np
import pytest

from calibration.geometry import Isometry
from calibration.rig.file import save
from chalkbeam.cli.show_reading import reading_words
from chalkbeam.eye.flashes import burst_frames
from chalkbeam.eye.garment import GarmentFound
from chalkbeam.eye.read import PieceRead
from chalkbeam.eye.values import ColourSeen, GarmentSeen, Reading, RigSeen, SizeSeen, TransferSeen
from chalkbeam.garments import garment
from tests.support.eye_scene import camera
from tests.support.flat_press import bare, dressed, photographed
from tests.support.rigs import demo_rig
from tests.support.run_cli import run_program

SIZE = (960, 720)
LENS = camera(SIZE, azimuth=0.9, tilt=0.5, distance=900.0, view=1.0)
LAY = Isometry(9.0, 256.0, math.radians(3.0), mirrored=True)
ASKED = ("--style", "crew_tee", "--size", "S", "--face", "front")


@pytest.fixture(scope="module")
def press(tmp_path_factory):
    """Return a folder with the rig and its bursts: bare, and a tee laid askew."""
    place = tmp_path_factory.mktemp("press")
    save(demo_rig(), place / "rig.json")
    frames = burst_frames(demo_rig())
    tee = dressed(garment("crew_tee", "S"), "front", LAY)
    for seed, (name, world) in enumerate({"empty": bare(), "tee": tee}.items()):
        (place / name).mkdir()
        for each, photo in photographed(world, frames, LENS, SIZE, seed).items():
            cv2.imwrite(str(place / name / f"{each}.jpg"), photo)
    return place


@pytest.fixture
def chalkbeam(capsys, monkeypatch):
    """Return the program, to be run as typed."""
    return lambda *words: run_program(capsys, monkeypatch, *words)


@pytest.fixture
def fitted(press, chalkbeam):
    """Return the rig with its eye, fitted once."""
    path = press / "fitted.json"
    if not path.exists():
        code, _, wrong = chalkbeam(
            "eye", "fit", press / "empty", "--rig", press / "rig.json", "--out", path
        )
        assert (code, wrong) == (0, "Looking for the pattern …\n")
    return path


@pytest.mark.slow
def test_a_tee_laid_askew_is_read(press, fitted, chalkbeam) -> None:
    """Where it was drawn is the truth."""
    words = ("eye", "read", press / "tee", "--rig", fitted, "--empty", press / "empty", *ASKED)
    code, said, wrong = chalkbeam(*words, "--json")
    told = json.loads(said)
    assert wrong == ""
    assert list(told) == ["garment", "size", "height", "colour", "transfer", "rig"]
    seen = told["garment"]
    assert code == (0 if seen["sure"] else 1)
    assert math.dist(seen["neck_mm"], (LAY.x, LAY.y)) < 3
    assert math.dist(seen["lower_mm"], LAY.apply([[0.0, 300.0]])[0]) < 3
    assert seen["centre_line_deg"] == pytest.approx(3.0, abs=0.7)
    assert seen["face"] == "front"
    heights = np.array([v for row in told["height"]["mm"] for v in row if v is not None])
    assert np.sqrt(np.mean(heights**2)) < 0.5
    assert told["rig"]["verdict"] == "unchanged"
    assert told["transfer"] is None


def test_a_reading_is_told_in_words() -> None:
    """What is to be done is said as the operator would do it."""
    tee = garment("crew_tee", "M")
    seen = GarmentSeen(True, True, (6.0, 270.0), math.radians(1.5), (14.0, -30.0), "front", "Seen.")
    lies = Isometry(0.0, 272.7, math.radians(1.5), mirrored=True)
    laid = TransferSeen(True, True, (4.0, 0.0), 0.0, "move", "Move it 4.0 mm to the left.")
    unmoved = RigSeen(0.1, "unchanged")
    size = SizeSeen(510.0, True)
    reading = Reading(seen, size, None, ColourSeen("#1b2a44", (17, 1, -17), "x"), laid, unmoved)
    piece = PieceRead(reading, GarmentFound(seen, size, platen_from_garment=lies), lies)
    said = "\n".join(reading_words(piece, Isometry(0.0, 266.7, mirrored=True), tee))
    assert "turn 1.5 degrees right, 6 mm to you" in said
    assert "510 mm wide" in said
    assert "Transfer: move it. Move it 4.0 mm to the left." in said
    assert not reading.good


@pytest.mark.proof
def test_what_cannot_be_read_is_refused_in_one_sentence(press, fitted, chalkbeam, tmp_path) -> None:
    def refused(folder, *more, rig=fitted, empty=press / "empty", asked=ASKED):
        words = ("eye", "read", folder, "--rig", rig, "--empty", empty, *asked, *more)
        code, said, wrong = chalkbeam(*words)
        assert (code, said) == (2, "")
        assert wrong.count("\n") == 1
        return wrong

    tee = press / "tee"
    assert "no folder" in refused(press / "none")
    assert "holds no pictures" in refused(tmp_path)
    assert "knows of no camera" in refused(tee, rig=press / "rig.json")
    assert "has no" in refused(tee, asked=("--style", "tote", "--size", "M", "--face", "back"))
    assert "front or back" in refused(tee, asked=(*ASKED[:4], "--face", "top"))
    assert "--location" in refused(tee, "--text", "TERN")
    assert "--art" in refused(tee, "--location", "full-front")
    assert "on the back, not the front" in refused(tee, "--text", "TERN", "--location", "full-back")
    assert "tolerance" in refused(tee, "--tolerance", "0mm")

    def changed(name, **photos):
        to = tmp_path / name
        to.mkdir()
        for path in tee.iterdir():
            shutil.copy(path, to)
        for photo, data in photos.items():
            (to / f"{photo}.jpg").write_bytes(data)
        return to

    def png(picture):
        return cv2.imencode(".png", picture)[1].tobytes()

    size = (SIZE[1], SIZE[0], 3)
    black, burnt = png(np.zeros(size, np.uint8)), png(np.full(size, 255, np.uint8))
    drawn = b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\nshowpage\n"
    assert "no picture of PNG or JPEG" in refused(changed("eps", white=drawn))
    assert "no picture of PNG or JPEG" in refused(changed("empty-file", dots=b""))
    assert "hardly any light" in refused(changed("black", white=black))
    assert "washed out" in refused(changed("burnt", white=burnt, dim=burnt))
    small = png(np.zeros((300, 400, 3), np.uint8))
    assert "400 x 300 pixels" in refused(changed("small", red=small))
    lacking = changed("lacking")
    for name in ("across-2", "down-2"):
        (lacking / f"{name}.jpg").unlink()
    assert "lacks lines" in refused(lacking)
    assert "does not show the bare platen" in refused(tee, empty=_swapped(tmp_path / "odd", press))


def _swapped(to, press):
    """Return a burst of the bare platen whose projector shows its picture elsewhere."""
    to.mkdir()
    for path in (press / "empty").iterdir():
        picture = cv2.imread(str(path))
        cv2.imwrite(str(to / path.name), picture[::-1] if "-" in path.stem else picture)
    return to
