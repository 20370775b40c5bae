"""Draft of a bag's panel."""

from __future__ import annotations

import numpy as np

from calibration.refusal import Refusal
from chalkbeam.garments.curves import bezier, box, grown, mirrored
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Line
from chalkbeam.garments.trims import SEAM_MARGIN


def panel_face(m: Measures) -> Face:
    """Draft the front panel of a bag with two handles; y = 0 is its upper edge.

    Parameters
    ----------
    m : Measures
        All measures of the cut "bag" (data/rules/bag.toml names them).

    Raises
    ------
    Refusal
        If the handles do not fit on the panel.
    """
    half, high = m["panel_width"] / 2, m["panel_height"]
    stitched, middle, band_half = (
        m["handle_stitching"],
        m["handle_spacing"] / 2,
        m["handle_width"] / 2,
    )
    if middle + band_half >= half or stitched >= high:
        raise Refusal(
            f"{m.label}: the handles do not fit on a panel of {2 * half:.0f} x {high:.0f} mm; "
            "measure panel and handles again."
        )
    outer_x, inner_x, rise = middle + band_half, middle - band_half, m["handle_rise"]
    outer = bezier(
        (outer_x, 0.0), (outer_x, -1.33 * rise), (-outer_x, -1.33 * rise), (-outer_x, 0.0), 33
    )
    low = rise - 2 * band_half
    inner = bezier(
        (-inner_x, 0.0), (-inner_x, -1.33 * low), (inner_x, -1.33 * low), (inner_x, 0.0), 33
    )
    patch = box(inner_x, 0.0, outer_x, stitched)
    side = np.array([[half, 0.0], [half, high]])
    along = {
        "top_edge": ZERO,
        "top_hem": m.at(top_hem=1.0),
        "handle_stitching": m.at(handle_stitching=1.0),
        "middle": m.at(panel_height=0.5),
        "hem": m.at(panel_height=1.0),
    }
    across = {
        "centre": ZERO,
        "left_side_seam": m.at(panel_width=0.5),
        "right_side_seam": m.at(panel_width=-0.5),
    }
    seam = box(half - 2 * SEAM_MARGIN, 0.0, half, high)
    areas = (
        Area("top hem", "seam", box(-half, 0.0, half, m["top_hem"] + SEAM_MARGIN / 2), True),
        Area("left handle", "handle", grown(patch, SEAM_MARGIN), True),
        Area("right handle", "handle", grown(mirrored(patch), SEAM_MARGIN), True),
        Area("left side seam", "seam", seam, True),
        Area("right side seam", "seam", mirrored(seam), True),
        Area("bottom", "seam", box(-half, high - 2 * SEAM_MARGIN, half, high), True),
    )
    lines = (
        Line("handle", "edge", np.vstack([outer, inner]), closed=True, fill="rib"),
        Line("top hem", "stitch", np.array([[-half, m["top_hem"]], [half, m["top_hem"]]])),
        Line("handle end", "stitch", patch, closed=True),
        Line("handle end", "stitch", mirrored(patch), closed=True),
        Line("side", "fold", side - (8.0, 0.0)),
        Line("side", "fold", mirrored(side - (8.0, 0.0))),
    )
    return Face("panel", box(-half, 0.0, half, high), along, across, areas, lines)
