"""Necks of a top: a rib, a folded collar or a hood."""

from __future__ import annotations

import numpy as np

from calibration.geometry import Points
from chalkbeam.garments.curves import bezier, clipped, grown, mirrored, moved, scoop, smooth
from chalkbeam.garments.draft import Measures
from chalkbeam.garments.model import Area, Line
from chalkbeam.garments.schema import Style
from chalkbeam.garments.trims import COLLAR_RISE, SEAM_MARGIN, Trim

V_FULLNESS = 1.12
"""How far a V-neck's sides bow outwards (1 is straight, 2 an ellipse); from memory."""

RIB_RISE, RIB_LEAN = 0.55, 0.45
"""How far a rib stands up and leans in over the shoulder, as shares of its height; from memory."""


def neck_drop(face: str) -> str:
    """Return the name of the measure from the high point of the shoulder to the neck seam."""
    return "front_neck_drop" if face == "front" else "back_neck_drop"


def _fullness(style: Style, face: str) -> float:
    return V_FULLNESS if style.neckline == "v" and face == "front" else 2.0


def neck_curve(m: Measures, style: Style, face: str) -> Points:
    """Return the neck seam from the neck point at x > 0 to that at x < 0."""
    return scoop(m["neck_width"] / 2, m[neck_drop(face)], _fullness(style, face))


def _rib_edge(m: Measures, style: Style, face: str) -> Points:
    """Return the upper edge of a rib collar, in the frame of `face`."""
    drop, rib = m[neck_drop(face)], m["collar_height"]
    # The binding of a scoop lies flat within the shoulders; a collar stands up above them.
    rise, lean = (0.0, 1.0) if style.neckline == "scoop" else (RIB_RISE, RIB_LEAN)
    half = m["neck_width"] / 2 - lean * rib
    return moved(scoop(half, drop - (1 - rise) * rib, _fullness(style, face)), -rib)


def _rib_collar(m: Measures, style: Style, face: str) -> tuple[Line, ...]:
    neck, edge = neck_curve(m, style, face), _rib_edge(m, style, face)
    drop = m[neck_drop(face)]
    rib_shape = np.vstack([edge, neck[::-1]])
    lines = [Line("collar", "edge", rib_shape, closed=True, fill="rib")]
    if face == "front":
        behind = moved(_rib_edge(m, style, "back"), m["back_neck_drop"] - drop)
        inside = np.vstack([edge, behind[::-1]])
        lines.insert(0, Line("inside", "edge", inside, closed=True, fill="inside"))
    return tuple(lines)


def _folded_collar(m: Measures, face: str) -> tuple[tuple[Line, ...], tuple[Area, ...]]:
    """Return a collar of a stand and a leaf folded over it."""
    half, drop = m["neck_width"] / 2, m[neck_drop(face)]
    stand, leaf = m["collar_height"], m["collar_leaf"]
    fold = -drop - 0.55 * stand
    outer = (half + 0.34 * leaf, -drop + 0.42 * leaf)
    if face == "back":
        low = leaf - stand
        shape = smooth([(half * 0.86, fold), (half * 1.06, fold + 0.35 * stand), outer], 9)
        edge = moved(scoop(outer[0], low - outer[1]), low)
        top = moved(scoop(half * 0.86, 0.25 * stand), fold + 0.25 * stand)
        whole = np.vstack([shape, edge[1:-1], mirrored(shape), top[::-1][1:-1]])
        return (
            (Line("collar", "edge", whole, closed=True, fill="rib"),),
            (Area("collar", "collar", grown(whole, SEAM_MARGIN), True),),
        )
    point = (0.56 * half, 0.62 * leaf)
    inner = bezier(
        (2.0, 0.0), (half * 0.45, -drop * 0.3), (half * 0.72, -drop * 0.7), (half * 0.86, fold), 13
    )
    outside = smooth([(half * 0.86, fold), (half * 1.08, fold + 0.4 * stand), outer], 9)
    under = bezier(outer, (half * 1.02, drop * -0.1), (half * 0.85, leaf * 0.3), point, 9)
    shape = np.vstack([inner, outside[1:], under[1:]])
    behind = moved(scoop(half * 0.86, 0.25 * stand), fold + 0.25 * stand)
    opening = np.vstack([inner, behind[1:-1], mirrored(inner)])
    lines = (
        Line("inside", "edge", opening, closed=True, fill="inside"),
        Line("collar", "edge", shape, closed=True, fill="rib"),
        Line("collar", "edge", mirrored(shape), closed=True, fill="rib"),
    )
    areas = (
        Area("left collar leaf", "collar", grown(shape, SEAM_MARGIN), True),
        Area("right collar leaf", "collar", grown(mirrored(shape), SEAM_MARGIN), True),
    )
    return lines, areas


