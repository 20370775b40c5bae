"""The outline that is dragged on to the platen: whether the picture covers it is said truly."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from chalkbeam.simulator.rig.stage import sample_rig
from chalkbeam.web.setup.outline import START, Cover, corners_of, covered

SIZE = (1920, 1080)


def shares(rig, face):
    """Where the platen's corners lie in the picture of the ray-cast stand-in's projector."""
    x, y = face.width / 2, face.depth / 2
    places = np.array([(-x, -y), (x, -y), (-x, y), (x, y)])
    return [tuple(each) for each in (rig.projector_from_platen(places) + 0.5) / SIZE]


def test_a_picture_that_covers_says_so_with_the_size_of_its_elements():
    rig = sample_rig()
    corners = shares(rig, rig.face)
    found = covered(corners, rig.face, SIZE)
    assert found.cover is Cover.COVERS
    # Largest distance between neighbouring pixels at the corners, by the stand-in's own optics.
    pixels = np.array(corners) * SIZE - 0.5
    beside = [rig.platen_from_projector(pixels + step) for step in ((1, 0), (0, 1))]
    there = rig.platen_from_projector(pixels)
    largest = max(np.hypot(*(each - there).T).max() for each in beside)
    assert found.element == pytest.approx(largest, rel=0.03)  # its lens is bent a little


@pytest.mark.parametrize("corner", range(4))
def test_a_corner_at_the_pictures_end_is_named(corner):
    corners = list(START)
    corners[corner] = (corners[corner][0], 0.0)
    found = covered(corners, PlatenFace(400.0, 300.0), SIZE)
    assert (found.cover, found.corner) == (Cover.ENDS, corner + 1)


@pytest.mark.parametrize(
    ("corners", "cover"),
    [
        # Corners one and two changed about: a bow tie.
        ([START[1], START[0], *START[2:]], Cover.CROSSED),
        ([START[0], START[0], *START[2:]], Cover.CROSSED),
        # Seen in a mirror, or upside down: an outline all the same.
        ([START[index] for index in (1, 0, 3, 2)], Cover.COVERS),
        ([START[index] for index in (3, 2, 1, 0)], Cover.COVERS),
        # 400 mm on 48 px: 8 mm each.
        ([(0.5 + x / 40, 0.5 + y / 40) for x, y in ((-0.5, 1), (0.5, 1), (-0.5, -1), (0.5, -1))],
         Cover.COARSE),
    ],
)  # fmt: skip
def test_what_is_no_good_outline_is_told(corners, cover):
    assert covered(corners, PlatenFace(400.0, 300.0), SIZE).cover is cover


@pytest.mark.parametrize(
    "sent",
    [None, [], [[0, 0]] * 3, [*[[0, 0]] * 3, [0, 2]], [*[[0, 0]] * 3, "ab"], [[0, 0, 0]] * 4],
)
def test_what_are_no_corners_is_refused(sent):
    assert corners_of(sent) is None
    assert corners_of([list(each) for each in START]) == START
