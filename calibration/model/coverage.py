"""Whether the projector's picture covers the platen.

It should, with a little to spare. Where it does not, a part of the platen can never be lit;
more often the pattern was shown in a window. Nothing else shows that: the photos then fit
a projector with a smaller picture just as well.
"""

from __future__ import annotations

import numpy as np

from calibration.geometry import XY, PlatenFace
from calibration.model.projector import ProjectorMap
from calibration.model.uncertainty import over_platen, place_in_words
from calibration.refusal import Refusal, Remedy, RemedyKind

MOST_UNLIT = 0.005
"""Share of the platen that may lie outside the picture: a rounded corner has no cloth to light."""


def unlit(projector: ProjectorMap, face: PlatenFace) -> tuple[float, XY]:
    """Return the share of the bare platen that the picture does not reach, and its farthest point.

    Parameters
    ----------
    projector : ProjectorMap
    face : PlatenFace

    Returns
    -------
    share : float
        From 0 to 1.
    point : (x, y)
        The point that is farthest outside the picture (or nearest its edge), platen frame, mm.
    """
    points = over_platen(face)
    pixels = projector.projector_from_platen(points)
    beyond = np.abs(pixels - (np.array(projector.size) - 1) / 2) - np.array(projector.size) / 2
    x, y = points[int(np.argmax(beyond.max(axis=1)))]
    return float(np.mean(~projector.in_picture(pixels))), (float(x), float(y))


def check_covered(projector: ProjectorMap, face: PlatenFace) -> None:
    """Refuse a picture that ends on the platen.

    Raises
    ------
    Refusal
        If more than `MOST_UNLIT` of the platen lies outside the picture.
    """
    share, point = unlit(projector, face)
    if share > MOST_UNLIT:
        raise Refusal(
            f"The picture ends on the platen: {100 * share:.0f} % of it, most of all "
            f"{place_in_words(point, face)}, gets no light: show the pattern full screen, not in a "
            "window, let the picture cover the whole platen, and ",
            Remedy(RemedyKind.ALL_AGAIN, "take the photos again"),
            "; if only a part can be lit, ",
            Remedy(RemedyKind.PART_LIT, "say so"),
            ".",
        )
