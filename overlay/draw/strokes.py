"""Lines of constant width in millimetres, as polygons: joins, ends, dashes, hatching.

Everything is cut into pieces of at most `STEP`, because a straight line on the
platen is a curve in the projector's picture once the lens bends it. All polygons
turn counter-clockwise, so that they join where they overlap.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from overlay.contours import Contours
from overlay.marks import Dash

STEP = 10.0
"""Longest piece of a line, mm: 26 px at 0.38 mm a pixel. A lens with k1 = 0.1 bends that by
less than 0.02 px between its ends."""

RUN = 40.0
"""Longest part of a line that is one polygon, mm: so short that one which reaches from the picture
to behind the projector is known by its size (see `overlay.draw.raster.FARTHEST`)."""

REACH = 1500.0
"""Marks are cut off this far from the platen's middle, mm: no platen is larger, and behind its
lens a projector's map is not valid."""

_PATTERNS: dict[Dash, tuple[float, ...]] = {
    Dash.DASHED: (9.0, 5.0),
    Dash.DOTTED: (1.8, 3.2),
    Dash.CHAIN: (14.0, 3.5, 2.5, 3.5),
}
"""Lit and dark lengths in turn, mm; stretched a little so that each leg begins and ends lit."""

_SHARP = math.radians(30)
"""A turn by more than this is a corner: dashes begin anew there."""

_MITRE_LIMIT = math.radians(100)
"""A turn by more than this gets a round join, less than this a pointed one."""

_SLACK = 1e-6
"""A piece longer than a step by so small a share is not cut: rounding must not change a form."""

_SAME = 1e-3
"""Vertices nearer than this, mm, are one."""

_ROUND = np.column_stack(
    [np.cos(np.arange(12) * math.tau / 12), np.sin(np.arange(12) * math.tau / 12)]
)


def stroke(points: Points, width: float, closed: bool = False, dash: Dash = Dash.SOLID) -> Contours:
    """Return a polyline as polygons.

    Parameters
    ----------
    points : ndarray, shape (N, 2), mm
        Vertices; those that are not finite are skipped. One vertex (or several in
        the same place) makes a round dot.
    width : float
        Line width, mm; nothing is drawn unless it is positive.
    closed : bool
        Whether the last vertex joins the first.
    dash : Dash
        Line style.

    Returns
    -------
    Contours, mm
        Ends are square, exactly at the first and last vertex.
    """
    if not 0 < width < REACH:
        return Contours.empty()
    return Contours.joined(
        [
            _stroke_piece(piece, width, ring, dash)
            for piece, ring in _within_reach(np.asarray(points, dtype=np.float64), closed)
        ]
    )


def hatch(polygon: Points, spacing: float, angle: float, width: float) -> Contours:
    """Return parallel lines inside a polygon (even-odd rule), without its edge.

    Parameters
    ----------
    polygon : ndarray, shape (N, 2), mm
    spacing : float
        Distance between lines, mm; never less than three line widths. Lines are
        counted from the platen's middle, so those of neighbouring areas meet.
    angle : float
        Direction of the lines from +x, counter-clockwise, radians.
    width : float
        Line width, mm.
    """
    vertices = np.asarray(polygon, dtype=np.float64)
    vertices = np.clip(vertices[np.isfinite(vertices).all(axis=1)], -1e6, 1e6)
    if len(vertices) < 3 or not (0 < width < REACH and math.isfinite(angle)):
        return Contours.empty()
    spacing = max(spacing, 3 * width) if math.isfinite(spacing) else REACH
    c, s = math.cos(angle), math.sin(angle)
    turned = vertices @ np.array([[c, -s], [s, c]])  # by -angle: the lines become level
    low, high = np.clip((turned[:, 1].min(), turned[:, 1].max()), -1.5 * REACH, 1.5 * REACH)
    # Lines half a spacing off the origin: a vertex on a round figure is then never on a line.
    levels = (np.arange(math.ceil(low / spacing - 0.5), high / spacing - 0.5) + 0.5) * spacing
    following = np.roll(turned, -1, axis=0)
    row, edge = np.nonzero(
        (turned[:, 1] <= levels[:, None]) != (following[:, 1] <= levels[:, None])
    )
    start, end = turned[edge], following[edge]
    share = (levels[row] - start[:, 1]) / (end[:, 1] - start[:, 1])
    xs = np.clip(start[:, 0] + share * (end[:, 0] - start[:, 0]), -1.5 * REACH, 1.5 * REACH)
    order = np.lexsort((xs, row))
    # Each line crosses the closed edge an even number of times: in, out, in, out.
    left, right = xs[order].reshape(-1, 2).T
    level = levels[row[order][::2]]

    counts = np.maximum(1, np.ceil((right - left) / STEP)).astype(np.int64)
    index = np.repeat(np.arange(len(counts)), counts)
    rank = np.arange(len(index)) - np.repeat(np.cumsum(counts) - counts, counts)
    step = ((right - left) / counts)[index]
    near = left[index] + rank * step
    x = np.stack([near, near + step, near + step, near], axis=1)
    y = level[index, None] + width / 2 * np.array([-1, -1, 1, 1])
    return Contours.uniform(np.stack([x, y], axis=2) @ np.array([[c, s], [-s, c]]))