def _band_collar(m: Measures, face: str) -> tuple[Line, Points]:
    """Return a collar that stands up, closed, and its shape."""
    half, drop = m["neck_width"] / 2, m[neck_drop(face)]
    high = COLLAR_RISE * m["collar_height"]
    neck = scoop(half, drop)
    dip = (0.16 if face == "front" else 0.06) * m["collar_height"]
    top = moved(scoop(0.93 * half, dip), -drop - high + dip)
    shape = np.vstack([neck, top[::-1]])
    return Line("collar", "edge", shape, closed=True, fill="rib"), shape


def _hood_lines(m: Measures, face: str) -> tuple[Line, ...]:
    """Return the hood laid out flat above the neck."""
    half, drop = m["neck_width"] / 2, m[neck_drop(face)]
    wide, high = m["hood_width"] / 2, m["hood_height"]
    top = -drop - high
    side = bezier(
        (half, -drop),
        (half * 1.12, -drop - 0.2 * high),
        (wide, -drop - 0.3 * high),
        (wide, -drop - 0.58 * high),
        13,
    )
    crown = bezier(
        (wide, -drop - 0.58 * high), (wide, top + 0.13 * high), (wide * 0.55, top), (0.0, top), 13
    )
    edge = np.vstack([side, crown[1:]])
    neck = scoop(half, drop)
    shape = np.vstack([edge, mirrored(edge)[1:], neck[::-1][1:-1]])
    lines = [Line("hood", "edge", shape, closed=True, fill="cloth")]
    if face == "back":
        lines.append(Line("hood seam", "seam", np.array([[0.0, 0.0], [0.0, top]])))
        shadow = hood_shadow(m)
        lines.append(Line("hood lying down", "fold", shadow, closed=True))
        return tuple(lines)
    lip = np.vstack(
        [
            bezier(
                (0.0, 0.0),
                (half * 0.3, -0.1 * high),
                (wide * 0.5, -drop - 0.12 * high),
                (wide * 0.62, -drop - 0.45 * high),
                13,
            ),
            bezier(
                (wide * 0.62, -drop - 0.45 * high),
                (wide * 0.62, top + 0.22 * high),
                (wide * 0.35, top + 0.11 * high),
                (0.0, top + 0.11 * high),
                13,
            )[1:],
        ]
    )
    opening = np.vstack([lip, mirrored(lip)[1:-1]])
    hem = clipped(grown(opening, m["hood_hem"]), shape)
    lines.append(Line("opening", "edge", opening, closed=True, fill="inside"))
    lines.append(Line("hood hem", "stitch", hem))
    for side_sign in (1.0, -1.0):
        cord = bezier(
            (side_sign * half * 0.32, -0.06 * high),
            (side_sign * half * 0.36, 0.1 * high),
            (side_sign * half * 0.24, 0.2 * high),
            (side_sign * half * 0.34, 0.33 * high),
            13,
        )
        lines.append(Line("cord", "edge", cord))
    return tuple(lines)


def hood_shadow(m: Measures) -> Points:
    """Return the part of the back that the hood hides when it lies down, in the back's frame."""
    half, drop, drape = m["neck_width"] / 2, m["back_neck_drop"], m["hood_drape"]
    wide = max(half * 1.12, m["hood_width"] * 0.46)
    side = np.vstack(
        [
            bezier((half, -drop), (wide, -0.5 * drop), (wide, 0.1 * drape), (wide, 0.3 * drape), 9),
            bezier(
                (wide, 0.3 * drape), (wide, 0.75 * drape), (wide * 0.5, drape), (0.0, drape), 13
            )[1:],
        ]
    )
    return np.vstack([side, mirrored(side)[1:], neck_back(m)[::-1][1:-1]])


def neck_back(m: Measures) -> Points:
    """Return the back neck seam of a hooded top, from x > 0 to x < 0."""
    return scoop(m["neck_width"] / 2, m["back_neck_drop"])


def collar(m: Measures, style: Style, face: str) -> Trim:
    """Return the neck's part of a face: what to draw, what to stay clear of, its landmarks."""
    opening = Area("collar", "collar", grown(neck_curve(m, style, face), SEAM_MARGIN), True)
    if style.neckline == "stand":
        lines, leaves = _folded_collar(m, face)
        return Trim((opening, *leaves), lines)
    if style.neckline == "band":
        line, shape = _band_collar(m, face)
        fold = Area("standing collar", "collar", grown(shape, SEAM_MARGIN), True)
        return Trim((opening, fold), (line,))
    if style.neckline != "hood":
        return Trim((opening,), _rib_collar(m, style, face))
    along = {"hood_seam": m.at(neck_width=0.0)}
    areas = [opening]
    if face == "back":
        along["hood_drape"] = m.at(hood_drape=1.0)
        areas.append(Area("lying hood", "hood_shadow", hood_shadow(m), False))
    return Trim(tuple(areas), _hood_lines(m, face), along)
