"""Plackets, zips and pockets of a top: stay-clear areas, landmarks, lines to draw."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from calibration.geometry import Points
from chalkbeam.garments.curves import band, box, circle, grown, mirrored
from chalkbeam.garments.draft import ZERO, Measures
from chalkbeam.garments.model import Area, Landmark, Line
from chalkbeam.garments.schema import Style

SEAM_MARGIN = 6.0
"""How far a seam with its stitching reaches into the cloth, mm; common practice, no source."""

COLLAR_RISE = 0.8
"""How far a standing collar rises above the high point of the shoulder, as a share of its height,
laid flat; from memory."""

BUTTON_RADIUS = 5.5
"""Of a shirt button of 18 lines (11 mm across); from memory."""


@dataclass(frozen=True)
class Trim:
    """What one part adds to a face."""

    areas: tuple[Area, ...] = ()
    lines: tuple[Line, ...] = ()
    along: dict[str, Landmark] = field(default_factory=dict)
    across: dict[str, Landmark] = field(default_factory=dict)


def placket(m: Measures, style: Style) -> Trim:
    """Return a placket from the neck seam down, its buttons spread evenly."""
    half, length = m["placket_width"] / 2, m["placket_length"]
    shape = box(-half, 0.0, half, length)
    along = {"placket_end": m.at(placket_length=1.0)}
    lines = [
        Line("placket", "edge", shape, closed=True, fill="cloth"),
        Line("placket box", "stitch", box(-half, length - 2 * half, half, length), closed=True),
    ]
    areas = [Area("placket", "placket", grown(shape, SEAM_MARGIN / 2), True)]
    for number in range(style.buttons):
        share = number / (style.buttons - 1) if style.buttons > 1 else 1.0
        mark = m.at(button_top=1.0 - share, placket_length=share, button_bottom=-share)
        along[f"button_{number + 1}"] = mark
        ring = circle((0.0, mark.value), BUTTON_RADIUS)
        lines.append(Line("button", "edge", ring, closed=True, fill="metal"))
        areas.append(Area(f"button {number + 1}", "button", grown(ring, SEAM_MARGIN), True))
    along["lowest_button"] = along[f"button_{style.buttons}"]
    return Trim(tuple(areas), tuple(lines), along)


def button_front(m: Measures, style: Style, drop: float) -> Trim:
    """Return a front that buttons from the neck seam to the hem."""
    half, length = m["placket_width"] / 2, m["body_length"] - drop
    shape = box(-half, 0.0, half, length)
    lines = [
        Line("placket", "edge", shape, closed=True, fill="cloth"),
        Line("placket stitching", "stitch", np.array([[-half + 6, 0.0], [-half + 6, length]])),
        Line("placket stitching", "stitch", np.array([[half - 6, 0.0], [half - 6, length]])),
    ]
    areas = [Area("placket", "placket", grown(shape, SEAM_MARGIN / 2), True)]
    first, last = m["button_top"], length - m["last_button"]
    for number, down in enumerate(np.linspace(first, last, style.buttons), start=1):
        ring = circle((0.0, float(down)), BUTTON_RADIUS)
        lines.append(Line("button", "edge", ring, closed=True, fill="metal"))
        areas.append(Area(f"button {number}", "button", grown(ring, SEAM_MARGIN), True))
    return Trim(tuple(areas), tuple(lines))


def zip_front(m: Measures, style: Style, drop: float) -> Trim:
    """Return a zip from the neck seam to the hem or part of the way, and its tapes' facing.

    Through a standing collar it goes on to the collar's edge.
    """
    half, short = m["zip_width"] / 2, style.opening == "quarter_zip"
    end = m["zip_length"] if short else m["body_length"] - drop
    top = -drop - COLLAR_RISE * m["collar_height"] if style.neckline == "band" else 0.0
    shape = box(-half, 0.0, half, end + (half if short else 0.0))
    lines = [
        Line("zip facing", "stitch", np.array([[-half, 0.0], [-half, end]])),
        Line("zip facing", "stitch", np.array([[half, 0.0], [half, end]])),
        Line("zip", "edge", box(-2.5, top, 2.5, end), closed=True, fill="metal"),
        Line("zip pull", "edge", box(-4, top + 2.0, 4, top + 26.0), closed=True, fill="metal"),
    ]
    along = {}
    if short:
        ends = np.array([[-half, end], [0.0, end + half], [half, end]])
        lines.append(Line("zip facing", "stitch", ends))
        along["zip_end"] = m.at(zip_length=1.0)
    return Trim((Area("zip", "zip", shape, True),), tuple(lines), along, {"zip": ZERO})


def slash_pockets(m: Measures, drop: float) -> Trim:
    """Return the welts of two pockets let into the front at a slant."""
    areas: list[Area] = []
    lines: list[Line] = []
    low = m["body_length"] - drop - m["hem_depth"] - m["welt_rise"]
    high = low - m["welt_length"]
    inner, outer = 0.3 * m["half_chest"], 0.38 * m["half_chest"]
    half = m["welt_width"] / 2
    welt = np.array(
        [[inner - half, high], [inner + half, high], [outer + half, low], [outer - half, low]]
    )
    for name, shape in (("left pocket", welt), ("right pocket", mirrored(welt))):
        areas.append(Area(f"{name} welt", "pocket_edge", grown(shape, SEAM_MARGIN), True))
        lines.append(Line(f"{name} welt", "edge", shape, closed=True, fill="cloth"))
    return Trim(tuple(areas), tuple(lines))


def _pocket(shape: Points, opening: Points, name: str) -> tuple[list[Area], list[Line]]:
    """Return a patch pocket, whose every edge is a ridge of several layers."""
    ring = np.vstack([shape, shape[:1]])
    edges = [
        Area(f"{name} edge", "pocket_edge", band(ring[index : index + 2], SEAM_MARGIN), True)
        for index in range(len(shape))
    ]
    return edges, [
        Line(name, "edge", shape, closed=True, fill="cloth"),
        Line(f"{name} opening", "stitch", opening),
    ]


def pocket(m: Measures, style: Style, drop: float) -> Trim:
    """Return the pocket of a front: a pouch, a pouch split by a zip, or a chest patch."""
    if style.pocket == "chest":
        left, top = m["pocket_centre"], m["pocket_depth"] - drop
        half, high = m["pocket_width"] / 2, m["pocket_height"]
        shape = np.array(
            [
                [left - half, top],
                [left + half, top],
                [left + half, top + 0.86 * high],
                [left, top + high],
                [left - half, top + 0.86 * high],
            ]
        )
        hem = np.array([[left - half, top + 20.0], [left + half, top + 20.0]])
        areas, lines = _pocket(shape, hem, "pocket")
        along = {"pocket_top": m.at(pocket_depth=1.0, front_neck_drop=-1.0)}
        return Trim(tuple(areas), tuple(lines), along, {"pocket_centre": m.at(pocket_centre=1.0)})
    seam = m["body_length"] - drop - m["hem_depth"]
    top = seam - m["pocket_height"]
    wide, narrow = m["pocket_width"] / 2, m["pocket_width"] * 0.31
    step = 0.22 * m["pocket_height"]
    along = {
        "pocket_top": m.at(
            body_length=1.0, front_neck_drop=-1.0, hem_depth=-1.0, pocket_height=-1.0
        )
    }
    gap = m["zip_width"] / 2 if style.pocket == "split" else 0.0
    bag = np.array([[gap, top], [narrow, top], [wide, seam - step], [wide, seam], [gap, seam]])
    opening = bag[1:3] - (9.0, 0.0)
    if style.pocket == "split":
        areas, lines = _pocket(bag, opening, "left pocket")
        more_areas, more_lines = _pocket(mirrored(bag), mirrored(opening), "right pocket")
        middle = (gap + wide) / 2
        mark = Landmark(
            middle, m.values["pocket_width"].tolerance / 4, m.values["pocket_width"].derived
        )
        return Trim((*areas, *more_areas), (*lines, *more_lines), along, {"pocket_centre": mark})
    shape = np.vstack([bag[1:4], mirrored(bag[1:4])])
    areas, lines = _pocket(shape, opening, "pocket")
    lines.append(Line("pocket opening", "stitch", mirrored(opening)))
    return Trim(tuple(areas), tuple(lines), along, {"pocket_centre": ZERO})