def _within_reach(points: Points, closed: bool) -> list[tuple[Points, bool]]:
    """Return the parts of a polyline inside the square of half side REACH, and which are rings."""
    if len(points) and np.abs(points).max() <= REACH:  # False if any is not a number
        return [(points, closed)]
    points = points[np.isfinite(points).all(axis=1)]
    # Far vertices are pulled in so that differences cannot overflow.
    points = np.clip(points, -1e7, 1e7)
    if not len(points):
        return []
    if np.abs(points).max() <= REACH:
        return [(points, closed)]
    if closed:
        points = np.vstack([points, points[:1]])
    start, along = points[:-1], np.diff(points, axis=0)
    # Along an axis on which it all but stands still the ends lie infinitely far off: that is right.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        one, other = (-REACH - start) / along, (REACH - start) / along
    still = along == 0
    inside = np.abs(start) <= REACH
    enter = np.where(still, np.where(inside, 0.0, 2.0), np.minimum(one, other)).max(axis=1)
    leave = np.where(still, 1.0, np.maximum(one, other)).min(axis=1)
    enter, leave = np.maximum(enter, 0.0), np.minimum(leave, 1.0)
    pieces: list[list[Points]] = []
    open_end = False
    for i in np.flatnonzero(enter < leave):
        first, last = start[i] + enter[i] * along[i], start[i] + leave[i] * along[i]
        if not (open_end and enter[i] == 0 and pieces):
            pieces.append([first])
        pieces[-1].append(last)
        open_end = bool(leave[i] == 1)
    return [(np.array(piece), False) for piece in pieces]


def _stroke_piece(points: Points, width: float, closed: bool, dash: Dash) -> Contours:
    ring, closed = _distinct(points, closed)
    if len(ring) < 2:
        return Contours.uniform((points[0] + _ROUND * width / 2)[None])
    along = ring[1:] - ring[:-1]
    lengths = np.sqrt(np.einsum("ij,ij->i", along, along))
    unit = along / lengths[:, None]
    bends = _bends(unit, closed)
    where = np.zeros(len(ring))
    np.cumsum(lengths, out=where[1:])

    cuts = _fractions(where, lengths)
    lit = np.ones(len(cuts) - 1, dtype=bool)
    if dash in _PATTERNS:
        sharp = np.abs(bends) > math.tan(_SHARP / 2)
        sharp[[0, -1]] = True
        changes = _changes(where[sharp], _PATTERNS[dash])
        cuts = np.union1d(cuts, changes)
        lit = np.searchsorted(changes, (cuts[:-1] + cuts[1:]) / 2) % 2 == 0

    leg = np.minimum(np.searchsorted(where, cuts, side="right") - 1, len(unit) - 1)
    path = ring[leg] + unit[leg] * (cuts - where[leg])[:, None]
    bend = np.zeros(len(cuts))
    bend[np.searchsorted(cuts, where)] = bends
    return _widen(path, unit[leg[:-1]], cuts[1:] - cuts[:-1], bend, lit, width / 2, closed)


def _distinct(points: Points, closed: bool) -> tuple[Points, bool]:
    """Return the line without vertices that repeat, a ring with its first at the end again."""
    closed = closed and len(points) > 2
    ring = np.concatenate([points, points[:1]]) if closed else points
    along = ring[1:] - ring[:-1]
    passed = np.zeros(len(ring))
    np.cumsum(np.sqrt(np.einsum("ij,ij->i", along, along)) / _SAME, out=passed[1:])
    passed = np.floor(passed)
    ring = ring[np.concatenate([[True], passed[1:] > passed[:-1]])]
    closed = closed and len(ring) > 3
    if closed:
        ring[-1] = ring[0]
    return ring, closed


def _bends(unit: Points, closed: bool) -> NDArray[np.float64]:
    """Return the tangent of half the turn at each vertex, left turns positive.

    Parameters
    ----------
    unit : ndarray, shape (N, 2)
        Directions of the pieces between the vertices.

    Returns
    -------
    ndarray, shape (N + 1,)
        0 at open ends.
    """
    bends = np.zeros(len(unit) + 1)
    before, after = unit[:-1], unit[1:]
    if closed:
        before, after = np.concatenate([unit[-1:], before]), np.concatenate([unit[:1], after])
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    # tan(turn / 2) = sin / (1 + cos)
    bend = cross / np.maximum(1 + np.einsum("ij,ij->i", before, after), 1e-12)
    bends[0 if closed else 1 : -1] = bend
    if closed:
        bends[-1] = bends[0]
    return bends


