"""Where lines show: local energy, which is the same for grooves, ridges, steps and shadows.

Energy is the squared answer of an even and an odd filter across the line together (Morrone and
Owens 1987), averaged along the line *before* it is squared, so that knit and noise, which do not
run along the line, cancel. The garment's rim is looked for where the measured cloth ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import PlatenFace, Points
from chalkbeam.eye.outline import Pieces
from chalkbeam.eye.unroll import Unrolled

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Mask = NDArray[np.bool_]

SPREAD = 1.4
"""Of the filters across a line, mm: a seam with its shadow."""

FOUND = 4
"""So many places where a piece's line may be are kept."""

_STEP = 0.5
_MERGED = 0.5  # answers so near are of one line, standard deviation, mm
_ODD = 0.6  # what a step counts against a groove: a seam beside a rib is found at its groove
_CREASE = 1.0  # about the platen's edge, mm: the bend there looks like a line
_BEND = 14.0  # so far from the edge shade is told from that along it, mm
_LEAST_ALONG = 150.0  # of cloth along an edge, to know its shade, mm
_ALONG_CREASE = 0.8  # cosine between a piece and the edge from which it could be taken for it
_ON_CLOTH = 4.0  # a seam has cloth on both sides, mm
_SHORT = 1.5  # so far before the rim lines of light end, mm
_UNCLEAR = 3.0  # how well the end of the lines of light tells the rim, mm
_PLAIN = 0.02  # shade that plain cloth and noise may show across a line
_BRIGHTEST = 3.0  # light beyond which nothing more is told, of the cloth's
_STEEP = 0.08  # shade from which a step is clear


@dataclass(frozen=True, eq=False)
class Evidence:
    """What can be seen on the unrolled cloth.

    Attributes
    ----------
    flat : Unrolled
    shade : float32 array
        Root of the reflected light, levelled: 0.1 is about a tenth more or less light.
    light : float32 array
        Reflected light, 1 as cloth usually is: a step's middle is where it is seen, unmoved.
    known : float32 array
        1 where cloth or what lies beside it is lit and seen.
    cloth : float32 array
        1 where cloth was measured, its small holes closed.
    platen : PlatenFace
    """

    flat: Unrolled
    shade: F32
    light: F32
    known: F32
    cloth: F32
    platen: PlatenFace

    @cached_property
    def planes(self) -> F32:
        """Shade, light, what is known and cloth in one picture, to be sampled at once."""
        both = np.stack([self.shade, self.light, self.known, self.cloth], axis=-1)
        return np.ascontiguousarray(both, np.float32)


@dataclass(frozen=True, eq=False)
class Sightings:
    """Where each piece's line may be; arrays of shape (P, FOUND) but for `known`.

    Attributes
    ----------
    offset : mm along the normal
    strength : how clearly it shows there, 0 to 1; 0 where there is nothing
    spread : how well its place is known, mm
    known : bool array, shape (P,)
        Whether most of the piece is lit and in view.
    """

    offset: F64
    strength: F64
    spread: F64
    known: Mask


def evidence(
    flat: Unrolled, light: F32, platen: PlatenFace, covered: Points | None = None
) -> Evidence:
    """Return what can be seen.

    Parameters
    ----------
    flat : Unrolled
    light : float32 array, camera px
        Light that came back from the projector: lit less dark, linear.
    platen : PlatenFace
    covered : ndarray, shape (N, 2), optional
        Corners of what lies on the cloth, flat frame, mm: its edges are no seams.
    """
    seen = flat.rectified(light)
    lit = flat.lit
    if covered is not None:
        hides = np.zeros(lit.shape, np.uint8)
        cv2.fillPoly(hides, [np.rint(flat.cells(covered)).astype(np.int32)], 1)
        lit = lit & (hides == 0)
    known = lit.astype(np.float32)
    on = lit & flat.cloth
    level = float(np.median(seen[on])) if on.any() else 1.0
    # Between light and its logarithm: an edge's middle hardly moves, dark cloth keeps its seams.
    share = np.maximum(seen, 0) / np.float32(max(level, 1e-3))
    shade = 2 * np.sqrt(share)
    closed = _closed(flat.cloth, round(24 / flat.step))
    mean = _smooth(shade, known * closed, 30.0 / flat.step)
    levelled = np.clip((shade - mean) * known, -1.2, 1.2)
    levelled = _uncreased(levelled, (known * flat.cloth) > 0, flat, platen)
    inner = cv2.erode(known, np.ones((5, 5), np.uint8), borderValue=0)
    return Evidence(
        flat,
        np.asarray(levelled, np.float32),
        np.minimum(share, np.float32(_BRIGHTEST)),
        np.asarray(inner, np.float32),
        closed.astype(np.float32),
        platen,
    )


