"""Draft of a sleeve opened flat about its outer line."""

from __future__ import annotations

import numpy as np

from calibration.geometry import Points
from chalkbeam.garments.curves import band, bezier, mirrored
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Line
from chalkbeam.garments.schema import Style
from chalkbeam.garments.tops import RIB_GATHER
from chalkbeam.garments.trims import SEAM_MARGIN


def sleeve_face(m: Measures, style: Style, name: str) -> Face:
    """Draft a sleeve: the cap above, the hem or cuff below, symmetric about the outer line.

    A raglan sleeve goes on up to the neck, where it is a third of the neck's front or back
    wide. It has no shoulder seam: depths count from the shoulder's tip all the same.

    Parameters
    ----------
    m : Measures
        All measures of the cut "top".
    style : Style
    name : {"left_sleeve", "right_sleeve"}
        Both have the same outline; they differ in which side is the garment's front.
    """
    m.check_smaller(("sleeve_cap", "sleeve_length"), ("cuff_depth", "sleeve_length"))
    cap, length = m["sleeve_cap"], m["sleeve_length"]
    wide, end = m["sleeve_width"], m["sleeve_end_width"]
    seam = length - m["cuff_depth"]
    rib = style.ends == "rib"
    at_seam = end * RIB_GATHER if rib else float(np.interp(seam, [cap, length], [wide, end]))
    crown = bezier((0.0, 0.0), (wide * 0.55, 0.0), (wide * 0.5, cap), (wide, cap))
    if style.armhole == "raglan":
        crown = _raglan_crown(m)
    half = np.vstack([crown, [[at_seam, seam], [end, length]]])
    outline = np.vstack([half, mirrored(half)[:-1]])
    m.check_outline(name, outline)
    hem = np.array([[-at_seam, seam], [at_seam, seam], [end, length], [-end, length]])
    along = {
        "shoulder_seam": ZERO,
        "pit_line": m.at(sleeve_cap=1.0),
        "hem_seam": m.at(sleeve_length=1.0, cuff_depth=-1.0),
        "sleeve_hem": m.at(sleeve_length=1.0),
    }
    if style.sleeve != "short":  # a short sleeve ends in a hem; only one on the arm has a cuff
        along["cuff"] = along["hem_seam"]
    across = {
        "centre": ZERO,
        "sleeve_fold": ZERO,
        "front_edge": m.at(sleeve_width=-1.0 if name == "left_sleeve" else 1.0),
        "back_edge": m.at(sleeve_width=1.0 if name == "left_sleeve" else -1.0),
    }
    cap_line = np.vstack([mirrored(crown), crown[1:]])
    areas = [Area("sleeve hem", "seam", hem - (0.0, SEAM_MARGIN / 2), True)]
    lines = [
        Line("outer line", "fold", np.array([[0.0, 0.0], [0.0, length]])),
        Line("cuff", "seam", hem, closed=True, fill="rib")
        if rib
        else Line("cuff", "stitch", hem[:2]),
    ]
    of = "shoulder seam" if style.armhole == "set_in" else "raglan seam"
    areas.insert(0, Area(of, "seam", band(cap_line, SEAM_MARGIN, outline), True))
    return Face(name, outline, along, across, tuple(areas), tuple(lines))


def _raglan_crown(m: Measures) -> Points:
    """Return the upper edge of a raglan sleeve at x > 0: from the neck's fold to the pit."""
    cap, wide = m["sleeve_cap"], m["sleeve_width"]
    reach = (m["shoulder_width"] - m["neck_width"]) / 2
    top = -float(np.hypot(reach, m["shoulder_drop"]))
    neck = m["neck_width"] / 6
    seam = bezier((neck, top), (1.15 * neck, 0.35 * top), (0.62 * wide, 0.35 * cap), (wide, cap))
    return np.vstack([[[0.0, top]], seam])
