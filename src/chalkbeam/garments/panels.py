"""Drafts of goods with one face that is no bag with handles; y = 0 is the face's upper edge."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from chalkbeam.garments.curves import band, bezier, box, circle, grown, mirrored
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Line
from chalkbeam.garments.trims import SEAM_MARGIN

EYELET = 7.0
"""Radius of an eyelet that a cord runs through, mm; from memory."""


def cinch_face(m: Measures) -> Face:
    """Draft the front of a bag that cords draw shut: a casing above, eyelets at the corners."""
    half, high, casing = m["panel_width"] / 2, m["panel_height"], m["casing_depth"]
    corner = (half - m["eyelet_inset"], high - m["eyelet_inset"])
    ring = circle(corner, EYELET)
    seam = box(half - 2 * SEAM_MARGIN, 0.0, half, high)
    cord = bezier(
        (half, 0.5 * casing), (half + 0.1 * high, 0.1 * high), (half + 0.06 * high, 0.9 * high),
        corner, 25,
    )  # fmt: skip
    along = {
        "top_edge": ZERO,
        "handle_stitching": m.at(casing_depth=1.0),
        "middle": m.at(panel_height=0.5),
        "hem": m.at(panel_height=1.0),
    }
    across = {
        "centre": ZERO,
        "left_side_seam": m.at(panel_width=0.5),
        "right_side_seam": m.at(panel_width=-0.5),
    }
    areas = (
        Area("casing", "seam", box(-half, 0.0, half, casing + SEAM_MARGIN), True),
        Area("left side seam", "seam", seam, True),
        Area("right side seam", "seam", mirrored(seam), True),
        Area("left eyelet", "button", grown(ring, SEAM_MARGIN), True),
        Area("right eyelet", "button", grown(mirrored(ring), SEAM_MARGIN), True),
        Area("bottom", "seam", box(-half, high - 2 * SEAM_MARGIN, half, high), True),
    )
    gathers = (
        Line("gather", "stitch", np.array([[x, 4.0], [x, casing - 4.0]]))
        for x in np.linspace(-half, half, 26)[1:-1]
    )
    lines = (
        Line("casing", "stitch", np.array([[-half, casing], [half, casing]])),
        *gathers,
        Line("cord", "edge", cord),
        Line("cord", "edge", mirrored(cord)),
        Line("eyelet", "edge", ring, closed=True, fill="metal"),
        Line("eyelet", "edge", mirrored(ring), closed=True, fill="metal"),
    )
    return Face("panel", box(-half, 0.0, half, high), along, across, areas, lines)


def apron_face(m: Measures) -> Face:
    """Draft an apron laid flat: a bib, curved sides, a skirt with pockets; straps go off it."""
    top, half, high = m["bib_width"] / 2, m["panel_width"] / 2, m["panel_height"]
    bib, hem = m["bib_depth"], m["hem_depth"]
    side = np.vstack(
        [
            bezier(
                (top, 0.0), (top, 0.55 * bib), (top + 0.25 * (half - top), bib), (half, bib), 17
            ),
            [[half, high]],
        ]
    )
    outline = np.vstack([side, mirrored(side)])
    m.check_outline("panel", outline)
    pocket = box(-m["pocket_width"] / 2, m["pocket_depth"], m["pocket_width"] / 2,
                 m["pocket_depth"] + m["pocket_height"])  # fmt: skip
    ring = np.vstack([pocket, pocket[:1]])
    along = {
        "top_edge": ZERO,
        "bib_top": m.at(hem_depth=1.0),
        "waist_line": m.at(bib_depth=1.0),
        "pocket_top": m.at(pocket_depth=1.0),
        "hem": m.at(panel_height=1.0),
    }
    across = {
        "centre": ZERO,
        "left_side_seam": m.at(bib_width=0.5),
        "right_side_seam": m.at(bib_width=-0.5),
    }
    strap = box(top - m["strap_width"] - 8.0, 0.0, top - 8.0, 2 * m["strap_width"])
    end, loop = top - 8.0 - m["strap_width"] / 2, -0.75 * bib
    neck = bezier((end, 0.0), (0.9 * top, loop), (-0.9 * top, loop), (-end, 0.0), 33)
    tie = np.array([[half, bib + 8.0], [half + 0.22 * high, bib + 0.16 * high]])
    areas = (
        Area("top hem", "seam", box(-top, 0.0, top, hem + SEAM_MARGIN), True),
        Area("left edge", "seam", band(side, hem / 2, outline), True),
        Area("right edge", "seam", band(mirrored(side), hem / 2, outline), True),
        Area("left strap", "handle", grown(strap, SEAM_MARGIN / 2), True),
        Area("right strap", "handle", grown(mirrored(strap), SEAM_MARGIN / 2), True),
        Area("bottom", "seam", box(-half, high - hem - SEAM_MARGIN, half, high), True),
        *(
            Area("pocket edge", "pocket_edge", band(ring[index : index + 2], SEAM_MARGIN), True)
            for index in range(4)
        ),
    )
    middle = np.array([[0.0, pocket[:, 1].min()], [0.0, pocket[:, 1].max()]])
    lines = (
        Line("neck strap", "edge", neck),
        Line("tie", "edge", tie),
        Line("tie", "edge", mirrored(tie)),
        Line("top hem", "stitch", np.array([[-top, hem], [top, hem]])),
        Line("hem seam", "stitch", np.array([[-half, high - hem], [half, high - hem]])),
        Line("strap end", "stitch", strap, closed=True),
        Line("strap end", "stitch", mirrored(strap), closed=True),
        Line("pocket", "edge", pocket, closed=True, fill="cloth"),
        Line("pocket divider", "stitch", middle),
    )
    return Face("panel", outline, along, across, areas, lines)


def cap_face(m: Measures) -> Face:
    """Draft the two front panels of a cap, pressed open over a curved pad and seen flat."""
    half, high = m["crown_width"] / 2, m["crown_height"]
    side = np.vstack(
        [
            bezier((0.0, 0.0), (0.45 * half, 0.0), (0.8 * half, 0.12 * high),
                   (0.9 * half, 0.42 * high), 17),
            bezier((0.9 * half, 0.42 * high), (0.97 * half, 0.65 * high), (half, 0.85 * high),
                   (half, high), 9)[1:],
        ]
    )  # fmt: skip
    outline = np.vstack([side, mirrored(side)[:-1]])
    m.check_outline("panel", outline)
    brim = np.vstack(
        [
            bezier((half, high), (0.95 * half, high + 1.3 * m["brim_depth"]),
                   (-0.95 * half, high + 1.3 * m["brim_depth"]), (-half, high), 33),
        ]
    )  # fmt: skip
    band_line = box(-half, high - m["sweatband"], half, high)
    along = {"top_edge": ZERO, "brim_seam": m.at(crown_height=1.0)}
    across = {
        "centre": ZERO,
        "left_side_seam": m.at(crown_width=0.5),
        "right_side_seam": m.at(crown_width=-0.5),
    }
    centre = np.array([[0.0, 0.0], [0.0, high]])
    eyelet = circle((0.55 * half, 0.3 * high), 4.0)
    areas = (
        Area("sweatband", "seam", band_line, True),
        Area("left panel seam", "seam", band(side, SEAM_MARGIN, outline), True),
        Area("right panel seam", "seam", band(mirrored(side), SEAM_MARGIN, outline), True),
        Area("left eyelet", "button", grown(eyelet, 3.0), True),
        Area("right eyelet", "button", grown(mirrored(eyelet), 3.0), True),
    )
    lines = (
        Line("brim", "edge", brim, closed=True, fill="cloth"),
        Line("centre seam", "seam", centre),
        Line("sweatband", "stitch", band_line[:2]),
        Line("eyelet", "edge", eyelet, closed=True, fill="inside"),
        Line("eyelet", "edge", mirrored(eyelet), closed=True, fill="inside"),
    )
    return Face("panel", outline, along, across, areas, lines)


PANELS: Mapping[str, Callable[[Measures], Face]] = {
    "cinch": cinch_face,
    "apron": apron_face,
    "cap": cap_face,
}
"""What drafts the one face of a cut."""
