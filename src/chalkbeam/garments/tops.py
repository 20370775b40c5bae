"""Draft of a top's front and back: outline, landmarks, stay-clear areas, lines to draw."""

from __future__ import annotations

import math

import numpy as np

from calibration.geometry import XY, Points
from calibration.refusal import Refusal
from chalkbeam.garments.curves import band, bezier, box, mirrored, through
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Landmark, Line
from chalkbeam.garments.schema import Style
from chalkbeam.garments.trims import SEAM_MARGIN, neck_curve, rib_collar

SIDE_FOLD = 15.0
"""How far the ridge of a pressed side fold reaches in, mm; common practice, no source."""

SLEEVE_HANG = {"short": math.radians(40), "long": math.radians(62)}
"""How far below the horizontal a sleeve points on a top laid flat; from memory."""


def check_top(m: Measures) -> None:
    """Refuse measures that make no garment.

    Raises
    ------
    Refusal
        Naming the two measures that contradict each other.
    """
    for smaller, larger in (
        ("neck_width", "shoulder_width"),
        ("shoulder_drop", "pit_depth"),
        ("front_neck_drop", "pit_depth"),
        ("back_neck_drop", "front_neck_drop"),
        ("pit_depth", "body_length"),
    ):
        if m[smaller] >= m[larger]:
            small, large = smaller.replace("_", " "), larger.replace("_", " ")
            raise Refusal(
                f"{m.label}: the {small} ({m[smaller]:.0f} mm) is not smaller than "
                f"the {large} ({m[larger]:.0f} mm); measure both again."
            )


def _armhole(tip: XY, pit: XY) -> Points:
    """Return the armhole seam of a set-in sleeve at x > 0, from shoulder tip to pit."""
    drop = pit[1] - tip[1]
    inner = min(tip[0], pit[0]) - 0.05 * drop
    return bezier(tip, (inner, tip[1] + 0.45 * drop), (inner, tip[1] + 0.9 * drop), pit)


def _sleeve(m: Measures, style: Style, tip: XY, pit: XY) -> tuple[Line, ...]:
    """Return the lines of the sleeve as it lies beside the panel, at x > 0."""
    hang = SLEEVE_HANG[style.sleeve]
    along = np.array([math.cos(hang), math.sin(hang)])
    inward = np.array([-along[1], along[0]])
    end = np.array(tip) + along * m["sleeve_length"]
    under = end + inward * m["sleeve_end_width"]
    back = along * m["cuff_depth"]
    bulge = (np.array(tip) + end) / 2 - inward * 4
    outer = through(tip, (float(bulge[0]), float(bulge[1])), (float(end[0]), float(end[1])))
    return (
        Line("sleeve", "edge", np.vstack([outer, [under], [pit]])),
        Line("cuff", "stitch", np.vstack([end - back, under - back])),
    )


def top_face(m: Measures, style: Style, name: str) -> Face:
    """Draft the front or the back of a top.

    Parameters
    ----------
    m : Measures
        All measures of the cut "top" (data/rules/top.toml names them).
    style : Style
    name : {"front", "back"}
    """
    drop_name = "front_neck_drop" if name == "front" else "back_neck_drop"
    drop = m[drop_name]

    def below_shoulder(**weights: float) -> Landmark:
        return m.at(**weights, **{drop_name: -1.0})

    neck = neck_curve(m, style, name)
    neck_point = (m["neck_width"] / 2, -drop)
    tip = (m["shoulder_width"] / 2, m["shoulder_drop"] - drop)
    pit = (m["half_chest"] / 2, m["pit_depth"] - drop)
    hem_y = m["body_length"] - drop
    hem = (m["hem_width"] / 2, hem_y)
    waist = (m["waist_width"] / 2, (pit[1] + hem_y) / 2)
    armhole = _armhole(tip, pit)
    side = through(pit, waist, hem)
    half = np.vstack([armhole, side[1:]])
    outline = np.vstack([half, mirrored(half), neck[::-1]])

    left = 1.0 if name == "front" else -1.0
    across = {
        "centre": ZERO,
        "left_neck_point": m.at(neck_width=left / 2),
        "right_neck_point": m.at(neck_width=-left / 2),
        "left_shoulder_tip": m.at(shoulder_width=left / 2),
        "right_shoulder_tip": m.at(shoulder_width=-left / 2),
        "left_side_seam": m.at(half_chest=left / 2),
        "right_side_seam": m.at(half_chest=-left / 2),
    }
    along = {
        "shoulder_top": below_shoulder(),
        "neck_seam": ZERO,
        "shoulder_tip": below_shoulder(shoulder_drop=1.0),
        "pit_line": below_shoulder(pit_depth=1.0),
        "hem_seam": below_shoulder(body_length=1.0, hem_depth=-1.0),
        "hem": below_shoulder(body_length=1.0),
    }
    shoulder = np.array([neck_point, tip])
    hem_seam = hem_y - m["hem_depth"]
    areas = [
        Area("hem", "seam", box(-hem[0], hem_seam - SEAM_MARGIN / 2, hem[0], hem_y), True),
    ]
    lines = [
        Line("hem seam", "stitch", np.array([[hem[0], hem_seam], [-hem[0], hem_seam]])),
    ]
    for of, line, kind, margin in (
        ("shoulder seam", shoulder, "seam", SEAM_MARGIN),
        ("armhole seam", armhole, "seam", SEAM_MARGIN),
        ("side", side, "side_fold", SIDE_FOLD),
    ):
        shape = band(line, margin, outline)
        for which, polygon in (("left", shape), ("right", mirrored(shape))):
            if name == "back":
                which = "right" if which == "left" else "left"
            hard = kind == "seam"
            areas.append(Area(f"{which} {of}", "seam" if hard else "side_fold", polygon, hard))
        if kind == "seam":
            lines += [Line(of, "seam", line), Line(of, "seam", mirrored(line))]
    if style.sleeve != "none":
        for piece in _sleeve(m, style, tip, pit):
            lines += [piece, Line(piece.name, piece.kind, mirrored(piece.points))]
    trims = [rib_collar(m, style, name)]
    for trim in trims:
        areas += trim.areas
        lines += trim.lines
        along |= trim.along
        across |= trim.across
    return Face(name, outline, along, across, tuple(areas), tuple(lines))
