"""Whether a photo is a single exposure, or stitched or edited so that each part looks right.

What one camera sees of one plane follows a few smooth laws: perspective, the camera's lens,
the projector's lens, a slight bow of the plane. If these leave residuals that neighbouring
corners share, and not just scatter, the photo is no single exposure.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from calibration.model import homography

MOST_UNEXPLAINED = 0.045
"""What the laws may leave beyond scatter, px for each 1000 px of the photo's longer side. Single
exposures leave less than 0.025, however wide their lens; a panorama whose seam is off by a pixel
leaves 0.06 or more, and a document scan by a wide lens as much (`benchmarks.bad_photos`)."""

_LEAST_CORNERS = 30
_TYPICAL = np.array([1.0, 1.0, 0.1, 0.05, 0.05, 0.5, 0.5, *[0.003] * 6])
"""Usual size of each law's terms: two radial ones of the camera's lens, one of the projector's,
the middles of both lenses, and the bow; lengths in half diagonals and half pictures."""

_PRIOR_WEIGHT = 0.02  # px: how much a term of its usual size weighs against the corners
_ROBUST_SCALE = 0.5  # px
_MARGIN = 3.0  # standard errors by which medians must differ


def unexplained_residual(pattern: Points, pixels: Points, size: tuple[int, int]) -> float:
    """Return what the laws of a single exposure leave beyond scatter, px per 1000 px of the photo.

    Neighbouring corners tell the scatter, since stitching or editing moves them alike. 0 where
    there are too few corners to tell.

    Parameters
    ----------
    pattern : ndarray, shape (N, 2)
        Projector px of the pattern's corners.
    pixels : ndarray, shape (N, 2)
        Where they are seen, photo px.
    size : tuple of int
        Width and height of the photo, px.
    """
    # Imported late: it takes longer than all the rest of the program's start.
    from scipy.optimize import least_squares
    from scipy.spatial import KDTree

    if len(pattern) < _LEAST_CORNERS:
        return 0.0
    half = float(np.hypot(*size)) / 2
    seen = (pixels - (np.array(size) - 1.0) / 2) / half
    places = (pattern - (pattern.min(axis=0) + pattern.max(axis=0)) / 2) / (
        np.ptp(pattern, axis=0).max() / 2
    )
    try:
        straight = homography.fit(places, seen)
    except homography.DegeneratePointsError:
        return 0.0
    start = (straight / straight[2, 2]).ravel()[:8]

    def misfit(terms: NDArray[np.float64]) -> NDArray[np.float64]:
        return (_view(places, terms) - seen) * half

    def with_priors(terms: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.append(misfit(terms).ravel(), _PRIOR_WEIGHT * terms[8:] / _TYPICAL)

    solved = least_squares(
        with_priors,
        np.append(start, np.zeros(len(_TYPICAL))),
        loss="soft_l1",
        f_scale=_ROBUST_SCALE,
        x_scale=np.append(np.abs(start) + 1e-6, _TYPICAL),
        max_nfev=60,
    )
    left = misfit(solved.x)
    _, nearest = KDTree(pattern).query(pattern, k=2)
    apart = left - left[nearest[:, 1]]
    total = float(np.median((left**2).sum(axis=1)))
    scatter = float(np.median((apart**2).sum(axis=1))) / 2
    scatter *= 1 + _MARGIN / np.sqrt(len(pattern))
    deviation = 1.2 * np.sqrt(max(0.0, total - scatter))  # of the median in two dimensions
    return float(deviation * 1000 / max(size))


def _view(places: Points, terms: NDArray[np.float64]) -> Points:
    """Return where a single exposure shows corners; laws: bow, two lenses, perspective."""
    first, second, third, *middles = terms[8:15]
    camera, projector = np.array(middles[:2]), np.array(middles[2:])
    x, y = places.T
    bowed = np.stack([x * x, x * y, y * y], axis=1) @ terms[15:].reshape(3, 2)
    off = places - projector
    distorted = places + bowed + third * off * (off * off).sum(axis=1, keepdims=True)
    flat = homography.apply(np.append(terms[:8], 1.0).reshape(3, 3), distorted)
    off = flat - camera
    radius = (off * off).sum(axis=1, keepdims=True)
    return np.asarray(flat + off * (first * radius + second * radius**2))
