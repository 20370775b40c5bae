"""How much of a print has nearly the colour of the cloth it lies on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from overlay.colour.colorimetry import ciede2000, lab_from_linear, linear_from_srgb

HARDLY_SEEN = 10.0
"""CIEDE2000 difference below which ink is hardly told from the cloth at arm's length
(common practice, no source)."""

_SIDE = 200  # px: enough to count areas by


def share_like(art: NDArray[np.uint8], cloth: tuple[int, int, int]) -> float:
    """Return the share of the ink, 0 to 1, that differs from the cloth by less than `HARDLY_SEEN`.

    Parameters
    ----------
    art : ndarray, shape (h, w, 4), uint8
        RGBA with straight alpha.
    cloth : (red, green, blue)
        0 to 255.
    """
    step = max(1, max(art.shape[:2]) // _SIDE)
    small = art[::step, ::step].reshape(-1, 4)
    inked = small[small[:, 3] > 127, :3]
    if not len(inked):
        return 0.0
    labs = lab_from_linear(linear_from_srgb(np.vstack([inked, [cloth]])))
    return float(np.mean(ciede2000(labs[:-1], labs[-1]) < HARDLY_SEEN))
