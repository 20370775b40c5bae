import hashlib
import itertools
import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from calibration.targets.pattern import COMMON_SIZES, Pattern, wants_fine

DATA = Path(__file__).parents[2] / "data"


@pytest.mark.parametrize("size", COMMON_SIZES, ids=str)
def test_every_resolution_has_a_pattern_of_enough_squares(size):
    pattern = Pattern(size)
    picture = pattern.draw()
    assert picture.shape == (size[1], size[0], 3)
    usual = pattern.lattices[0]
    # Squares along the short side, which must reach across the platen: 20 to 28 mm each
    # on a platen of 406 mm.
    assert 14 <= min(size) / usual.square <= 21
    assert len(set(usual.charuco.markers)) == len(usual.charuco.markers)


def test_white_on_pure_red():
    for fine in (False, True):
        blue, green, red = cv2.split(Pattern((1280, 720)).draw(fine))
        assert (red == 255).all()
        assert (blue == green).all()
        assert set(np.unique(blue)) == {0, 255}


def test_the_picture_is_opencv_s_board():
    # Reference: cv2.aruco.CharucoBoard with the same ids.
    lattice = Pattern((1280, 720)).lattices[0]
    charuco = cv2.aruco.CharucoBoard(
        (lattice.charuco.columns, lattice.charuco.rows),
        10.0,
        8.0,
        lattice.charuco.family.dictionary,
        np.array(lattice.charuco.ids, np.int32),
    )
    drawn = charuco.generateImage((1280, 720), marginSize=0)
    assert (drawn == Pattern((1280, 720)).draw()[..., 0]).all()


@pytest.mark.parametrize("size", [(1920, 1080), (1366, 768), (854, 480)])
def test_corners_lie_between_the_pixels_that_differ(size):
    pattern = Pattern(size)
    for fine, lattice in zip((False, True), pattern.lattices, strict=False):
        blue = pattern.draw(fine)[..., 0].astype(int)
        count = len(lattice.charuco.corners)
        for x, y in pattern.pixels(range(lattice.first, lattice.first + count)):
            left, top = int(x - 0.5), int(y - 0.5)
            assert (left + 0.5, top + 0.5) == (x, y)
            window = blue[top : top + 2, left : left + 2]
            assert window[0, 0] == window[1, 1] != window[0, 1] == window[1, 0]
    assert pattern.count == sum(len(lattice.charuco.corners) for lattice in pattern.lattices)


def test_no_two_resolutions_share_their_arrangement():
    """Of the markers two patterns share, hardly any stand in the same square."""
    sizes = [(1920, 1080), (1280, 720), (3840, 2160), (1600, 900)]
    charucos = [lattice.charuco for size in sizes for lattice in Pattern(size).lattices]
    for one, other in itertools.combinations(charucos, 2):
        same = sum(a == b for a, b in zip(one.ids, other.ids, strict=False) if a is not None)
        assert same < 6


def test_the_arrangement_never_changes():
    # Frozen: patterns already printed or stored must be read by every later version.
    assert Pattern((1920, 1080)).lattices[0].charuco.ids[:6] == (375, 263, 414, 285, 371, 575)
    whole = hashlib.sha256()
    for size in ((1920, 1080), (1280, 720), (1280, 800), (3840, 2160)):
        for fine in (False, True):
            whole.update(Pattern(size).draw(fine).tobytes())
    assert whole.hexdigest()[:16] == "eeeb32eebfc426d8"


def test_an_independent_reader_reads_the_pattern():
    # Source: tests/data/apriltag_reading.json, see its "source".
    reading = json.loads((DATA / "apriltag_reading.json").read_text())
    read = {row["id"]: np.array(row["centre"]) for row in reading["pattern_1280x720"]}
    lattice = Pattern((1280, 720)).lattices[0]
    assert set(read) == set(lattice.charuco.markers)
    for marker, ring in lattice.charuco.markers.items():
        centre = lattice.place(ring.mean(axis=0))  # that reader counts from the pixel's edge
        assert np.abs(read[marker] - 0.5 - centre).max() < 0.1


def test_small_platens_want_the_fine_pattern():
    assert wants_fine(PlatenFace(127, 127))
    assert wants_fine(PlatenFace(89, 165))
    assert not wants_fine(PlatenFace(102, 406))
    assert not wants_fine(PlatenFace(406, 508))


@pytest.mark.parametrize("size", [(200, 100), (1920, 239), (5000, 1000)])
def test_what_cannot_carry_a_pattern_is_refused(size):
    with pytest.raises(Refusal, match="cannot carry the pattern"):
        Pattern(size)
