"""A code in light can be read by a reader that is not ours: OpenCV's."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.geometry import PlatenFace
from chalkbeam.light.code import code_marks
from chalkbeam.web.setup.code_on_platen import squares_of
from overlay.draw.frame import render
from overlay.draw.page_map import FlatMap
from overlay.marks import Stroke
from overlay.palette import DEFAULT_PALETTE

ADDRESS = "http://192.168.178.201:8420/pair#code=081907"
FIGURES, TYPED = "081 907", "192.168.178.201:8420"


@pytest.mark.parametrize("size", [(406.4, 508.0), (152.4, 152.4), (127.0, 508.0)])
def test_it_is_read_upright_and_turned_and_its_words_stay_on_the_platen(size):
    face = PlatenFace(*size)
    marks = code_marks(squares_of(ADDRESS), FIGURES, TYPED, face)
    pixels = (round(face.width * 3), round(face.depth * 3))
    frame = render(marks, FlatMap(pixels, 3.0, -face.width / 2, -face.depth / 2), DEFAULT_PALETTE)
    for quarters in range(4):
        seen = np.ascontiguousarray(np.rot90(frame, quarters))
        read, *_ = cv2.QRCodeDetector().detectAndDecode(seen)
        assert read == ADDRESS
    # Nothing is lit within a millimetre of the edge.
    for edge in (frame[:3], frame[-3:], frame[:, :3], frame[:, -3:]):
        assert edge.max() == 0


def test_a_phone_at_arms_length_can_read_it():
    # A tenth of the distance, 0.6 m: common practice, no source. On the smallest usual platen.
    rows = squares_of(ADDRESS)
    runs = [each for each in code_marks(rows, FIGURES, TYPED, PlatenFace(152.4, 152.4))
            if isinstance(each, Stroke)]  # fmt: skip
    xs = [x for run in runs for x, _ in run.points]
    assert max(xs) - min(xs) >= 60.0
    # ISO/IEC 18004 asks for a quiet zone of four squares.
    assert set(rows[:4]) == {"0" * len(rows)}
