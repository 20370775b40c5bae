"""What a scanner may show of an imprint: its load lines, its sheet's edges and a cross.

No lettering and no outline of ink: their many corners make a path so long that it flickers, and
flicker is hard on eyes and on whoever lays a sheet by it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from calibration.geometry import XY, xy_tuple
from calibration.refusal import Refusal
from chalkbeam.lasers.scanner import ScannerUnit
from chalkbeam.light.marks import load_lines
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import Loading
from overlay.laser.paths import BeamPath, LitLine, beam_path
from overlay.marks import Dash, Role, Stroke

LEAST_RATE = 30.0
"""Rounds a second below which a picture flickers; common practice, no source."""
LEAST_LIT = 50
"""A frame with fewer lit points holds the beam near one spot."""
LEAST_WAY = 100.0
"""A frame whose lines are shorter in all, mm, does so too."""
LONGEST_STAY = 1e-3
"""s that a lit beam may rest on one spot within a round."""
ARM = 15.0
"""Of a cross, mm."""
UNSEEN = 0.3
"""How far a curve may be cut short between its points, mm: a beam is wider."""

CENTRE, PITS, ARROW, PAD, GUIDES = (
    "centre line", "armpits", "collar arrow", "pad", "seams and edges",
)  # fmt: skip
SHEET, CROSS = "sheet edges", "cross"
WANTED_LEAST = (GUIDES, PAD, ARROW, PITS, CROSS, SHEET, CENTRE)
"""Lines in the order in which they are left out."""


def load_frame(placement: Placement, loading: Loading) -> tuple[LitLine, ...]:
    """Return the lines to which the garment is laid."""
    found = []
    for mark in load_lines(placement, loading):
        if isinstance(mark, Stroke) and len(mark.points) > 1:
            found.append(LitLine(_name(mark), _plainer(mark), mark.closed, mark.height))
    return tuple(found)


def _plainer(mark: Stroke) -> tuple[XY, ...]:
    """Return a line's corners, those of a curve as far apart as nobody sees."""
    if mark.closed:
        ring = shapely.LinearRing(mark.points).simplify(UNSEEN)
        return xy_tuple(shapely.get_coordinates(ring)[:-1])
    return xy_tuple(shapely.get_coordinates(shapely.LineString(mark.points).simplify(UNSEEN)))


def _name(mark: Stroke) -> str:
    if mark.role is Role.CLEAR:
        return PAD
    names = {Dash.CHAIN: CENTRE, Dash.DOTTED: PITS, Dash.SOLID: ARROW}
    return GUIDES if mark.dash is None else names.get(mark.dash, GUIDES)


def lay_frame(placement: Placement, loading: Loading) -> tuple[LitLine, ...]:
    """Return the edges of the sheet, as far as they lie on the platen, and a cross in its ink."""
    pose = loading.platen_from_garment @ placement.garment_from_art
    art, height = placement.artwork, loading.height
    plate = shapely.Polygon(loading.platen.face.outline())
    corners = pose.apply(art.sheet.corners())
    lines = []
    if plate.contains(shapely.Polygon(corners)):
        lines.append(LitLine(SHEET, xy_tuple(corners), True, height))
    else:
        edge = shapely.LineString([*corners, corners[0]]).intersection(plate)
        for part in shapely.get_parts(shapely.line_merge(edge)):
            lines.append(LitLine(SHEET, xy_tuple(shapely.get_coordinates(part)), False, height))
    x, y = art.optical_centre.point
    for arm in (((x - ARM, y), (x + ARM, y)), ((x, y - ARM), (x, y + ARM))):
        lines.append(LitLine(CROSS, xy_tuple(pose.apply(arm)), False, height))
    return tuple(lines)


def crosses_frame(points: Sequence[tuple[float, float]]) -> tuple[LitLine, ...]:
    """Return crosses on the bare platen, to be measured."""
    return tuple(
        LitLine(CROSS, line)
        for x, y in points
        for line in (((x - ARM, y), (x + ARM, y)), ((x, y - ARM), (x, y + ARM)))
    )


def path_of(lines: Sequence[LitLine], unit: ScannerUnit) -> BeamPath:
    """Return the path of a scanner's beam over lines.

    Raises
    ------
    Refusal
        If the scanner does not reach them, they flicker (says what to leave out), or the beam
        would all but stand still.
    """
    scanner = unit.scanner
    if not lines:
        raise Refusal("No line is left to be lit: leave fewer out.")
    path = beam_path(lines, scanner.signal_from_platen, unit.pace)
    reach = float(np.abs(path.signals).max())
    if not reach <= 1.0:  # also where the beam never meets the platen
        raise Refusal(
            f"The scanner reaches only {100 / reach:.0f} % of the way to these lines: hang it "
            "higher, or state the full angle that it is set to."
        )
    check_moving(lines, path, unit)
    rate = path.rate(unit.points_a_second)
    if rate < LEAST_RATE:
        raise Refusal(
            f"These lines would be drawn {rate:.0f} times a second and flicker; {LEAST_RATE:.0f} "
            f"are needed: leave out {_less(lines, unit)}."
        )
    return path


def check_moving(lines: Sequence[LitLine], path: BeamPath, unit: ScannerUnit) -> None:
    """Refuse a frame whose beam all but stands still.

    Raises
    ------
    Refusal
        If it holds too few lit points or too short a way, or rests on a spot.
    """
    way = sum(shapely.LineString(line.points).length for line in lines)
    if int(path.lit.sum()) < LEAST_LIT or way < LEAST_WAY:
        raise Refusal(
            f"A frame of {int(path.lit.sum())} lit points over {way:.0f} mm keeps the beam near "
            "one spot: show more lines."
        )
    stays = longest_stay(path) / unit.points_a_second
    if stays > LONGEST_STAY:
        raise Refusal(
            f"The beam would rest on one spot for {1000 * stays:.1f} ms of every round: a scanner "
            "so slow is none for frames."
        )


def longest_stay(path: BeamPath) -> int:
    """Return the most lit points one after the other on one spot."""
    most = run = 0
    for k in range(len(path.signals)):
        same = k > 0 and path.lit[k - 1] and np.array_equal(path.signals[k], path.signals[k - 1])
        run = (run + 1 if same else 1) if path.lit[k] else 0
        most = max(most, run)
    return most


def _less(lines: Sequence[LitLine], unit: ScannerUnit) -> str:
    """Return what to leave out so that the rest does not flicker."""
    left, out = list(lines), []
    for name in WANTED_LEAST:
        if not any(line.name == name for line in left):
            continue
        rest = [line for line in left if line.name != name]
        out.append(name)
        if not rest:
            break
        left = rest
        path = beam_path(left, unit.scanner.signal_from_platen, unit.pace)
        if path.rate(unit.points_a_second) >= LEAST_RATE:
            return ", ".join(out)
    return "all of them: this scanner is too slow"
