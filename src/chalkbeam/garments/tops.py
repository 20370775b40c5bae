"""Draft of a top's front and back: outline, landmarks, stay-clear areas, lines to draw."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from calibration.geometry import XY, Points, as_points
from chalkbeam.garments.collars import collar, neck_curve, neck_drop
from chalkbeam.garments.curves import band, bezier, box, circle, mirrored, through
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Face, Landmark, Line
from chalkbeam.garments.schema import Style
from chalkbeam.garments.trims import (
    SEAM_MARGIN,
    Trim,
    button_front,
    placket,
    pocket,
    slash_pockets,
    zip_front,
)

SIDE_FOLD = 15.0
"""How far the ridge of a pressed side fold reaches in, mm; common practice, no source."""

RIB_GATHER = 1.08
"""How much wider the cloth is than the rib it is gathered into; from memory."""

SLEEVE_HANG = {
    "short": math.radians(40),
    "three_quarter": math.radians(60),
    "long": math.radians(66),
}
"""How far below the horizontal a sleeve points on a top laid flat; from memory."""

SNAP_RADIUS = 4.5
"""Of an infant's press stud, mm; from memory."""

Side = Literal["front", "back"]


def check_top(m: Measures) -> None:
    """Refuse measures that make no garment.

    Raises
    ------
    Refusal
        Naming the two measures that contradict each other.
    """
    m.check_smaller(
        ("neck_width", "shoulder_width"),
        ("shoulder_drop", "pit_depth"),
        ("front_neck_drop", "pit_depth"),
        ("back_neck_drop", "front_neck_drop"),
        ("pit_depth", "body_length"),
    )


def _xy(point: Points) -> XY:
    return float(point[0]), float(point[1])


def _armhole(tip: XY, pit: XY) -> Points:
    """Return the armhole at x > 0, from shoulder tip to pit."""
    drop = pit[1] - tip[1]
    inner = min(tip[0], pit[0]) - 0.05 * drop
    return bezier(tip, (inner, tip[1] + 0.45 * drop), (inner, tip[1] + 0.9 * drop), pit)


def _side(m: Measures, style: Style, pit: XY, hem_y: float) -> Points:
    """Return the side seam at x > 0, from pit to hem."""
    half, waist = m["hem_width"] / 2, m["waist_width"] / 2
    if style.ends == "snaps":
        return _leg_opening(m, pit, hem_y)
    middle = (waist, (pit[1] + hem_y) / 2)
    if style.ends == "turned":
        return through(pit, middle, (half, hem_y))
    seam = hem_y - m["hem_depth"]
    body = bezier(
        pit,
        (pit[0], pit[1] * 0.5 + seam * 0.5),
        (half * RIB_GATHER * 1.05, pit[1] * 0.1 + seam * 0.9),
        (half * RIB_GATHER, seam),
    )
    return np.vstack([body, [[half, hem_y]]])


def _leg_opening(m: Measures, pit: XY, hem_y: float) -> Points:
    """Return the side of a bodysuit at x > 0: the seam down to the leg, then its opening."""
    half, crotch = m["hem_width"] / 2, m["crotch_width"] / 2
    top = hem_y - m["leg_height"]
    return np.vstack(
        [
            through(pit, ((pit[0] + half) / 2, (pit[1] + top) / 2), (half, top)),
            bezier(
                (half, top),
                (half - 0.35 * (half - crotch), top + 0.3 * m["leg_height"]),
                (crotch + 0.06 * half, top + 0.55 * m["leg_height"]),
                (crotch, hem_y - m["hem_depth"]),
                13,
            )[1:],
            [[crotch, hem_y]],
        ]
    )


def _hang(m: Measures, style: Style, tip: Points, pit: Points) -> float:
    """Return the sleeve's angle below the horizontal, raised until it lies beside the panel."""
    hang = SLEEVE_HANG[style.sleeve]
    while hang > 0:
        clear = m["sleeve_length"] - 2 * m["cuff_depth"]
        inner = tip[0] + math.cos(hang) * clear - math.sin(hang) * m["sleeve_end_width"]
        if inner > pit[0]:
            break
        hang -= math.radians(1)
    return hang