def _uncreased(shade: F32, use: Mask, flat: Unrolled, platen: PlatenFace) -> F32:
    """Return the shade without what runs along the platen's edges: the bend there looks alike.

    A seam is no longer than half an edge, or it crosses it: the median along the edge is the
    bend's own shade, over the straight line from `_BEND` before the edge to as far behind it.
    """
    shade = shade.copy()
    half = (platen.width / 2, platen.depth / 2)
    for axis, lines, marks in ((1, shade, use), (0, shade.T, use.T)):
        along = np.abs(np.arange(lines.shape[1]) * flat.step + flat.origin[1 - axis])
        ends = half[1 - axis] - platen.corner_radius
        inner = along < ends
        share = np.clip((ends - along[inner]) / _BEND, 0, 1).astype(np.float32)
        for edge in (-half[axis], half[axis]):
            middle = round((edge - flat.origin[axis]) / flat.step)
            rows = middle + np.arange(-round(_BEND / flat.step), round(_BEND / flat.step) + 1)
            there, here = marks[rows][:, inner], lines[rows][:, inner]
            if there.sum(axis=1).min() * flat.step < _LEAST_ALONG:
                continue
            bend = np.array([np.median(row[known]) for row, known in zip(here, there, strict=True)])
            bend = cv2.GaussianBlur(bend.astype(np.float32)[:, None], (1, 5), 1.0).ravel()
            ramp = np.linspace(bend[:3].mean(), bend[-3:].mean(), len(bend))
            lines[rows[:, None], np.flatnonzero(inner)] -= (bend - ramp)[:, None] * share
    return shade


def _closed(cloth: Mask, wide: int) -> F32:
    """Return cloth with holes filled that are narrower than `wide` or shut in by it."""
    small = cv2.resize(cloth.astype(np.uint8), None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide // 4 | 1,) * 2)
    padded = cv2.copyMakeBorder(small, 20, 20, 20, 20, cv2.BORDER_REPLICATE)
    shut = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, kernel)[20:-20, 20:-20]
    size = cloth.shape[::-1]
    wide_open = cv2.resize(shut.astype(np.float32), size, interpolation=cv2.INTER_LINEAR) > 0.5
    return np.asarray(cloth | wide_open, np.float32)


