"""Does a photo hang together? Stitched and edited ones do not, though each part looks right.

What one camera sees of one plane follows a few smooth laws: perspective, the camera's lens,
the projector's lens, a slight bow of the plane. Where these leave more than scatter, so that
neighbouring corners miss alike, the photo is no single shot.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from calibration.model import homography

TORN = 0.045
"""What the laws may leave beyond scatter, px for each 1000 px of the photo's longer side. Single
shots leave less than 0.025, however wide their lens; a panorama whose seam is off by a pixel
leaves 0.06 or more, and a document scan by a wide lens as much (`benchmarks.bad_photos`)."""

_LEAST = 30
_FREEDOM = np.array([1.0, 1.0, 0.1, 0.05, 0.05, 0.5, 0.5, *[0.003] * 6])
"""Usual size of each law's terms: two radial ones of the camera's lens, one of the projector's,
the middles of both lenses, and the bow; lengths in half diagonals and half pictures."""

_FIRM = 0.02  # px: how much a term of its usual size weighs against the corners
_SOFT = 0.5  # px
_SURE = 3.0  # standard errors by which medians must differ


def unexplained(lit: Points, pixels: Points, size: tuple[int, int]) -> float:
    """Return what the laws of a single shot leave beyond scatter, px per 1000 px of the photo.

    Scatter is told by neighbouring corners, which a tear or a bend moves alike. 0 where there
    are too few corners to tell.

    Parameters
    ----------
    lit : ndarray, shape (N, 2)
        Projector px of the pattern's corners.
    pixels : ndarray, shape (N, 2)
        Where they are seen, photo px.
    size : tuple of int
        Width and height of the photo, px.
    """
    # Imported late: it takes longer than all the rest of the program's start.
    from scipy.optimize import least_squares
    from scipy.spatial import KDTree

    if len(lit) < _LEAST:
        return 0.0
    half = float(np.hypot(*size)) / 2
    seen = (pixels - (np.array(size) - 1.0) / 2) / half
    places = (lit - (lit.min(axis=0) + lit.max(axis=0)) / 2) / (np.ptp(lit, axis=0).max() / 2)
    try:
        straight = homography.fit(places, seen)
    except homography.DegeneratePointsError:
        return 0.0
    start = (straight / straight[2, 2]).ravel()[:8]

    def misfit(terms: NDArray[np.float64]) -> NDArray[np.float64]:
        return (_view(places, terms) - seen) * half

    def weighed(terms: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.append(misfit(terms).ravel(), _FIRM * terms[8:] / _FREEDOM)

    solved = least_squares(
        weighed,
        np.append(start, np.zeros(len(_FREEDOM))),
        loss="soft_l1",
        f_scale=_SOFT,
        x_scale=np.append(np.abs(start) + 1e-6, _FREEDOM),
        max_nfev=60,
    )
    left = misfit(solved.x)
    _, nearest = KDTree(lit).query(lit, k=2)
    apart = left - left[nearest[:, 1]]
    all_of_it = float(np.median((left**2).sum(axis=1)))
    scatter = float(np.median((apart**2).sum(axis=1))) / 2
    scatter *= 1 + _SURE / np.sqrt(len(lit))
    deviation = 1.2 * np.sqrt(max(0.0, all_of_it - scatter))  # of the median in two dimensions
    return float(deviation * 1000 / max(size))


def _view(places: Points, terms: NDArray[np.float64]) -> Points:
    """Return where a single shot shows corners: bow, projector lens, perspective, camera lens."""
    first, second, thrown, *middles = terms[8:15]
    camera, projector = np.array(middles[:2]), np.array(middles[2:])
    x, y = places.T
    bowed = np.stack([x * x, x * y, y * y], axis=1) @ terms[15:].reshape(3, 2)
    off = places - projector
    bent = places + bowed + thrown * off * (off * off).sum(axis=1, keepdims=True)
    flat = homography.apply(np.append(terms[:8], 1.0).reshape(3, 3), bent)
    off = flat - camera
    radius = (off * off).sum(axis=1, keepdims=True)
    return np.asarray(flat + off * (first * radius + second * radius**2))
