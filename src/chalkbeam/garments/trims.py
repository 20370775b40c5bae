"""Collars, plackets, zips, hoods and pockets of a top: stay-clear areas, landmarks, lines."""

from __future__ import annotations

from dataclasses import dataclass, field

from calibration.geometry import Points
from chalkbeam.garments.curves import bezier, grown, mirrored, scoop
from chalkbeam.garments.draft import Measures
from chalkbeam.garments.model import Area, Landmark, Line
from chalkbeam.garments.schema import Style

SEAM_MARGIN = 6.0
"""How far a seam with its stitching reaches into the cloth, mm; common practice, no source."""


@dataclass(frozen=True)
class Trim:
    """What one part adds to a face."""

    areas: tuple[Area, ...] = ()
    lines: tuple[Line, ...] = ()
    along: dict[str, Landmark] = field(default_factory=dict)
    across: dict[str, Landmark] = field(default_factory=dict)


def neck_curve(m: Measures, style: Style, face: str) -> Points:
    """Return the neck seam from the neck point at x > 0 to that at x < 0."""
    drop = m["front_neck_drop"] if face == "front" else m["back_neck_drop"]
    vee = style.neckline == "v" and face == "front"
    return scoop(m["neck_width"] / 2, drop, 1.15 if vee else 2.0)


def rib_collar(m: Measures, style: Style, face: str) -> Trim:
    """Return a rib around the neck opening."""
    drop = m["front_neck_drop"] if face == "front" else m["back_neck_drop"]
    rib = m["collar_height"]
    half = m["neck_width"] / 2
    neck = neck_curve(m, style, face)
    fullness = 1.15 if style.neckline == "v" and face == "front" else 2.0
    inner = scoop(half - rib, max(drop - rib, 0.3 * drop), fullness) - (0.0, rib)
    rise = rib * 0.45
    lines = [
        Line("neck seam", "seam", neck),
        Line("collar edge", "edge", inner),
        Line(
            "collar end",
            "edge",
            bezier(
                (half, -drop),
                (half - rib * 0.2, -drop - rise),
                (half - rib * 0.8, -drop - rise),
                tuple(inner[0]),
                7,
            ),
        ),
    ]
    lines.append(Line("collar end", "edge", mirrored(lines[-1].points)))
    return Trim((Area("collar", "collar", grown(neck, SEAM_MARGIN), True),), tuple(lines))
