"""Draft of a sleeve opened flat about its outer line."""

from __future__ import annotations

import numpy as np

from chalkbeam.garments.curves import band, bezier, box, mirrored
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Line
from chalkbeam.garments.schema import Style
from chalkbeam.garments.trims import SEAM_MARGIN


def sleeve_face(m: Measures, style: Style, name: str) -> Face:
    """Draft a sleeve: the cap above, the hem or cuff below, symmetric about the outer line.

    Parameters
    ----------
    m : Measures
        All measures of the cut "top".
    style : Style
    name : {"left_sleeve", "right_sleeve"}
        Both have the same outline; they differ in which side is the garment's front.
    """
    cap, length = m["sleeve_cap"], m["sleeve_length"]
    wide, end = m["sleeve_width"], m["sleeve_end_width"]
    crown = bezier((0.0, 0.0), (wide * 0.55, 0.0), (wide * 0.5, cap), (wide, cap))
    half = np.vstack([crown, [[end, length]]])
    outline = np.vstack([half, mirrored(half)[:-1]])
    seam = length - m["cuff_depth"]
    at_seam = float(np.interp(seam, [cap, length], [wide, end]))
    along = {
        "shoulder_seam": ZERO,
        "pit_line": m.at(sleeve_cap=1.0),
        "cuff": m.at(sleeve_length=1.0, cuff_depth=-1.0),
        "sleeve_hem": m.at(sleeve_length=1.0),
    }
    across = {"centre": ZERO, "sleeve_fold": ZERO}
    cap_line = np.vstack([mirrored(crown), crown[1:]])
    areas = (
        Area("shoulder seam", "seam", band(cap_line, SEAM_MARGIN, outline), True),
        Area("sleeve hem", "seam", box(-at_seam, seam - SEAM_MARGIN / 2, at_seam, length), True),
    )
    lines = (
        Line("cuff", "stitch", np.array([[-at_seam, seam], [at_seam, seam]])),
        Line("outer line", "fold", np.array([[0.0, 0.0], [0.0, length]])),
    )
    return Face(name, outline, along, across, areas, lines)
