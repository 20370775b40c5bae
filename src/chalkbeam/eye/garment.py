"""Find the garment in a burst: where it lies, how large it is, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.geometry import XY, Isometry, PlatenFace, Points
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from chalkbeam.eye.burst import Burst, brightest, grey
from chalkbeam.eye.cutout import Unchanged, cloth_points
from chalkbeam.eye.judges import AGREE, Word, doubts, hear, misfits
from chalkbeam.eye.lines import F32, Evidence, evidence
from chalkbeam.eye.net import net_of
from chalkbeam.eye.outline import Pieces, pieces_of
from chalkbeam.eye.pose import Fit, Lay, apart, refine
from chalkbeam.eye.search import maps_of, search
from chalkbeam.eye.unroll import in_space, unroll
from chalkbeam.eye.values import GarmentSeen, SizeSeen
from chalkbeam.garments import Garment

OVERHANG = 12.7
"""How far the neck seam usually lies over the platen's edge, mm; as `placement.loading` lays it."""

_SATURATED = 0.97
_CLEARLY = 0.08  # so much better must another piece's lines fit before it is named
_HOPELESS = 15.0  # so much dearer after two rounds, a lay is given up, of its logarithm
_SIZE_KNOWN = 6.0  # how well the half chest must be known, standard deviation, mm
_SLIDES = (-20.0, -10.0, 10.0, 20.0)  # as far as a rib's edge is from its seam, mm
_TURNS = (-1.5, 1.5)  # about the collar's middle, degrees
_ROUGH, _CLOSE = (12.0, 8.0, 5.0), (8.0, 5.0, 3.5, 2.5, 2.5)  # how far lines are looked for, mm
_RIVAL = 5.0  # a lay elsewhere that is so nearly as likely makes it unsure, of its logarithm
_SAME = 4.0  # lays nearer than this are one, mm


@dataclass(frozen=True, eq=False)
class GarmentFound:
    """Where the garment lies, with what led there.

    Attributes
    ----------
    garment : GarmentSeen
        Its points are of the flat cloth carried on over the platen's edge, as a pose is.
    size : SizeSeen
    neck_hangs : (x, y) or None
        Where the neck's point itself is, seen from above: less far out if it hangs.
    platen_from_garment : Isometry or None
        How its drawing lies on the flat cloth carried on over the platen's edge: what light and
        loading go by.
    fit : Fit or None
    words : tuple of Word
        What each judge says.
    """

    garment: GarmentSeen
    size: SizeSeen
    neck_hangs: XY | None = None
    platen_from_garment: Isometry | None = None
    fit: Fit | None = None
    words: tuple[Word, ...] = ()


def find_garment(
    burst: Burst,
    surface: Points,
    camera: Pinhole,
    projector: ProjectorMap,
    platen: PlatenFace,
    garment: Garment,
    face: str,
    *,
    bare: Points | None = None,
    empty: Burst | None = None,
    others: Sequence[tuple[Garment, str]] = (),
    collar_turn: float = 0.0,
    covered: Points | None = None,
) -> GarmentFound:
    """Find a garment of known style, size and face.

    Parameters
    ----------
    burst : Burst
        Pictures of the loaded garment.
    surface : ndarray, shape (N, 3)
        Points of its surface from the lines of light, platen frame, mm; may be empty.
    camera : Pinhole
        The rig's eye.
    projector : ProjectorMap
    platen : PlatenFace
    garment : Garment
    face : {"front", "back"}
        The face expected to lie up.
    bare : ndarray, shape (M, 3), optional
        Points of the empty platen and what is about it, measured likewise.
    empty : Burst, optional
        Of the empty platen.
    others : sequence of (Garment, face)
        What it might be instead: asked only where it is not sure.
    collar_turn : float
        Direction of the centre line as usually loaded, radians; 0 with the collar away.
    covered : ndarray, shape (N, 2), optional
        Corners of a transfer that lies on it, platen frame, mm.
    """
    unchanged = None if empty is None else Unchanged.between(burst, empty, camera)
    cloth = surface if bare is None else cloth_points(surface, bare, platen, unchanged)
    net = net_of(cloth, camera, platen)
    flat = unroll(net, platen, camera, burst.size, projector, garment.thickness)
    seen = evidence(flat, reflected(burst), platen, covered)
    pieces = pieces_of(garment.face(face))
    fit, rival = _best(seen, pieces, platen, collar_turn)
    if fit is None:
        why = "No garment's lines show in the light: see that it lies in the light and in view."
        return GarmentFound(GarmentSeen(False, False, why=why), SizeSeen(None, False, why))
    words = hear(seen, pieces, fit)
    against = doubts(words, fit)
    if rival is not None:
        against.append(rival)
    instead = None
    if against and misfits(words, fit):
        instead = _instead(seen, fit, (garment, face), others)
    if instead is not None:
        against.insert(0, instead)
    return GarmentFound(
        _seen(fit, against, face),
        _size(fit, garment, against, instead),
        in_space(net, (fit.lay.x, fit.lay.y)),
        fit.lay.isometry,
        fit,
        words,
    )


