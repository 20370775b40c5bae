"""A projector that crosses are moved under, and how far a rig's light then misses."""

import numpy as np

from calibration.geometry import PlatenFace
from tests.support.oblique_projector import oblique_map

FACE = PlatenFace(406.0, 508.0, 15.0)
SIZE = (1280, 720)


def projector(roll=0.05, **options):
    """Return the true map of a projector of `SIZE` px over `FACE`."""
    usual = {"tilt": 0.55, "turn": 0.15, "distance": 1200, "throw": 1.2, "k1": -0.02}
    return oblique_map(SIZE, roll=roll, **{**usual, **options})


def largest_miss(true, found):
    """Return the largest distance between meant and actual light over the platen, mm."""
    x, y = np.meshgrid(np.linspace(-203, 203, 15), np.linspace(-254, 254, 15))
    grid = np.column_stack([x.ravel(), y.ravel()])
    back = true.platen_from_projector(found.projector_from_platen(grid))
    return np.hypot(*(back - grid).T).max()
