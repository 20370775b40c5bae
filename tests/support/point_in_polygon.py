"""Point in polygon by the crossing number, written for the tests alone."""

from __future__ import annotations

import numpy as np


def inside(points, polygon):
    """Which of points (N, 2) lie in a polygon (K, 2): odd number of edges to the right."""
    x, y = np.asarray(points).T
    odd = np.zeros(len(x), dtype=bool)
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        crosses = (y0 > y) != (y1 > y)
        at = x0 + (y - y0) * (x1 - x0) / (y1 - y0)
        odd ^= crosses & (x < at)
    return odd
