"""A beam's path: spacing, dwell, blanking, and a round with little dark way."""

import itertools

import numpy as np
import pytest

from overlay.laser.paths import LitLine, Pace, beam_path, dark_way

PACE = Pace(lit=0.01, dark=0.04, corner=5, settle=8)


def plain(points, height):
    """A scanner for which a signal of 1 is 100 mm."""
    assert height == 0.0
    return np.asarray(points) / 100.0


def runs(path):
    """Return the lit stretches of a path."""
    found = []
    for lit, group in itertools.groupby(range(len(path.lit)), key=lambda k: bool(path.lit[k])):
        if lit:
            found.append(path.signals[list(group)])
    return found


def test_points_stand_no_further_apart_than_the_pace_and_corners_are_dwelt_on():
    square = LitLine("square", ((0, 0), (20, 0), (20, 20), (0, 20)), closed=True)
    (lit,) = runs(beam_path([square], plain, PACE))
    steps = np.hypot(*np.diff(lit, axis=0).T)
    assert steps.max() <= 0.01 + 1e-12
    # 80 mm at 1 mm a point, and 5 points rather than 1 at four corners and at the end.
    assert len(lit) == 80 + 1 + 5 * 4
    for corner in ((0.2, 0.0), (0.2, 0.2), (0.0, 0.2)):
        assert (np.abs(lit - corner).max(axis=1) < 1e-12).sum() == 5


def test_a_bend_that_is_none_is_not_dwelt_on():
    bent = LitLine("bent", ((0, 0), (20, 0), (40, 3)))
    (lit,) = runs(beam_path([bent], plain, PACE))
    assert (np.hypot(*np.diff(lit, axis=0).T) == 0).sum() == 4 + 4  # at both ends alone


def test_the_beam_settles_in_the_dark_before_it_is_lit():
    lines = [LitLine("a", ((0, 0), (20, 0))), LitLine("b", ((60, 0), (60, 30)))]
    path = beam_path(lines, plain, PACE)
    for k in np.flatnonzero(np.diff(path.lit.astype(int)) == 1):
        before = path.signals[k - 7 : k + 1]
        assert not path.lit[k - 7 : k + 1].any()
        assert np.allclose(before, path.signals[k + 1])
    dark = ~path.lit[1:] & ~path.lit[:-1]
    assert np.hypot(*np.diff(path.signals, axis=0).T)[dark].max() <= 0.04 + 1e-12


def test_the_round_closes():
    path = beam_path([LitLine("a", ((0, 0), (20, 0)))], plain, PACE)
    assert np.hypot(*(path.signals[0] - path.signals[-1])) <= 0.04 + 1e-12


@pytest.mark.parametrize("seed", range(4))
def test_the_dark_way_is_nearly_the_least_of_all_orders(seed):
    rng = np.random.default_rng(seed)
    lines = [LitLine("x", tuple(map(tuple, rng.uniform(-90, 90, (2, 2))))) for _ in range(5)]
    found = dark_way(runs(beam_path(lines, plain, PACE)))
    ends = [np.array(line.points) / 100 for line in lines]
    least = min(
        dark_way([run[::-1] if turn else run for run, turn in zip(order, turns, strict=True)])
        for order in itertools.permutations(ends[1:])
        for order in [[ends[0], *order]]
        for turns in itertools.product((False, True), repeat=5)
    )
    assert found <= 1.1 * least