def reflected(burst: Burst) -> F32:
    """Return the light that came back, linear: of the dimmer flash where white bleaches."""
    level = grey(burst.light("white"))
    bleached = brightest(burst.linear("white")) > _SATURATED
    if burst.has("dim") and float(bleached.mean()) > 0.01:
        dim = grey(burst.light("dim"))
        both = ~bleached & (level > 0.05)
        scale = float(np.median(level[both] / np.maximum(dim[both], 1e-3))) if both.any() else 5.0
        level = dim * np.float32(scale)
    return np.asarray(level, np.float32)


def _best(
    seen: Evidence, pieces: Pieces, platen: PlatenFace, collar_turn: float
) -> tuple[Fit | None, str | None]:
    """Return the best lay, and what else might be if that shows nearly as well."""
    up = np.array([-math.sin(collar_turn), math.cos(collar_turn)])
    reach = platen.depth / 2 if abs(up[1]) > 0.5 else platen.width / 2
    x, y = up * (reach + OVERHANG)
    candidates = search(maps_of(seen), pieces, Lay(float(x), float(y), collar_turn))
    rough = _distinct(seen, pieces, [candidate.lay for candidate in candidates], _ROUGH)
    fits: list[Fit] = []
    for each in rough[:3]:
        fits = _distinct(seen, pieces, [each.lay], _CLOSE, fits)
    if not fits:
        return None, None
    beside = [_slid(fits[0].lay, by) for by in _SLIDES] + [
        _turned(fits[0].lay, by) for by in _TURNS
    ]
    fits = _distinct(seen, pieces, beside, _CLOSE, fits)
    best = fits[0]
    for other in fits[1:]:
        away = max(
            math.hypot(best.lay.x - other.lay.x, best.lay.y - other.lay.y),
            math.dist(best.lay.lower, other.lay.lower),
        )
        if other.cost < best.cost + _RIVAL and away > AGREE:
            return best, f"it might as well lie {away:.0f} mm elsewhere"
    return best, None


def _distinct(
    seen: Evidence,
    pieces: Pieces,
    starts: list[Lay],
    reaches: tuple[float, ...],
    fits: Sequence[Fit] = (),
) -> list[Fit]:
    """Return the fits from these starts and those there are, best first, each lay once."""
    dearest = min((fit.cost for fit in fits), default=math.inf) + _HOPELESS
    found = list(fits)
    for lay in starts:
        known = [fit.lay for fit in found]
        fit = refine(seen, pieces, lay, reaches, dearest=dearest, known=known)
        if fit is not None:
            found.append(fit)
    kept: list[Fit] = []
    for fit in sorted(found, key=lambda fit: fit.cost):
        if all(apart(fit.lay, other.lay) > _SAME for other in kept):
            kept.append(fit)
    return kept


def _slid(lay: Lay, by: float) -> Lay:
    """Return a lay moved down its centre line, mm."""
    way = lay.centre_line
    return replace(lay, x=lay.x + by * math.sin(way), y=lay.y - by * math.cos(way))


def _turned(lay: Lay, by: float) -> Lay:
    """Return a lay turned about the neck, degrees."""
    return replace(lay, turn=lay.turn + math.radians(by))


def _seen(fit: Fit, against: list[str], face: str) -> GarmentSeen:
    lay = fit.lay
    why = (
        "The collar, the shoulders and the sides agree."
        if not against
        else f"Not sure where it lies: {against[0]}."
    )
    return GarmentSeen(
        seen=True,
        sure=not against,
        neck=(lay.x, lay.y),
        centre_line=lay.centre_line,
        lower=lay.lower,
        face="front" if face == "front" else "back",
        why=why,
    )


def _instead(
    seen: Evidence,
    fit: Fit,
    asked: tuple[Garment, str],
    others: Sequence[tuple[Garment, str]],
) -> str | None:
    """Return what the piece looks like if that shows clearly better than what was asked for.

    Whatever it is, its shoulders or its collar lie about where they seem to.
    """
    best, words = fit.badness - _CLEARLY, None
    for garment, face in others:
        pieces = pieces_of(garment.face(face))
        by = _top(asked[0], asked[1]) - _top(garment, face)  # so that its shoulders lie there
        starts = [replace(_slid(fit.lay, way), wide=0.0, long=0.0) for way in (0.0, by)]
        rough = _distinct(seen, pieces, starts, _ROUGH)
        other = refine(seen, pieces, rough[0].lay, _CLOSE, rough[0].modes) if rough else None
        if other is None or other.badness >= best:
            continue
        best = other.badness
        words = (
            f"it looks like the {face}, the order says the {asked[1]}"
            if garment.size == asked[0].size
            else f"it looks like {garment.size}, the order says {asked[0].size}"
        )
    return words


def _top(garment: Garment, face: str) -> float:
    """Return how far down the garment's top lies, garment frame, mm."""
    return float(garment.face(face).outline[:, 1].min())


def _size(fit: Fit, garment: Garment, against: list[str], instead: str | None) -> SizeSeen:
    if instead is not None:
        return SizeSeen(None, False, f"Check the piece: {instead}.")
    chest = garment.measures["half_chest"].value * math.exp(fit.lay.wide)
    spread = fit.spread(np.array([0.0, 0.0, 0.0, chest, 0.0, 0.0]))
    sure = not against and spread < _SIZE_KNOWN
    why = (
        f"The lines of {garment.label} fit."
        if sure
        else "The width does not show clearly: check the label."
    )
    return SizeSeen(chest, sure, why)
