"""The report picture shows what it should, where it should."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calibration.photo.read import Photo
from calibration.refusal import Refusal
from calibration.rig import by_hand, report_parts
from calibration.rig.file import Rig
from calibration.rig.report import WIDTH, draw_report, write_report
from calibration.solve.fit import Solution, solve
from calibration.solve.values import Stated
from tests.support import synthetic_rig


@pytest.fixture(scope="module")
def solution() -> Solution:
    rng = np.random.default_rng(1)
    bench = synthetic_rig.bench(rng, size=(1280, 720))
    seen = [
        bench.photo(synthetic_rig.posed(synthetic_rig.webcam(rng), rng), rng, 0.1, name="bench.jpg")
    ]
    return solve(seen, bench.cards, bench.pattern, bench.face)


@pytest.fixture(scope="module")
def rig(solution: Solution) -> Rig:
    return Rig.of(solution, "Boathouse press", synthetic_rig.FACE)


def near(picture: Image.Image, colour: tuple[int, int, int]) -> np.ndarray:
    """Places (x, y) of pixels of about that colour, shape (N, 2)."""
    pixels = np.asarray(picture, dtype=int)
    rows, columns = np.nonzero(np.abs(pixels - colour).max(axis=2) < 12)
    return np.column_stack([columns, rows])


def test_corners_are_drawn_over_the_photo(rig: Rig, solution: Solution) -> None:
    width, height = solution.photos[0].size
    grey = np.full((height, width, 3), 128, np.uint8)
    picture = draw_report(rig, [Photo("bench.jpg", grey, "webcam")], solution)
    assert picture.width == WIDTH
    cards, light = near(picture, report_parts.CARD), near(picture, report_parts.LIGHT)
    assert len(cards) > 36 * 8
    assert len(light) > len(solution.photos[0].pattern) * 8
    # Cards lie in the platen's corners: their corners surround the pattern's.
    upper = cards[cards[:, 1] < 990]
    assert upper[:, 0].min() < np.percentile(light[:, 0], 2) + 60
    assert upper[:, 0].max() > np.percentile(light[:, 0], 98) - 60
    assert len(near(picture, report_parts.GRID)) > 500


def test_without_photos_the_corners_still_show(rig: Rig) -> None:
    write = draw_report(rig, (), by_hand.solve_again(rig))
    assert len(near(write, report_parts.CARD)) > 36 * 8


def test_crosses_have_a_picture_of_their_own() -> None:
    bench = synthetic_rig.bench(np.random.default_rng(2))
    marks = np.array([cross.point for cross in by_hand.suggested_points(bench.face, 5)])
    pixels = bench.projector.project(np.column_stack([marks, np.zeros(5)]))
    solution = by_hand.solve_by_hand(marks, pixels, bench.face, (1920, 1080), Stated())
    picture = draw_report(Rig.of(solution, "By hand", bench.face), (), solution)
    assert len(near(picture, report_parts.CARD)) > 5 * 20


@pytest.mark.parametrize(("name", "kind"), [("report.png", "PNG"), ("report.jpg", "JPEG")])
def test_the_file_is_what_its_name_says(tmp_path: Path, rig: Rig, name: str, kind: str) -> None:
    write_report(tmp_path / name, rig)
    with Image.open(tmp_path / name) as picture:
        assert picture.format == kind
    assert [entry.name for entry in tmp_path.iterdir()] == [name]


def test_nowhere_to_write(tmp_path: Path, rig: Rig) -> None:
    (tmp_path / "taken").write_text("a file, no folder")
    with pytest.raises(Refusal, match="cannot be written"):
        write_report(tmp_path / "taken" / "report.png", rig)