def _sleeve(m: Measures, style: Style, armhole: Points, top: Points) -> tuple[Line, ...]:
    """Return the sleeve as it lies beside the panel, at x > 0.

    `armhole` is the seam that joins it to the panel, from top to pit; `top` the
    points of its upper edge before the shoulder tip (empty for a set-in sleeve).
    """
    tip, pit = (top[-1] if len(top) else armhole[0]), armhole[-1]
    hang = _hang(m, style, tip, pit)
    along = np.array([math.cos(hang), math.sin(hang)])
    inward = np.array([-along[1], along[0]])
    end = tip + along * m["sleeve_length"]
    under = end + inward * m["sleeve_end_width"]
    up = -along * m["cuff_depth"]
    spread = (RIB_GATHER - 1) * m["sleeve_end_width"] if style.ends == "rib" else 0.0
    seam_out, seam_in = end + up - inward * spread / 2, under + up + inward * spread / 2
    belly = (tip + seam_out) / 2 - inward * 0.03 * m["sleeve_length"]
    outer = through(_xy(tip), _xy(belly), _xy(seam_out))
    inner = bezier(
        _xy(seam_in), _xy(seam_in * 0.7 + pit * 0.3), _xy(seam_in * 0.3 + pit * 0.7), _xy(pit), 7
    )
    shape = np.vstack([top[:-1], outer, [end, under], inner, armhole[::-1][1:]])
    rib = style.ends == "rib"
    cuff = np.array([seam_out, end, under, seam_in])
    sleeve = (
        Line("raglan sleeve", "edge", shape, closed=True, fill="rib")
        if style.armhole == "raglan"
        else Line("sleeve", "edge", shape, closed=True, fill="cloth")
    )
    return (
        sleeve,
        Line("cuff", "seam", cuff, closed=True, fill="rib")
        if rib
        else Line("cuff", "stitch", cuff[[0, 3]]),
    )


def _trims(m: Measures, style: Style, name: Side) -> list[Trim]:
    trims = [collar(m, style, name)]
    if name == "front":
        drop = m["front_neck_drop"]
        if style.opening in ("zip", "quarter_zip"):
            trims.append(zip_front(m, style, drop))
        if style.opening == "buttons":
            trims.insert(0, button_front(m, style, drop))
        if style.opening == "placket":
            trims.insert(0, placket(m, style))
        if style.pocket == "slash":
            trims.append(slash_pockets(m, drop))
        elif style.pocket != "none":
            trims.append(pocket(m, style, drop))
    elif style.yoke:
        trims.append(_yoke(m))
    return trims


def _yoke(m: Measures) -> Trim:
    """Return the seam across a back, from armhole to armhole, below the shoulders."""
    down = m["yoke_depth"] - m["back_neck_drop"]
    half = 0.47 * m["shoulder_width"]
    seam = np.array([[-half, down], [half, down]])
    return Trim(
        (
            Area(
                "yoke seam", "seam", box(-half, down - SEAM_MARGIN, half, down + SEAM_MARGIN), True
            ),
        ),
        (Line("yoke seam", "seam", seam),),
        {"yoke_seam": m.at(yoke_depth=1.0, back_neck_drop=-1.0)},
    )


def _landmarks(m: Measures, name: Side) -> tuple[dict[str, Landmark], dict[str, Landmark]]:
    drop = neck_drop(name)
    left = 1.0 if name == "front" else -1.0

    def below_shoulder(**weights: float) -> Landmark:
        return m.at(**weights, **{drop: -1.0})

    along = {
        "shoulder_top": below_shoulder(),
        "shoulder_tip": below_shoulder(shoulder_drop=1.0),
        "neck_seam": ZERO,
        "pit_line": below_shoulder(pit_depth=1.0),
        "hem_seam": below_shoulder(body_length=1.0, hem_depth=-1.0),
        "hem": below_shoulder(body_length=1.0),
    }
    across = {
        "centre": ZERO,
        "left_neck_point": m.at(neck_width=left / 2),
        "right_neck_point": m.at(neck_width=-left / 2),
        "left_shoulder_tip": m.at(shoulder_width=left / 2),
        "right_shoulder_tip": m.at(shoulder_width=-left / 2),
        "left_side_seam": m.at(half_chest=left / 2),
        "right_side_seam": m.at(half_chest=-left / 2),
    }
    return along, across


