"""`chalkbeam calibrate --pairs`: cards and pattern in two photos from one place, as typed."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from calibration.refusal import Refusal
from calibration.rig.file import load
from chalkbeam.cli.app import app
from chalkbeam.simulator.demo import over_platen
from chalkbeam.simulator.rig import random_rig, render_photo, write_photo

SEED = 43


@pytest.fixture(scope="module")
def truth():
    return random_rig(SEED, "phone", photos=1, scale=0.4, laying=0.1, paper=0.1)


@pytest.fixture(scope="module")
def folder(truth, tmp_path_factory):
    """Photos of the cards in the room's light, of the pattern, and of the pattern once nudged."""
    place = tmp_path_factory.mktemp("pairs")
    shot = truth.photos[0]
    turned = cv2.Rodrigues(np.array([0.0, 0.0015, 0.0]))[0] @ shot.view.rotation
    nudged = replace(shot.view, turn=tuple(float(v) for v in cv2.Rodrigues(turned)[0].ravel()))
    lit = truth.lit_pattern()
    for name, view, frame in (
        ("cards", shot.view, None),
        ("pattern", shot.view, lit),
        ("nudged", nudged, lit),
    ):
        picture = render_photo(
            truth.scene(), view, shot.sensor, truth.projector, frame, seed=len(name)
        )
        write_photo(picture, place / f"{name}.jpg", make="Tern", view=view)
    shutil.copy(place / "pattern.jpg", place / "copy.jpg")
    return place


def calibrate(folder, *words):
    names = [str(folder / word) if word.endswith(".jpg") else word for word in words]
    usual = ["--platen", "16x20in", "--size", "1920x1080", "--up-to", "0mm"]
    return CliRunner().invoke(app, ["calibrate", *names, *usual, "--out", "rig.json"])


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def test_two_photos_from_one_place_make_a_true_rig(truth, folder):
    result = calibrate(folder, "--pairs", "cards.jpg", "pattern.jpg")
    assert result.exit_code == 0, result.output
    rig = load(Path("rig.json"))
    assert [photo.name for photo in rig.photos] == ["cards.jpg"]
    # Source of the truth: the virtual rig, checked against OpenCV in test_virtual_rig.py.
    assert over_platen(truth, rig.projector, 0.0).worst < rig.stated.tolerance


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ("--pairs", "cards.jpg", "nudged.jpg"),
            "The camera or a card moved between cards.jpg and nudged.jpg",
        ),
        (("--pairs", "cards.jpg"), "cards.jpg has no second photo: with --pairs name"),
        (
            ("--pairs", "cards.jpg", "pattern.jpg", "--raised", "10mm", "cards.jpg"),
            "cards.jpg has no second photo",
        ),
        (("--pairs", "pattern.jpg", "cards.jpg"), "No pattern is seen on the platen in cards.jpg"),
        (("cards.jpg", "pattern.jpg"), "No pattern is seen on the platen in cards.jpg"),
        (("--pairs", "--camera", "0"), "A camera takes no pairs"),
        (("pattern.jpg", "copy.jpg"), "copy.jpg is the same photo as pattern.jpg: leave it out"),
        (("--pairs",), "Name the photos to calibrate from"),
    ],
)
def test_what_is_no_pair_is_refused(folder, words, sentence):
    result = calibrate(folder, *words)
    assert isinstance(result.exception, Refusal), result.output
    assert sentence in str(result.exception)
    assert not Path("rig.json").exists()
