"""Draft of a hood folded flat along its middle: one of its two sides."""

from __future__ import annotations

import numpy as np

from calibration.geometry import Points
from chalkbeam.garments.curves import band, bezier, circle, mirrored
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Line
from chalkbeam.garments.trims import SEAM_MARGIN

DEEP = 0.85
"""How deep a folded hood is from its opening to its back, of its width from before; from memory."""
EYELET = 8.0
"""Radius of a cord's eyelet with its ring, mm; from memory."""


def hood_face(m: Measures, name: str) -> Face:
    """Draft one side of a hood; y = 0 is its top, and the neck seam its lower end.

    Parameters
    ----------
    m : Measures
        All measures of the cut "top", with a hood's.
    name : {"left_hood", "right_hood"}
        The wearer's. Looked at from outside, the left one has its opening on the left.
    """
    half, high, hem = DEEP * m["hood_width"] / 2, m["hood_height"], m["hood_hem"]
    front = np.array([[-half, high], [-half, 0.1 * high]])
    crown = bezier((-half, 0.1 * high), (-0.8 * half, 0.03 * high), (-0.4 * half, 0.0),
                   (0.1 * half, 0.0))  # fmt: skip
    back = bezier((0.1 * half, 0.0), (0.8 * half, 0.0), (half, 0.2 * high), (half, 0.45 * high))
    nape = bezier((half, 0.45 * high), (half, 0.75 * high), (0.75 * half, 0.9 * high),
                  (0.72 * half, high))  # fmt: skip
    outline = np.vstack([front, crown[1:], back[1:], nape[1:]])
    turn = 1.0 if name == "left_hood" else -1.0
    shape = outline if turn > 0 else mirrored(outline)
    m.check_outline(name, shape)

    def placed(points: Points) -> Points:
        return points if turn > 0 else mirrored(points)

    opening = band(front, hem + SEAM_MARGIN / 2, outline)
    seam = np.vstack([crown, back[1:], nape[1:]])
    middle = band(seam, 2 * SEAM_MARGIN, outline)
    neck = band(np.array([[-half, high], [0.72 * half, high]]), 2 * SEAM_MARGIN, outline)
    eyelet = circle((-half + hem / 2, 0.85 * high), EYELET)
    across = {
        "centre": ZERO,
        "hood_opening": m.at(hood_width=-turn * DEEP / 2),
        "hood_back": m.at(hood_width=turn * DEEP / 2),
    }
    along = {
        "hood_top": ZERO,
        "hood_middle": m.at(hood_height=0.55),
        "neck_join": m.at(hood_height=1.0),
    }
    areas = (
        Area("hood hem", "seam", placed(opening), True),
        Area("hood seam", "seam", placed(middle), True),
        Area("neck seam", "seam", placed(neck), True),
        Area("eyelet", "button", placed(eyelet), True),
    )
    lines = (
        Line("hood hem", "stitch", placed(opening), closed=True),
        Line("hood seam", "seam", placed(seam)),
        Line("eyelet", "edge", placed(eyelet), closed=True),
    )
    return Face(name, shape, along, across, areas, lines)