def _raglan(m: Measures, neck: Points, pit: XY) -> Points:
    """Return the raglan seam at x > 0: from the neck seam, a third of the way round, to the pit."""
    start = neck[len(neck) // 6]
    bend = start * 0.5 + np.array(pit) * 0.5 - (0.06 * m["pit_depth"], -0.03 * m["pit_depth"])
    return through(_xy(start), _xy(bend), pit)


def top_face(m: Measures, style: Style, name: Side) -> Face:
    """Draft the front or the back of a top.

    Parameters
    ----------
    m : Measures
        All measures of the cut "top" (data/rules/top.toml names them).
    style : Style
    name : {"front", "back"}
    """
    drop = m[neck_drop(name)]
    neck = neck_curve(m, style, name)
    neck_point = np.array([m["neck_width"] / 2, -drop])
    tip = (m["shoulder_width"] / 2, m["shoulder_drop"] - drop)
    pit = (m["half_chest"] / 2, m["pit_depth"] - drop)
    hem_y = m["body_length"] - drop
    armhole, side = _armhole(tip, pit), _side(m, style, pit, hem_y)
    half = np.vstack([armhole, side[1:]])
    outline = np.vstack([half, mirrored(half), neck[::-1]])
    m.check_outline(name, outline)
    raglan = style.armhole == "raglan"
    shoulder = np.vstack([neck_point, tip])
    seams = (
        {"raglan seam": _raglan(m, neck, pit)}
        if raglan
        else {"shoulder seam": shoulder, "armhole seam": armhole}
    )
    # Where there is no sleeve a binding as wide as the neck's is folded over the armhole.
    binding = m["collar_height"] if style.sleeve == "none" else 0.0
    bands = {of: (line, SEAM_MARGIN, True) for of, line in seams.items()}
    if binding:
        bands["armhole seam"] = (armhole, binding + SEAM_MARGIN / 2, True)
    bands["side"] = (side, SIDE_FOLD, False)

    seam_y = hem_y - m["hem_depth"]
    seam_half = float(np.interp(seam_y, side[:, 1], side[:, 0]))
    low = float(side[-1, 0])
    hem = np.array([[-seam_half, seam_y], [seam_half, seam_y], [low, hem_y], [-low, hem_y]])
    areas = [Area("hem", "seam", hem - (0.0, SEAM_MARGIN / 2), True)]
    lines: list[Line] = []
    sides = ("left", "right") if name == "front" else ("right", "left")
    for of, (line, margin, hard) in bands.items():
        shape = band(line, margin, outline)
        for which, polygon in zip(sides, (shape, mirrored(shape)), strict=True):
            areas.append(Area(f"{which} {of}", "seam" if hard else "side_fold", polygon, hard))
    if style.sleeve != "none":
        seam = seams["raglan seam"] if raglan else armhole
        top = as_points(_raglan_top(neck, shoulder)) if raglan else np.zeros((0, 2))
        for piece in _sleeve(m, style, seam, top):
            shape = mirrored(piece.points)
            lines += [piece, Line(piece.name, piece.kind, shape, piece.closed, piece.fill)]
    if binding:
        edge = band(armhole, binding, outline)
        for shape in (edge, mirrored(edge)):
            lines.append(Line("binding", "edge", shape, closed=True, fill="rib"))
    for of, line in seams.items():
        lines += [Line(of, "seam", line), Line(of, "seam", mirrored(line))]
    lines.append(
        Line("hem seam", "stitch", hem[:2])
        if style.ends == "turned"
        else Line("hem", "seam", hem, closed=True, fill="rib")
    )
    if style.ends == "snaps":
        for x in (-0.6 * low, 0.0, 0.6 * low):
            ring = circle((x, hem_y - m["hem_depth"] / 2), SNAP_RADIUS)
            lines.append(Line("snap", "edge", ring, closed=True, fill="metal"))
    along, across = _landmarks(m, name)
    for trim in _trims(m, style, name):
        areas += trim.areas
        lines += trim.lines
        along |= trim.along
        across |= trim.across
    return Face(name, outline, along, across, tuple(areas), tuple(lines))


def _raglan_top(neck: Points, shoulder: Points) -> Points:
    """Return the upper edge of a raglan sleeve: along the neck seam, then the shoulder's fold."""
    return np.vstack([neck[len(neck) // 6 :: -1], shoulder[1:]])
