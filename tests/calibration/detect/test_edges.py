"""The platen's own edges in drawn photos whose truth is known (`render_photos`)."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest

from calibration.detect.observe import observe
from calibration.observations import SIDES
from calibration.targets.cards import layout
from calibration.targets.pattern import Pattern
from tests.support.render_photos import Bench

FAR = np.array([0.7, -0.5])
"""How far all cards lie off together, mm."""


@dataclass
class DarkBench(Bench):
    """A dark platen under paper that stops short of its edges, with a wall below its front."""

    paper: tuple[float, float, float, float] = (14.0, 14.0, 14.0, 14.0)
    """How far within each edge the paper ends, mm: left, right, front, back."""

    def albedo(self):
        picture, raster = super().albedo()
        half = np.array([self.face.width, self.face.depth]) / 2

        def fill(low, high, colour):
            (left, bottom), (right, top) = np.floor(raster([low, high])).astype(int)
            part = picture[top + 1 : bottom + 1, left + 1 : right + 1]
            inked = np.abs(part - np.float32(self.cover)).max(axis=2) > 1e-3
            outside = np.abs(part - 0.06).max(axis=2) > 1e-3
            part[~(inked & outside)] = colour

        fill((-half[0], -half[1] - 9.0), (half[0], -half[1]), 0.22)  # the wall
        left, right, front, back = self.paper
        fill((-half[0], -half[1]), (-half[0] + left, half[1]), 0.13)
        fill((half[0] - right, -half[1]), (half[0], half[1]), 0.13)
        fill((-half[0], -half[1]), (half[0], -half[1] + front), 0.13)
        fill((-half[0], half[1] - back), (half[0], half[1]), 0.13)
        return picture, raster


def shifted(bench):
    """The bench with all cards laid off together."""
    bench.cards = tuple(
        replace(card, centre=(card.centre[0] + FAR[0], card.centre[1] + FAR[1]))
        for card in bench.cards
    )
    return bench


def beyond(bench):
    """How far beyond its edge each side is seen, mm, by name."""
    seen = observe(bench.photo(), layout(bench.face), Pattern(bench.projector_size))
    half = (bench.face.width / 2, bench.face.depth / 2)
    found = {}
    for side in SIDES:
        pixels = np.array([point.pixel for point in seen.edges if point.side == side.name])
        if len(pixels):
            points = bench._platen_of_photo(*pixels.T)
            found[side.name] = side.sign * points[:, side.axis] - half[side.axis]
    return found


@pytest.mark.parametrize(
    "bench",
    [
        Bench(tilt=math.radians(20), azimuth=-2.0),
        pytest.param(DarkBench(ambient=0.4, azimuth=-1.2, seed=2), marks=pytest.mark.proof),
    ],
    ids=["paper to the edge", "dark platen, paper short of its edges"],
)
def test_edges_are_seen_to_a_tenth_of_a_millimetre_however_cards_lie(bench):
    found = beyond(shifted(bench))
    assert set(found) == {"left", "right", "front", "back"}
    for off in found.values():
        assert abs(off.mean()) < 0.1
        assert np.ptp(off) < 0.25  # a third of a pixel here


@pytest.mark.proof
def test_paper_that_hides_an_edge_is_not_taken_for_it():
    """Two millimetres short on the left, flush elsewhere: the rim is no platen's width away."""
    found = beyond(DarkBench(paper=(2.0, 0.0, 0.0, 0.0), ambient=0.4, seed=3))
    assert all(abs(off.mean()) < 0.25 for off in found.values())
    assert {"front", "back"} <= set(found)
