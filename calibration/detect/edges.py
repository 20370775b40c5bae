"""The platen's own edges in a photo: they tell where its middle is, however cards were laid.

Between the cards each side of the platen's face is a straight step of brightness. What else may
lie there (the rim of a paper that covers the platen, the foot of its walls, a pad's seam) is
told apart by one fact: opposite edges are as far apart as the platen is wide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.detect.plane_view import LensView
from calibration.geometry import Points
from calibration.observations import SIDES, EdgePoint, Side
from calibration.photo import channels
from calibration.targets.cards import Card

REACH = 6.0
"""How far from its place an edge is looked for, mm: cards are flush within a millimetre or two."""

CLEAR = 4.0
"""Distance from a card, mm, within which an edge is not looked at: the card may hang over it."""

STATIONS = 72
LEAST_STATIONS = 24
"""Profiles across each side; with fewer between the cards a side is left alone."""

POINTS = 4
"""Points that are kept of each side: the means of its quarters."""

LEAST_STEP = 6.0
"""A step of brightness, of 255, that counts."""

LEAST_SHARE = 0.6
"""Share of the profiles that must show the edge on one line."""

ON_LINE = 0.3
"""How far from the line a step may be and still belong to it, mm: lenses curve it by as much."""

MOST_OVERSIZE = 1.5
"""How much wider or narrower than stated the platen may look, mm, with cards laid by hand."""

Indices = NDArray[np.intp]

_ALONG, _LINES = 1.5, 5  # each profile is the mean of five, 3 mm wide
_FINE = 0.1
_SLOPES = np.linspace(-2.0, 2.0, 41)  # mm at a side's end: cards may be turned together
_LINEAR = (255 * (np.arange(256) / 255) ** 2.2).astype(np.float32)
"""Brightness as light, nearly: where a lens blurs a step, half the *light* is at its place."""
_APART = 0.8  # mm: lines nearer than that are one


@dataclass(frozen=True, eq=False)
class _Line:
    """One straight step along a side: the points of its quarters, and how far out it is, mm."""

    points: Points
    out: float


def find_edges(
    image: NDArray[np.uint8], view: LensView, cards: Sequence[Card], outline: Points
) -> tuple[EdgePoint, ...]:
    """Return points on the platen's edges, none of an axis that does not show both clearly.

    Parameters
    ----------
    image : ndarray, shape (height, width, 3), uint8
        BGR.
    view : LensView
        Of the platen's plane, mm, as the cards tell it.
    cards : sequence of Card
    outline : ndarray, shape (4, 2)
        The platen's face, mm.
    """
    half = outline.max(axis=0)
    free = half - max(card.size for card in cards) - CLEAR
    red = np.asarray(cv2.LUT(channels.red(image), _LINEAR), np.float32)
    lines = {side: _lines_of(red, view, side, half, float(free[1 - side.axis])) for side in SIDES}
    return tuple(point for axis in (0, 1) for point in _pair(view, lines, axis))


def _pair(view: LensView, lines: Mapping[Side, Sequence[_Line]], axis: int) -> list[EdgePoint]:
    """Return the points of two opposite edges, if just one pair of lines is as far apart."""
    low, high = (side for side in SIDES if side.axis == axis)
    pairs = [
        (one, other)
        for one in lines[low]
        for other in lines[high]
        if abs(one.out + other.out) < MOST_OVERSIZE
    ]
    if len(pairs) != 1:
        return []
    found = []
    for side, line in zip((low, high), pairs[0], strict=True):
        for x, y in view.photo_from_plane(line.points):
            found.append(EdgePoint(side.name, (float(x), float(y))))
    return found


def _lines_of(
    red: NDArray[np.float32], view: LensView, side: Side, half: Points, free: float
) -> list[_Line]:
    """Return the straight steps near one side, from the clearest."""
    along = np.linspace(-free, free, STATIONS)
    if 2 * free < LEAST_STATIONS * 2 * _ALONG:
        return []
    out = np.arange(-REACH, REACH + _FINE / 2, _FINE)
    profiles = _profiles(red, view, side, half, along, out)
    if profiles is None:
        return []
    where, places = _steps(profiles, _pixel(view, side, half) / _FINE)
    steps = np.interp(places, np.arange(len(out)), out)
    lines: list[_Line] = []
    left = np.ones(len(where), bool)
    for _ in range(3):
        line = _best_line(along / free, where[left], steps[left])
        if line is None:
            break
        off = np.abs(steps - (line[0] + line[1] * along[where] / free))
        mine = left & (off < ON_LINE)
        kept = _quarters(along, where[mine], steps[mine], line, free)
        if kept is not None:
            middle = float(np.mean(kept[:, 1]))
            lines.append(_Line(side.at(kept[:, 0], half[side.axis] + kept[:, 1]), middle))
        left &= off > _APART
    return lines


def _profiles(
    red: NDArray[np.float32],
    view: LensView,
    side: Side,
    half: Points,
    along: Points,
    out: Points,
) -> NDArray[np.float64] | None:
    """Return brightness across the side at each station, shape (stations, len(out))."""
    lines = np.linspace(-_ALONG, _ALONG, _LINES)
    t, s = np.meshgrid((along[:, None] + lines).ravel(), out, indexing="ij")
    pixels = view.photo_from_plane(side.at(t.ravel(), half[side.axis] + s.ravel()))
    size = np.array(red.shape[::-1])
    inside = ((pixels > 1) & (pixels < size - 2)).all(axis=1)
    if inside.mean() < LEAST_SHARE:
        return None
    x, y = (pixels[:, k].astype(np.float32).reshape(t.shape) for k in (0, 1))
    values = cv2.remap(red, x, y, cv2.INTER_LINEAR).astype(np.float64)
    values[~inside.reshape(t.shape)] = np.nan
    return np.asarray(values.reshape(len(along), _LINES, len(out)).mean(axis=1))


def _pixel(view: LensView, side: Side, half: Points) -> float:
    """Return the size of a photo pixel across a side, mm."""
    near = view.photo_from_plane(side.at(np.zeros(2), half[side.axis] + np.array([-0.5, 0.5])))
    return float(1 / max(np.hypot(*(near[1] - near[0])), 1e-6))


def _steps(profiles: NDArray[np.float64], pixel: float) -> tuple[Indices, Points]:
    """Return the stations and places (indices of the profile) of steps, to a fraction."""
    width = max(1.0, 0.8 * pixel)
    smooth = cv2.GaussianBlur(np.nan_to_num(profiles), (0, 0), sigmaX=width, sigmaY=0.01)
    slope = np.gradient(smooth, axis=1)
    size = np.abs(slope)
    inner = size[:, 1:-1]
    peak = (inner >= size[:, :-2]) & (inner > size[:, 2:])
    # A blurred step of height h has the steepest slope h / (w sqrt(2 pi)).
    least = LEAST_STEP / (np.hypot(width, pixel) * np.sqrt(2 * np.pi))
    peak &= inner > np.maximum(0.3 * size.max(axis=1, keepdims=True), least)
    where, at = (np.asarray(each, np.intp) for each in np.nonzero(peak))
    before, top, after = (size[where, at + k] for k in (0, 1, 2))
    curve = before - 2 * top + after
    fraction = np.where(curve < 0, 0.5 * (before - after) / np.where(curve < 0, curve, 1), 0.0)
    return where, np.asarray(at + 1 + fraction)


def _best_line(along: Points, where: Indices, steps: Points) -> tuple[float, float] | None:
    """Return the line (place, slope to a side's end) that most stations have a step on."""
    best, least = None, LEAST_SHARE * len(along)
    starts = np.arange(-REACH, REACH, _FINE)
    for slope in _SLOPES:
        level = steps - slope * along[where]
        votes = np.zeros((len(starts), len(along)), bool)
        first = np.searchsorted(starts, level - ON_LINE)
        for ahead in range(int(2 * ON_LINE / _FINE) + 1):
            at = first + ahead
            good = at < len(starts)
            votes[at[good], where[good]] = True
        count = votes.sum(axis=1)
        most = np.flatnonzero(count == count.max())
        if count.max() >= least:
            best, least = (float(starts[most].mean()), float(slope)), float(count.max()) + 1e-9
    return best


def _quarters(
    along: Points,
    where: Indices,
    steps: Points,
    line: tuple[float, float],
    free: float,
) -> Points | None:
    """Return the mean place along a side and out of it of each quarter's steps, shape (4, 2)."""
    quarter = where * POINTS // len(along)
    means = []
    for k in range(POINTS):
        mine = quarter == k
        if mine.sum() < 3:
            return None
        place = along[where[mine]]
        off = steps[mine] - (line[0] + line[1] * place / free)
        near = np.abs(off - np.median(off)) < ON_LINE / 2
        at = float(place[near].mean())
        means.append((at, line[0] + line[1] * at / free + float(off[near].mean())))
    return np.array(means)
