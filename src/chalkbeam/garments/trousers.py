"""Draft of the front of one leg of trousers, laid with its side seam straight."""

from __future__ import annotations

import numpy as np

from chalkbeam.garments.curves import band, bezier, box
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Line
from chalkbeam.garments.schema import Style
from chalkbeam.garments.tops import RIB_GATHER
from chalkbeam.garments.trims import SEAM_MARGIN

SIDE_FOLD = 15.0
"""How far the ridge of the inner leg's fold reaches in, mm; common practice, no source."""

SIDE_SEAM = 10.0
"""How far the side seam with its stitching and pocket edge reaches in, mm; from memory."""


def check_leg(m: Measures) -> None:
    """Refuse measures that make no leg.

    Raises
    ------
    Refusal
        Naming the two measures that contradict each other.
    """
    m.check_smaller(("leg_end_width", "leg_width"), ("cuff_depth", "inseam"))


def leg_face(m: Measures, style: Style, name: str) -> Face:
    """Draft one leg's front, the waistband's gathers pressed out.

    Parameters
    ----------
    m : Measures
        All measures of the cut "trousers" (data/rules/trousers.toml names them).
    style : Style
        Its ends: a rib that gathers the leg, or a turned hem.
    name : {"left_leg", "right_leg"}
        The left leg lies at x < 0, the right one at x > 0.
    """
    side = -1.0 if name == "left_leg" else 1.0
    flip = (side, 1.0)
    rise, end = m["rise"], m["rise"] + m["inseam"]
    seam = end - m["cuff_depth"]
    wide, front, cuff = m["leg_width"], m["front_width"], m["leg_end_width"]
    rib_end = style.ends == "rib"
    at_seam = cuff * RIB_GATHER if rib_end else cuff
    # The centre front seam ends level at the fork, where the inner leg's begins upright: the four
    # seams that meet there so run on into one another.
    fork, long = wide - front, seam - rise
    crotch = np.vstack(
        [
            [[front, 0.0]],
            bezier(
                (front * 0.985, 0.5 * rise),
                (front * 0.98, 0.8 * rise),
                (front + 0.15 * fork, 0.985 * rise),
                (wide, rise),
            ),
        ]
    )
    inner = bezier(
        (wide, rise),
        (wide - 0.1 * fork, rise + 0.16 * long),
        (at_seam * (1.12 if rib_end else 1.0), rise + 0.55 * long),
        (at_seam, seam),
    )
    half = np.vstack([crotch, inner[1:], [[cuff, end]]])
    outline = np.vstack([half, [[0.0, end], [0.0, 0.0]]]) * flip
    m.check_outline(name, outline)
    rib = np.array([[0.0, seam], [at_seam, seam], [cuff, end], [0.0, end]]) * flip
    band_high = m["waistband_depth"]
    waist = box(0.0, -band_high, front * 0.985, 0.0) * flip
    slit = (m["pocket_depth"], m["pocket_depth"] + m["pocket_opening"])
    mouth = np.array([[0.0, slit[0]], [7.0, slit[0] + 8], [7.0, slit[1] - 8], [0.0, slit[1]]])
    along = {
        "waistband_top": m.at(waistband_depth=-1.0),
        "waistband": ZERO,
        "pocket_top": m.at(pocket_depth=1.0),
        "pocket_end": m.at(pocket_depth=1.0, pocket_opening=1.0),
        "crotch_line": m.at(rise=1.0),
        "cuff": m.at(rise=1.0, inseam=1.0, cuff_depth=-1.0),
        "hem": m.at(rise=1.0, inseam=1.0),
    }
    across = {
        "left_side_seam" if side < 0 else "right_side_seam": ZERO,
        "centre": m.at(leg_width=side / 2),
        "centre_front": m.at(front_width=side),
    }
    waist_line = np.array([[0.0, 0.0], [front, 0.0]]) * flip
    side_line = np.array([[0.0, 0.0], [0.0, end]])
    areas = (
        Area("waistband", "seam", band(waist_line, SEAM_MARGIN, outline), True),
        Area("side seam", "seam", band(side_line, SIDE_SEAM, outline), True),
        Area("centre front seam", "seam", band(crotch * flip, SEAM_MARGIN, outline), True),
        Area("inner leg", "side_fold", band(inner * flip, SIDE_FOLD, outline), False),
        Area("pocket", "pocket_edge", band(mouth * flip, SEAM_MARGIN, outline), True),
        Area("cuff" if rib_end else "hem", "seam", rib, True),
    )
    gathers = (
        Line("gather", "stitch", np.array([[x, -0.85 * band_high], [x, -0.15 * band_high]]) * flip)
        for x in np.linspace(0.0, front * 0.985, 14)[1:-1]
    )
    cord = bezier(
        (front * 0.97, -0.5 * band_high),
        (front * 0.9, 0.1 * band_high),
        (front * 0.98, 0.8 * band_high),
        (front * 0.92, 1.7 * band_high),
        9,
    )
    lines = (
        Line("waistband", "edge", waist, closed=True, fill="rib"),
        *gathers,
        Line("cord", "edge", cord * flip),
        Line("cuff", "edge", rib, closed=True, fill="rib")
        if rib_end
        else Line("hem seam", "stitch", rib[:2]),
        Line("pocket", "seam", mouth * flip),
    )
    return Face(name, outline, along, across, areas, lines)
