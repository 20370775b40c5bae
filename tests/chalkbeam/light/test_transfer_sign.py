"""How a laid transfer was seen to lie, as light on its sheet."""

import math

import numpy as np
import pytest

from calibration.geometry import Isometry
from chalkbeam.artwork import Box
from chalkbeam.light.transfer_sign import TransferSign, sign_marks
from overlay.marks import Role

INK = Box(-50.0, -20.0, 50.0, 20.0)
POSE = Isometry(30.0, 40.0, math.radians(90.0), mirrored=True)


def points(mark):
    return np.array(mark.points)


def test_a_transfer_that_lies_right_gets_a_frame_around_its_ink():
    (frame,) = sign_marks(TransferSign(True, (0.2, 0.1)), INK, POSE, 1.5)
    assert frame.closed
    assert frame.height == 1.5
    # Turned a quarter: 100 mm along y, 40 across, with the frame's rim on every side alike.
    size = np.ptp(points(frame), axis=0)
    assert size[1] - size[0] == pytest.approx(60.0)
    assert points(frame).mean(axis=0) == pytest.approx((30.0, 40.0))


@pytest.mark.parametrize("off", [(4.0, 0.0), (0.0, -4.0), (3.0, 3.0), (-60.0, 80.0)])
def test_an_arrow_leads_from_where_it_lies_towards_where_it_belongs(off):
    shaft, head = sign_marks(TransferSign(False, off), INK, POSE, 0.0)
    assert shaft.role is Role.WARN
    start, end = points(shaft)
    assert start == pytest.approx(np.array([30.0, 40.0]) + off)
    way, back = end - start, -np.array(off)
    assert way @ back == pytest.approx(np.hypot(*way) * np.hypot(*back))
    assert 29.9 < np.hypot(*way) < 60.1
    assert points(head)[1] == pytest.approx(end)


@pytest.mark.parametrize("off", [None, (0.1, 0.2)])
def test_nothing_points_where_nothing_was_seen_or_it_is_only_turned(off):
    assert sign_marks(TransferSign(False, off, 0.1), INK, POSE, 0.0) == ()
