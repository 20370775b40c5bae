"""`chalkbeam eye`: bursts written, and the fixed camera found from pictures of the bare platen."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.rig.file import load, save
from chalkbeam.cli.commands.eye import read_lens_prior
from chalkbeam.eye.burst import Burst, read_burst
from chalkbeam.eye.flashes import burst_frames
from tests.support.eye_scene import EyeScene, camera
from tests.support.rigs import demo_rig
from tests.support.run_cli import run_program

SIZE = (960, 540)
LENS = camera(SIZE, azimuth=0.4, tilt=0.7)
WANTED = {"dark", "white", "pattern", "dots"}


@pytest.fixture(scope="module")
def rig_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("rig") / "rig.json"
    save(demo_rig(), path)
    return path


@pytest.fixture(scope="module")
def scene():
    rig = demo_rig()
    return EyeScene(rig.projector, rig.face, LENS, SIZE, fine=1)


def taken(folder: Path, scene: EyeScene) -> Path:
    """Take the camera's pictures that a fit needs."""
    folder.mkdir()
    for name, picture in scene.burst(
        f for f in burst_frames(demo_rig()) if f.name in WANTED
    ).items():
        cv2.imwrite(str(folder / f"{name}.png"), picture)
    return folder


@pytest.fixture(scope="module")
def bare(tmp_path_factory, scene):
    return taken(tmp_path_factory.mktemp("bursts") / "bare", scene)


@pytest.fixture
def chalkbeam(capsys, monkeypatch):
    """Return the program, to be run as typed."""
    return lambda *words: run_program(capsys, monkeypatch, *words)


@pytest.fixture
def refused(chalkbeam, rig_file):
    """Return a fit that must be refused: what it says."""

    def run(*words: object) -> str:
        code, said, wrong = chalkbeam("eye", "fit", *words, "--rig", rig_file)
        assert (code, said) == (2, "")
        assert load(rig_file).eye is None
        return wrong

    return run


def test_patterns_are_written(chalkbeam, rig_file, tmp_path) -> None:
    code, said, _ = chalkbeam("eye", "patterns", "--rig", rig_file, "--out", tmp_path / "burst")
    assert code == 0
    assert "burst.json names them in order" in said
    assert read_burst(tmp_path / "burst").size == (1920, 1080)


def test_the_camera_is_found_within_half_a_millimetre(chalkbeam, rig_file, bare, tmp_path) -> None:
    """The scene's own camera is the truth: rays, not parameters, are compared."""
    out, report = tmp_path / "with-eye.json", tmp_path / "eye.png"
    code, said, wrong = chalkbeam(
        "eye", "fit", bare, "--rig", rig_file, "--out", out, "--report", report, "--json"
    )  # fmt: skip
    assert (code, wrong) == (0, "")
    told = json.loads(said)
    assert set(told["sides"]) == {"back", "front", "left", "right"}
    eye = load(out).eye
    assert eye.size == SIZE
    x, y = np.meshgrid(np.linspace(-200, 200, 9), np.linspace(-250, 250, 9))
    for height in (0.0, 20.0):
        points = np.column_stack([x.ravel(), y.ravel(), np.full(81, height)])
        pixels = LENS.project(points)
        seen = eye.camera.unproject(pixels, height)
        assert np.linalg.norm(seen - points[:, :2], axis=1).max() < 0.5
    assert cv2.imread(str(report)).shape[1] == 1100


@pytest.mark.proof
def test_lines_on_the_bench_fix_the_lens_without_a_board(chalkbeam, rig_file, scene, tmp_path):
    """The bench lies 150 mm below, which nobody states; the scene's own camera is the truth."""
    burst = tmp_path / "burst"
    burst.mkdir()
    frames = (f for f in burst_frames(demo_rig()) if "-" in f.name or f.name in ("dark", "white"))
    for name, picture in scene.burst(frames).items():
        cv2.imwrite(str(burst / f"{name}.png"), picture)
    blank = cv2.imread(str(burst / "white.png"))
    cv2.imwrite(str(burst / "pattern.png"), blank)  # not needed where lines are
    out = tmp_path / "with-eye.json"
    code, said, _ = chalkbeam("eye", "fit", burst, "--rig", rig_file, "--out", out)
    assert code == 0
    assert "what lies below, beside the platen, fixes the focal length" in said
    eye = load(out).eye
    assert eye.camera.focal == pytest.approx(LENS.focal, rel=0.002)
    x, y = np.meshgrid(np.linspace(-200, 200, 9), np.linspace(-250, 250, 9))
    for height in (0.0, 20.0):
        points = np.column_stack([x.ravel(), y.ravel(), np.full(81, height)])
        seen = eye.camera.unproject(LENS.project(points), height)
        assert np.linalg.norm(seen - points[:, :2], axis=1).max() < 0.1


