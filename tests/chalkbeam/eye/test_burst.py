"""Bursts: what is projected counts its lines, and a folder of photos is read or refused."""

from __future__ import annotations

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.eye.burst import Burst, read_burst
from chalkbeam.eye.flashes import PLAIN, Lines, burst_frames, dots_of, lines_of, write_burst
from tests.support.rigs import make_rig

RIG = make_rig((960, 540))


def decoded(codes: list[np.ndarray]) -> np.ndarray:
    """Return the number that Gray's code says, coarsest bit first.

    Binary from Gray by the running exclusive-or of its digits: Gray 1953, US 2632058; Knuth,
    The Art of Computer Programming 4A, 7.2.1.1 (7).
    """
    digits = np.array([code > 127 for code in codes], int)
    binary = np.cumsum(digits, axis=0) % 2
    return (binary * 2 ** np.arange(len(codes))[::-1, None]).sum(axis=0)


@pytest.mark.parametrize("family", ["across", "down"])
@pytest.mark.parametrize("pitch", [8, 13, 21])
def test_every_line_lies_in_the_middle_of_its_own_code(family: str, pitch: int) -> None:
    size = (960, 540)
    lines = Lines(family, pitch, size[0] if family == "across" else size[1])
    images = [image[0] if family == "across" else image[:, 0] for image in lines.pictures(size)]
    assert all(image.shape == (540, 960) for image in lines.pictures(size))
    numbers = decoded(images[1:])
    assert sorted(set(numbers)) == list(range(lines.count))
    for number in range(lines.count - 1):
        lit = np.flatnonzero((images[0] > 0) & (numbers == number))
        assert lit.mean() == lines.centre(np.array(number))
        assert set(np.diff(lit)) <= {1}


def test_the_names_stand_in_order() -> None:
    names = [frame.name for frame in burst_frames(RIG)]
    assert names[:4] == ["dark", "white", "dim", "across-lines"]
    lines, colour = f"down-{lines_of(RIG.projector, 'down').bits}", names.index("red")
    assert names[colour - 1] == lines  # what tells of places comes before what tells of colour
    assert names[colour:] == ["red", "green", "blue", "pattern", "dots"]
    assert set(names) >= set(PLAIN)
    assert all(frame.image.shape == (540, 960, 3) for frame in burst_frames(RIG))


def test_dots_lie_where_they_are_said_to() -> None:
    dots = next(frame.image for frame in burst_frames(RIG) if frame.name == "dots")[..., 0]
    _, _, _, centres = cv2.connectedComponentsWithStats((dots > 100).astype(np.uint8))
    near = np.linalg.norm(centres[1:, None] - dots_of(RIG.projector)[None], axis=2).min(axis=1)
    assert len(centres) - 1 == len(dots_of(RIG.projector)) > 50
    assert near.max() < 0.05


def test_written_and_read(tmp_path: Path) -> None:
    names = write_burst(RIG, tmp_path / "burst")
    content = json.loads((tmp_path / "burst" / "burst.json").read_text())
    assert content["kind"] == "chalkbeam burst"
    assert content["size"] == [960, 540]
    assert [each["name"] for each in content["pictures"]] == list(names)
    burst = read_burst(tmp_path / "burst")
    assert burst.size == (960, 540)
    assert set(burst.pictures) == set(names)
    (tmp_path / "burst" / "burst.json").unlink()
    assert set(read_burst(tmp_path / "burst").pictures) == set(names)


def test_jpeg_stands_for_png(tmp_path: Path) -> None:
    write_burst(RIG, tmp_path)
    white = tmp_path / "white.png"
    cv2.imwrite(str(tmp_path / "white.JPG"), cv2.imread(str(white)))
    white.unlink()
    assert read_burst(tmp_path).picture("white").min() > 250


def test_the_tone_curve_is_undone() -> None:
    """Mid grey of IEC 61966-2-1: 18.4 % of light is written as 119 (from memory: 0.1845)."""
    burst = Burst("x", {"white": np.full((2, 2, 3), 119, np.uint8)})
    assert burst.linear("white").max() == pytest.approx(0.1845, abs=5e-4)
    assert math.isclose(Burst("x", {"a": np.full((1, 1, 3), 255, np.uint8)}).linear("a").max(), 1)


def test_what_is_missing_is_named(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="There is no folder"):
        read_burst(tmp_path / "none")
    with pytest.raises(Refusal, match="holds no pictures"):
        read_burst(tmp_path)
    write_burst(RIG, tmp_path)
    (tmp_path / "dots.png").unlink()
    with pytest.raises(Refusal, match="lacks the picture “dots”"):
        read_burst(tmp_path)


def test_another_size_is_refused(tmp_path: Path) -> None:
    write_burst(RIG, tmp_path)
    cv2.imwrite(str(tmp_path / "red.png"), np.zeros((480, 640, 3), np.uint8))
    with pytest.raises(Refusal, match="“red” has 640 x 480 pixels"):
        read_burst(tmp_path)


@pytest.mark.parametrize("content", [b"", b"no picture"])
def test_a_spoiled_picture_is_refused(tmp_path: Path, content: bytes) -> None:
    write_burst(RIG, tmp_path)
    (tmp_path / "red.png").write_bytes(content)
    with pytest.raises(Refusal, match=r"red\.png is damaged or no picture"):
        read_burst(tmp_path)


@pytest.mark.parametrize("content", ["", "[]", '{"kind": "receipt"}', '{"kind": 3, "version": {}}'])
def test_a_spoiled_list_is_refused(tmp_path: Path, content: str) -> None:
    write_burst(RIG, tmp_path)
    (tmp_path / "burst.json").write_text(content)
    with pytest.raises(Refusal, match="does not name the pictures of a burst"):
        read_burst(tmp_path)
