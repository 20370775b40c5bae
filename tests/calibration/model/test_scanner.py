"""The two-mirror scanner against one traced ray by ray: mirrors are planes, light is reflected."""

import math

import numpy as np
import pytest

from calibration.model.scanner import ScannerMap


def reflected(point, along, on, normal):
    """Return where a ray meets a mirror, and how it goes on."""
    far = normal @ (on - point) / (normal @ along)
    return point + far * along, along - 2 * (along @ normal) * normal


def turned(vector, axis, angle):
    """Rodrigues' formula."""
    c, s = math.cos(angle), math.sin(angle)
    return vector * c + np.cross(axis, vector) * s + axis * (axis @ vector) * (1 - c)


def traced(first, second, separation, down):
    """Return where a beam lands on a floor `down` below the second mirror, of two flat mirrors.

    Each mirror turns by half the angle that it turns the beam by. The floor is square to the
    beam at rest.
    """
    x, y, z = np.eye(3)
    # At rest: along x, by the first mirror to -y, by the second (axis x) to -z.
    m1 = np.array([0.0, separation, 0.0])
    n1 = turned((x + y) / math.sqrt(2), z, first / 2)
    n2 = turned((y - z) / math.sqrt(2), x, second / 2)
    point, along = reflected(m1 - 50 * x, x, m1, n1)
    point, along = reflected(point, along, np.zeros(3), n2)
    far = (-down - point[2]) / along[2]
    return (point + far * along)[:2]


def test_signals_land_where_two_flat_mirrors_throw_the_beam():
    full = math.radians(40)
    scanner = ScannerMap.hung((0.0, 0.0, 1000.0), full, separation=15.0)
    for a, b in [(0.0, 0.0), (0.2, 0.1), (-0.3, 0.25), (0.15, -0.33), (0.33, 0.33)]:
        # The traced scanner's y is the platen's, its x too: its floor is seen from above.
        there = traced(a, b, 15.0, 1000.0)
        lands = scanner.platen_from_signal([(2 * a / full, 2 * b / full)])[0]
        assert lands == pytest.approx(there, abs=1e-9)


def test_no_single_centre():
    # Two fans meet the beam's axis 15 mm apart: for a mirror angle t each, x counts from further.
    scanner = ScannerMap.hung((0.0, 0.0, 1000.0), math.radians(40), separation=15.0)
    across = scanner.platen_from_signal([(0.5, 0.0)])[0, 0]
    along = scanner.platen_from_signal([(0.0, 0.5)])[0, 1]
    assert across / along == pytest.approx(1015 / 1000)


@pytest.mark.parametrize("swapped", [False, True])
def test_there_and_back_at_every_height(swapped):
    rng = np.random.default_rng(4)
    hung = ScannerMap.hung((40.0, -30.0, 1150.0), 0.8, 12.0, swapped)
    vector = hung.vector + rng.normal(0, 0.03, 11) * (1, 1, 1, 50, 50, 50, 50, 1, 1, 1, 1)
    scanner = ScannerMap.from_vector(vector, swapped)
    points = rng.uniform((-200, -250), (200, 250), (50, 2))
    for height in (0.0, 4.0, 20.0):
        signals = scanner.signal_from_platen(points, height)
        assert scanner.platen_from_signal(signals, height) == pytest.approx(points, abs=1e-8)


@pytest.mark.parametrize("swapped", [False, True])
def test_signals_point_as_the_operator_stands(swapped):
    scanner = ScannerMap.hung((0.0, 0.0, 1000.0), 0.8, 10.0, swapped)
    right, back = scanner.signal_from_platen([(100.0, 0.0), (0.0, 100.0)])
    assert right[0] > 0.2
    assert back[1] > 0.2
    assert abs(right[1]) < 1e-12
    assert abs(back[0]) < 1e-12