@pytest.mark.proof
def test_with_an_eye_a_burst_is_shorter(chalkbeam, rig_file, bare, tmp_path) -> None:
    out = tmp_path / "with-eye.json"
    assert chalkbeam("eye", "fit", bare, "--rig", rig_file, "--out", out)[0] == 0
    code, _, _ = chalkbeam("eye", "patterns", "--rig", out, "--out", tmp_path / "short")
    assert code == 0
    names = {each.stem for each in (tmp_path / "short").glob("*-lines.png")}
    assert len(names) == 1


def copied(bare: Path, to: Path, **changed: np.ndarray) -> Path:
    """Copy a burst, some pictures changed."""
    to.mkdir()
    for path in bare.glob("*.png"):
        cv2.imwrite(str(to / path.name), changed.get(path.stem, cv2.imread(str(path))))
    return to


def test_bad_bursts_are_refused(refused, bare, tmp_path) -> None:
    burst = read_burst(bare)
    assert "Name the folder" in refused()
    assert "There is no folder" in refused(tmp_path / "none")
    black = {name: np.zeros_like(burst.picture(name)) for name in WANTED}
    assert "hardly any light" in refused(copied(bare, tmp_path / "black", **black))
    blank = copied(bare, tmp_path / "blank", pattern=burst.picture("white"))
    assert "shows nothing of the pattern" in refused(blank)
    washed = {"dark": np.full_like(burst.picture("dark"), 255)}
    washed |= {"white": np.full_like(burst.picture("dark"), 255)}
    assert "light" in refused(copied(bare, tmp_path / "washed", **washed))


def test_a_camera_moved_within_a_burst_is_refused(refused, bare, tmp_path) -> None:
    moved = np.roll(read_burst(bare).picture("dots"), 3, axis=1)
    wrong = refused(copied(bare, tmp_path / "moved", dots=moved))
    assert "moved within the burst" in wrong


def test_only_a_raised_board_is_refused(refused, bare) -> None:
    assert "No pictures show the bare platen" in refused("--raised", "10mm", bare)


def test_a_lens_prior() -> None:
    """View and focal length: f = w / 2 / tan(view / 2), any textbook of optics."""
    assert read_lens_prior("90deg", 1920).focal == pytest.approx(960.0)
    stated = read_lens_prior("1400+-50px", 1920)
    assert (stated.focal, stated.error) == (1400.0, 50.0)
    low, high = (read_lens_prior(f"{view}deg", 1920).focal for view in (81, 75))
    assert read_lens_prior("78±3°", 1920).error == pytest.approx((high - low) / 2, rel=0.01)


@pytest.mark.parametrize("text", ["", "wide", "78", "-4px", "5px", "179deg", "1..2px", "1400+-0px"])
def test_no_lens_prior(refused, bare, text: str) -> None:
    assert refused(bare, f"--lens-prior={text}").startswith("chalkbeam: ")


def test_a_burst_knows_flicker_from_exposure(scene) -> None:
    """Light added is the same when the room flickers, or the camera halves its exposure."""
    frames = {f.name: f.image for f in burst_frames(demo_rig()) if f.name in {"dark", "white"}}
    dark = scene.shot(frames["dark"])
    steady, flicker, halved = (
        Burst("b", {"dark": dark, "white": scene.shot(frames["white"], **changed)})
        for changed in ({}, {"room": 1.08}, {"exposure": 0.5})
    )
    usual = np.median(steady.light("white")[scene.on[: SIZE[1], : SIZE[0]]])
    for burst in (flicker, halved):
        now = np.median(burst.light("white")[scene.on[: SIZE[1], : SIZE[0]]])
        assert now == pytest.approx(usual, rel=0.03)


def test_the_projector_is_still_the_rigs(chalkbeam, rig_file, bare, tmp_path) -> None:
    out = tmp_path / "with-eye.json"
    chalkbeam("eye", "fit", bare, "--rig", rig_file, "--out", out)
    before, after = load(rig_file), load(out)
    assert replace(after, eye=None) == before