def _fractions(where: NDArray[np.float64], lengths: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return `where` with as many values between as leave no step longer than STEP."""
    counts = np.ceil(lengths / STEP - _SLACK).astype(np.int64)
    if counts.max() <= 1:
        return where
    counts = np.maximum(counts, 1)
    index = np.repeat(np.arange(len(counts)), counts)
    rank = np.arange(len(index)) - np.repeat(np.cumsum(counts) - counts, counts)
    inner = where[index] + (lengths / counts)[index] * rank
    return np.append(inner, where[-1])


def _changes(legs: NDArray[np.float64], pattern: tuple[float, ...]) -> NDArray[np.float64]:
    """Return where a dashed line goes dark or lit again, as rising lengths along it.

    `legs` are the lengths at which straight runs begin and end. Each run starts
    and stops half way through a lit dash.
    """
    period = sum(pattern)
    bounds = np.cumsum((pattern[0] / 2, *pattern[1:]))
    changes = []
    for start, end in itertools.pairwise(legs):
        repeats = max(1, round((end - start) / period))
        leg = np.arange(repeats)[:, None] * period + bounds
        changes.append(start + leg.ravel() * ((end - start) / (repeats * period)))
    return np.concatenate(changes)


def _widen(
    path: Points,
    unit: Points,
    spans: NDArray[np.float64],
    bends: NDArray[np.float64],
    lit: NDArray[np.bool_],
    half: float,
    closed: bool,
) -> Contours:
    """Return the lit pieces widened, and round joins where the line turns sharply.

    Neighbouring pieces share a mitred edge, so they neither overlap nor leave a
    wedge. Where the mitre would be too long or eat up a short piece, both end
    square and a disc fills the join.

    Parameters
    ----------
    path : ndarray, shape (N + 1, 2), mm
    unit, spans, lit : ndarray, shapes (N, 2), (N,), (N,)
        Direction and length of each piece, and whether to draw it.
    bends : ndarray, shape (N + 1,)
        Tangent of half the turn at each vertex.
    half : float
        Half the line width, mm.
    """
    shortest = np.empty(len(path))
    shortest[1:-1] = np.minimum(spans[:-1], spans[1:])
    shortest[[0, -1]] = min(spans[0], spans[-1])
    sharp = np.abs(bends)
    mitred = (sharp <= math.tan(_MITRE_LIMIT / 2)) & (sharp * half <= shortest / 2)
    # Where the line turns left by t, its left edge loses half * tan(t / 2) at each of the two
    # ends that meet there, and its right edge gains as much.
    shift = np.where(mitred, half * bends, 0.0)[:, None]
    quads = np.empty((len(spans), 4, 2))
    left = half * unit[:, ::-1] * (-1.0, 1.0)
    back, ahead = unit * shift[:-1], unit * shift[1:]
    quads[:, 0] = path[:-1] - left - back
    quads[:, 1] = path[1:] - left + ahead
    quads[:, 2] = path[1:] + left - ahead
    quads[:, 3] = path[:-1] + left + back
    drawn = _runs(quads, lit, mitred[:-1], spans)
    if mitred.all():
        return drawn
    joins = ~mitred[:-1] & lit & np.concatenate([lit[-1:] if closed else [False], lit[:-1]])
    discs = path[:-1][joins][:, None] + half * _ROUND
    return Contours.joined([drawn, Contours.uniform(discs)])


def _runs(
    quads: NDArray[np.float64],
    lit: NDArray[np.bool_],
    mitred: NDArray[np.bool_],
    spans: NDArray[np.float64],
) -> Contours:
    """Return the lit quadrangles, neighbours with a shared edge joined to runs of up to RUN mm.

    The same area is filled, but without the shared edges, which are most of all edges
    where vertices are dense.

    Parameters
    ----------
    quads : ndarray, shape (N, 4, 2)
        Right start, right end, left end, left start.
    lit, mitred, spans : ndarray, each shape (N,)
        Whether to draw a piece, whether it shares its start's edge, how long it is.
    """
    pieces = np.flatnonzero(lit)
    if not len(pieces):
        return Contours.empty()
    part = np.floor(np.cumsum(spans) / RUN - _SLACK)
    begins = ~mitred
    begins[0] = True
    begins[1:] |= ~lit[:-1] | (part[1:] != part[:-1])
    begins = begins[pieces]
    first = np.flatnonzero(begins)
    counts = np.diff(first, append=len(pieces))
    run = np.cumsum(begins) - 1
    place = np.arange(len(pieces)) - first[run]
    ends = np.cumsum(2 * counts + 2)
    starts = ends - 2 * counts - 2
    points = np.empty((ends[-1], 2))
    points[starts] = quads[pieces[first], 0]
    points[starts[run] + 1 + place] = quads[pieces, 1]
    points[starts[run] + 2 * counts[run] - place] = quads[pieces, 2]
    points[ends - 1] = quads[pieces[first], 3]
    return Contours(points, ends)
