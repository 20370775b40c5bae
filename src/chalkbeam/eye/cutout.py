"""Cut the cloth out of a measured surface: what was not there on the empty platen."""

from __future__ import annotations

import numpy as np

from calibration.geometry import PlatenFace, Points
from chalkbeam.eye.unroll import height_grid

CHANGED = 4.0
"""Beside the platen, what rises less over the remembered surface is press or bench, mm."""


def cloth_points(surface: Points, bare: Points, platen: PlatenFace) -> Points:
    """Return the points of a surface that lie on cloth.

    On the platen all do; beside it those that stand clear of what was there without cloth.
    Without a remembered surface all are kept.

    Parameters
    ----------
    surface, bare : ndarray, shape (N, 3), platen frame, mm
        Measured with the garment, and on the empty platen.
    platen : PlatenFace
    """
    points = np.asarray(surface, np.float64).reshape(-1, 3)
    if len(bare) == 0 or len(points) == 0:
        return points
    before = height_grid(bare, platen, 0.0)
    x, y = (points[:, k].astype(np.float32)[:, None] for k in (0, 1))
    rise = points[:, 2] - before.at(x, y).ravel()
    unknown = ~before.known_at(x, y).ravel()
    on = (np.abs(points[:, 0]) < platen.width / 2) & (np.abs(points[:, 1]) < platen.depth / 2)
    return points[on | unknown | (rise > CHANGED)]