def _smooth(shade: F32, weight: F32, spread: float) -> F32:
    """Return the weighted mean about each cell."""
    both = np.stack([shade * weight, weight], axis=-1)
    small = cv2.resize(both, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(small, (0, 0), spread / 8)
    share = soft[..., 0] / np.maximum(soft[..., 1], np.float32(1e-4))
    size = (shade.shape[1], shade.shape[0])
    return np.asarray(cv2.resize(share, size, interpolation=cv2.INTER_LINEAR), np.float32)


def quadrature(across: F64, spread: float) -> tuple[F64, F64]:
    """Return an even and an odd filter without a mean, of unit total size."""
    bell = np.exp(-(across**2) / (2 * spread**2))
    even = (1 - across**2 / spread**2) * bell
    odd = across / spread * bell
    even = even - even.mean()
    return even / np.abs(even).sum(), odd / np.abs(odd).sum()


def sight(seen: Evidence, pieces: Pieces, points: F64, normals: Points, reach: float) -> Sightings:
    """Look for each piece's line about where it should lie.

    Parameters
    ----------
    seen : Evidence
    pieces : Pieces
    points : ndarray, shape (P, S, 2)
        The pieces' samples as they should lie on the flat frame, mm.
    normals : ndarray, shape (P, 2)
        There too.
    reach : float
        How far to each side, mm.
    """
    there = _in_view(seen, points, normals, reach)
    nothing = np.zeros((len(points), FOUND))
    every = Sightings(
        nothing.copy(), nothing.copy(), np.full_like(nothing, _UNCLEAR), np.zeros_like(there)
    )
    if not there.any():
        return every
    found = _sighted(seen, pieces.rim[there], points[there], normals[there], reach)
    for whole, part in ((every.offset, found.offset), (every.strength, found.strength),
                        (every.spread, found.spread), (every.known, found.known)):  # fmt: skip
        whole[there] = part
    return every


def _in_view(seen: Evidence, points: F64, normals: Points, reach: float) -> Mask:
    """Tell which pieces have something in view about them: the others need no looking at."""
    spots = points[:, ::3, None] + np.array([-reach, 0.0, reach])[:, None] * normals[:, None, None]
    column, row = np.rint(seen.flat.cells(spots.reshape(-1, 2))).astype(int).T
    high, wide = seen.known.shape
    inside = (column >= 0) & (row >= 0) & (column < wide) & (row < high)
    lit = inside & (seen.known[np.where(inside, row, 0), np.where(inside, column, 0)] > 0)
    return np.asarray(lit.reshape(len(points), -1).any(axis=1))


def _sighted(seen: Evidence, rim: Mask, points: F64, normals: Points, reach: float) -> Sightings:
    margin = math.ceil(3 * SPREAD / _STEP) * _STEP + 4.0
    side = reach + margin
    at = _offsets(side)
    shade, light, known, cloth = _across(seen, points, normals, at)
    across = _offsets(3 * SPREAD)
    even, odd = (_filtered(shade, kernel) for kernel in quadrature(across, SPREAD))
    energy = _filtered(even**2 + _ODD * odd**2, _bell(_MERGED))  # a line's side lobes are no lines
    lit = known > 0.85
    near: Mask = np.asarray(np.abs(at) <= reach)
    wanted = lit & near & ~_creased(seen.platen, points, normals, at)
    on_cloth = _worst(cloth, round(_ON_CLOTH / _STEP)) > 0.7
    seams = _peaks(at, energy, wanted & on_cloth)
    floor = _median(np.where(lit & (cloth > 0.7), energy, np.nan)) + _PLAIN**2 / 4
    clear = np.clip((seams[1] / floor[:, None] - 2.0) / 6.0, 0.0, 1.0)
    found = seams[0], clear, np.full_like(clear, 0.4)
    steps = _filtered(light, quadrature(across, SPREAD)[1])
    rims, rim_known = _rims(at, steps, cloth, lit, reach)
    ends = rim[:, None]
    offset, strength, spread = (np.where(ends, r, s) for r, s in zip(rims, found, strict=True))
    fully = (wanted & on_cloth)[:, near].mean(axis=1) > 0.5
    return Sightings(offset, strength, spread, np.where(rim, rim_known, fully))


def _offsets(reach: float) -> F64:
    count = round(reach / _STEP)
    return np.asarray(np.arange(-count, count + 1) * _STEP, np.float64)


def _across(seen: Evidence, points: F64, normals: Points, at: F64) -> tuple[F64, F64, F64, F64]:
    """Return shade, light, what is known and cloth across each piece, means along it, (P, T)."""
    # Along a piece before across it: so its samples are added up in long rows.
    cells = seen.flat.cells(points).astype(np.float32)
    step = (normals / seen.flat.step).astype(np.float32)
    x, y = (cells[:, :, None, k] + at.astype(np.float32) * step[:, None, None, k] for k in (0, 1))
    shape = (len(points), -1)
    found = cv2.remap(seen.planes, x.reshape(shape), y.reshape(shape), cv2.INTER_LINEAR)
    found = found.reshape(len(points), points.shape[1], -1)
    means = found.mean(axis=1).reshape(len(points), len(at), 4).astype(np.float64)
    shade, light, known, cloth = (np.ascontiguousarray(means[..., k]) for k in range(4))
    return shade, light, known, cloth


def _filtered(rows: F64, kernel: F64) -> F64:
    turned = np.ascontiguousarray(kernel[::-1][None])
    return np.asarray(cv2.filter2D(rows, cv2.CV_64F, turned, borderType=cv2.BORDER_REPLICATE))


def _bell(spread: float) -> F64:
    at = _offsets(3 * spread)
    bell = np.exp(-(at**2) / (2 * spread**2))
    return np.asarray(bell / bell.sum())


def _worst(rows: F64, reach: int) -> F64:
    return np.asarray(cv2.erode(rows, np.ones((1, 2 * reach + 1), np.uint8)))


def _median(rows: F64) -> F64:
    """Return each row's median, leaving out nan; 0 where all are."""
    # Numpy's own nanmedian takes five times as long on rows of this size.
    ordered, count = np.sort(rows, axis=1), np.isfinite(rows).sum(axis=1)
    at = np.arange(len(rows))
    middle = (ordered[at, np.maximum(count - 1, 0) // 2] + ordered[at, count // 2]) / 2
    return np.where(count > 0, middle, 0.0)


def _creased(platen: PlatenFace, points: F64, normals: Points, at: F64) -> Mask:
    """Tell where a piece could be taken for the bend at the platen's edge, shape (P, T)."""
    middles = points.mean(axis=1)[:, None] + at[None, :, None] * normals[:, None]
    half = np.array([platen.width, platen.depth]) / 2
    off = np.abs(middles) - half
    beside: Mask = np.asarray((off < _CREASE).all(axis=2))
    sideways = np.abs(normals) > _ALONG_CREASE
    return np.asarray(
        beside & ((np.abs(off) < _CREASE) & np.asarray(sideways)[:, None]).any(axis=2)
    )


def _peaks(at: F64, height: F64, wanted: Mask) -> tuple[F64, F64]:
    """Return places and heights of the highest wanted peaks of each row, shape (P, FOUND)."""
    middle, left, right = height[:, 1:-1], height[:, :-2], height[:, 2:]
    top = np.where((middle > left) & (middle >= right) & wanted[:, 1:-1], middle, 0.0)
    order = np.argpartition(-top, FOUND, axis=1)[:, :FOUND]
    rows = np.arange(len(height))[:, None]
    high, low, up = top[rows, order], left[rows, order], right[rows, order]
    bend = np.where(high > 0, low - 2 * high + up, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (low - up) / bend, 0.0)
    return at[order + 1] + np.clip(shift, -0.5, 0.5) * _STEP, high


def _rims(
    at: F64, odd: F64, cloth: F64, lit: Mask, reach: float
) -> tuple[tuple[F64, F64, F64], Mask]:
    """Return where the cloth ends along each row (normals run outwards), as `Sightings` has it."""
    inside: Mask = np.asarray(cloth > 0.5)
    ends = np.zeros(inside.shape, bool)
    ends[:, :-1] = inside[:, :-1] & ~inside[:, 1:]
    distance = np.where(ends & (np.abs(at) <= reach), np.abs(at), np.inf)
    index = np.argmin(distance, axis=1)
    there = np.isfinite(distance.min(axis=1))
    end = at[index] + _SHORT
    # Seen on both sides: else measuring ends there, not the cloth.
    reaches = np.array([-6.0, -3.0, 3.0, 6.0])
    probe = np.clip(np.searchsorted(at, end[:, None] + reaches), 0, len(at) - 1)
    there &= np.take_along_axis(lit, probe, axis=1).all(axis=1)
    off = at[None] - end[:, None]
    window = np.exp(-((off / 5.0) ** 2)) * (np.abs(off) < 9.0) * lit
    place, high = _peaks(at, np.abs(odd), window > 0.05)
    high *= np.exp(-(((place - end[:, None]) / 5.0) ** 2))
    clear = np.clip(high / _STEEP, 0.0, 1.0) * (high > _PLAIN)
    best = clear.max(axis=1)
    weakest = np.argmin(clear, axis=1)
    rows = np.arange(len(place))
    place[rows, weakest] = end
    clear[rows, weakest] = np.maximum(0.35 * (1 - best), 0.0)
    spread = np.full_like(place, 0.7)
    spread[rows, weakest] = _UNCLEAR
    return (place, clear * there[:, None], spread), there
