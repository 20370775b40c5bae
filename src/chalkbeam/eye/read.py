"""One burst read whole: where the garment lies, its size, height and colour, and its transfer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Isometry, Points
from calibration.model.pinhole import Pinhole
from calibration.refusal import Refusal
from calibration.rig.eye import eye_of
from calibration.rig.file import Rig
from chalkbeam.artwork import Artwork
from chalkbeam.eye.burst import Burst, check_exposure, grey
from chalkbeam.eye.colour import measure_colour
from chalkbeam.eye.drift import check_dots
from chalkbeam.eye.garment import OVERHANG, GarmentFound, find_garment
from chalkbeam.eye.sheet import WIDEST_MARGIN
from chalkbeam.eye.surface import SeenSurface, measure_surface
from chalkbeam.eye.transfer import (
    FAR,
    NEAR,
    USUAL_TOLERANCE,
    Reach,
    Target,
    Tolerance,
    find_transfer,
)
from chalkbeam.eye.values import (
    GarmentSeen,
    Reading,
    RigSeen,
    SizeSeen,
    TransferSeen,
)
from chalkbeam.garments import Garment

_BARE = 8.0
"""The empty platen is measured this near to its plane, mm, or it is not the rig's."""

_CLOTH = 0.35
"""Cloth rises so much over the platen that it lies on, mm, or changes its light by `_OTHER`."""

_OTHER = 0.12
_THIRD = 3  # every third pixel either way tells whether anything lies there
_LEAST_CHANGED = 0.15  # of the platen, before anything lies there
_KNOWN_MARGIN = 6.0  # about a sheet of known size, mm: its shadow
_RIM = 15.0  # mm of the platen's rim, and of the sheet's surroundings, whose colour is not taken


@dataclass(frozen=True, eq=False)
class WantedPrint:
    """A print that the garment is to get, and how to know it.

    Attributes
    ----------
    artwork : Artwork
    ink : ndarray of bool, shape (h, w)
        Where its ink is, cut to its bounds, as one should see it lying there.
    garment_from_art : Isometry
        Where the placement engine puts it.
    sheet_known : bool
        Whether the artwork's sheet is the one that is laid.
    """

    artwork: Artwork
    ink: NDArray[np.bool_]
    garment_from_art: Isometry
    sheet_known: bool = False


@dataclass(frozen=True, eq=False)
class PieceRead:
    """A reading, and what light and loading go by.

    Attributes
    ----------
    reading : Reading
    found : GarmentFound
    lies : Isometry
        platen_from_garment that the transfer was held against.
    """

    reading: Reading
    found: GarmentFound
    lies: Isometry


@dataclass(frozen=True, eq=False)
class PressSeen:
    """What lies under the camera, before it is known what it is.

    Attributes
    ----------
    surface, bare : SeenSurface
        Of the loaded platen, and of the empty one and what is about it.
    rig : RigSeen
    """

    surface: SeenSurface
    bare: SeenSurface
    rig: RigSeen


def read_press(rig: Rig, burst: Burst, empty: Burst) -> PressSeen:
    """Measure surfaces and drift.

    Parameters
    ----------
    rig : Rig
        With its eye.
    burst, empty : Burst
        Of the loaded platen and of the bare one.

    Raises
    ------
    Refusal
        If the rig has no eye, a burst shows no light or lacks its lines, pictures differ in size,
        or the empty platen is not where the rig has it.
    """
    if burst.size != empty.size:
        raise Refusal(
            f"{burst.where} has pictures of {burst.size[0]} x {burst.size[1]} and {empty.where} "
            f"of {empty.size[0]} x {empty.size[1]}: take both with one setting of the camera."
        )
    bare, drift = _bare(rig, empty)
    check_exposure(burst)
    known = np.isfinite(bare.grid)
    if known.mean() < 0.3 or abs(float(np.median(bare.grid[known]))) > _BARE:
        raise Refusal(
            f"{empty.where} does not show the bare platen of the rig “{rig.name}”: see that it is "
            "the right rig and that camera and projector stand as they did, or fit its eye anew."
        )
    return PressSeen(measure_surface(rig, burst), bare, drift)


@lru_cache(maxsize=1)
def _bare(rig: Rig, empty: Burst) -> tuple[SeenSurface, RigSeen]:
    """Return what an empty burst tells: worked out once, however many pieces come after it."""
    check_exposure(empty)
    return measure_surface(rig, empty), check_dots(rig, empty)


def usual_load(rig: Rig) -> Isometry:
    """Return how a garment usually lies, platen_from_garment: centred, its collar off the edge."""
    return Isometry(0.0, rig.face.depth / 2 + OVERHANG, mirrored=True)


def read_piece(
    rig: Rig,
    burst: Burst,
    empty: Burst,
    garment: Garment,
    face: str,
    *,
    wanted: WantedPrint | None = None,
    usual: Isometry | None = None,
    lies: Isometry | None = None,
    others: Sequence[tuple[Garment, str]] = (),
    tolerance: Tolerance = USUAL_TOLERANCE,
) -> PieceRead:
    """Read all that one burst tells of a piece.

    Parameters
    ----------
    rig : Rig
        With its eye.
    burst, empty : Burst
        Of the loaded platen and of the bare one.
    garment : Garment
        As ordered.
    face : {"front", "back"}
    wanted : WantedPrint, optional
        The transfer that should lie there; without it none is looked for.
    usual : Isometry, optional
        platen_from_garment of the standard load; `usual_load` without it.
    lies : Isometry, optional
        platen_from_garment as a person has confirmed it: the transfer is held against this.
    others : sequence of (Garment, face)
        What the piece might be instead.
    tolerance : Tolerance
        Of the transfer's place.

    Raises
    ------
    Refusal
        As `read_press`.
    """
    usual = usual_load(rig) if usual is None else usual
    press = read_press(rig, burst, empty)
    camera = eye_of(rig).camera
    if _anything_lies(rig, burst, empty, press):
        found = find_garment(
            burst,
            press.surface.points,
            camera,
            rig.projector,
            rig.face,
            garment,
            face,
            bare=press.bare.points,
            empty=empty,
            others=others,
            collar_turn=usual.angle,
            covered=None
            if wanted is None
            else _covered(
                burst,
                camera,
                press.surface,
                wanted,
                usual if lies is None else lies,
                NEAR if lies is not None else FAR,
            ),
        )
    else:
        why = "Nothing lies on the platen: lay the garment on it."
        found = GarmentFound(GarmentSeen(False, False, why=why), SizeSeen(None, False, why))
    seen = found.garment.sure and found.platen_from_garment is not None
    pose = lies or (found.platen_from_garment if seen else None) or usual
    transfer, target = None, None
    if wanted is not None:
        target = Target.of(
            wanted.artwork, wanted.ink, pose @ wanted.garment_from_art, wanted.sheet_known
        )
        if found.garment.seen:
            look = partial(find_transfer, burst, camera, target, press.surface.height_at, tolerance)
            if lies is not None or seen:
                transfer = look()
            else:
                guess = found.platen_from_garment
                transfer = look() if guess is None else look(about=guess @ wanted.garment_from_art)
                if transfer.off is None:
                    transfer = look(FAR)
                transfer = _by_usual_load(transfer)
        else:
            why = "No garment is seen, so no transfer is looked for."
            transfer = TransferSeen(False, False, None, None, "cannot see", why)
    area = _cloth_area(rig, burst.size, press.surface, target)
    colour = measure_colour(rig, burst, empty, area) if found.garment.seen else None
    height = press.surface.seen
    return PieceRead(
        Reading(found.garment, found.size, height, colour, transfer, press.rig), found, pose
    )


def _covered(
    burst: Burst, camera: Pinhole, surface: SeenSurface, wanted: WantedPrint, lies: Isometry,
    reach: Reach,
) -> Points | None:  # fmt: skip
    """Return the corners of the transfer that lies on the garment, mm; None where none shows."""
    about = lies @ wanted.garment_from_art
    target = Target.of(wanted.artwork, wanted.ink, about, wanted.sheet_known)
    seen = find_transfer(burst, camera, target, surface.height_at, reach=reach)
    if seen.off is None:
        return None
    there = Isometry(
        about.x + seen.off[0], about.y + seen.off[1], about.angle + (seen.turned or 0.0),
        mirrored=about.mirrored,
    )  # fmt: skip
    known, margin = target.sheet, _KNOWN_MARGIN
    if known is None:
        known, margin = wanted.artwork.ink, WIDEST_MARGIN
    x, y = known.width / 2 + margin, known.height / 2 + margin
    return there.apply(np.array([(-x, -y), (x, -y), (x, y), (-x, y)]) + known.centre)


def _by_usual_load(found: TransferSeen) -> TransferSeen:
    """Return what is said of a transfer whose garment is not surely seen: never "good"."""
    if found.verdict == "cannot see":
        return found
    why = (
        "Where the garment lies is not sure, so the transfer is held against the standard load: "
        + found.why[:1].lower()
        + found.why[1:]
    )
    verdict = "cannot see" if found.verdict == "good" else found.verdict
    return replace(found, sure=False, verdict=verdict, why=why)


def _anything_lies(rig: Rig, burst: Burst, empty: Burst, press: PressSeen) -> bool:
    """Tell whether the platen is covered: by height, or by other light coming back."""
    higher = press.surface.grid - press.bare.grid > _CLOTH
    part = slice(None, None, _THIRD), slice(None, None, _THIRD)
    shown = _mask(rig, burst.size, _inset(rig, _RIM))[part]
    now, before = (grey(each.light("white", part))[shown] for each in (burst, empty))
    typical = float(np.median(before)) if len(before) else 0.0
    other = np.abs(now - before) > _OTHER * max(typical, 1e-6) + 0.3 * before
    changed = float(other.mean()) if len(other) else 0.0
    return max(float(higher.mean()), changed) > _LEAST_CHANGED


def _cloth_area(
    rig: Rig, size: tuple[int, int], surface: SeenSurface, target: Target | None
) -> NDArray[np.bool_] | None:
    """Return camera pixels that show cloth on the platen, the transfer's surroundings left out."""
    known = surface.grid[np.isfinite(surface.grid)]
    up = float(np.median(known)) if len(known) else 0.0
    area = _mask(rig, size, _inset(rig, 2 * _RIM), up)
    if target is None:
        return area
    corners = target.corners()
    low, high = corners.min(axis=0), corners.max(axis=0)
    for margin in (3 * _RIM, _RIM):
        (a, b), (c, d) = low - margin, high + margin
        left = area & ~_mask(rig, size, np.array([(a, b), (c, b), (c, d), (a, d)]), up)
        if left.mean() > 0.1 * area.mean():
            return left
    return None


def _inset(rig: Rig, by: float) -> Points:
    x, y = rig.face.width / 2 - by, rig.face.depth / 2 - by
    return np.array([(-x, -y), (x, -y), (x, y), (-x, y)])


def _mask(rig: Rig, size: tuple[int, int], corners: Points, up: float = 0.0) -> NDArray[np.bool_]:
    """Return camera pixels within platen corners at a height, shape (height, width)."""
    ring = np.vstack(
        [
            start + np.linspace(0, 1, 12, endpoint=False)[:, None] * (end - start)
            for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True)
        ]
    )
    seen = eye_of(rig).camera.project(np.column_stack([ring, np.full(len(ring), up)]))
    mask = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(mask, [np.rint(np.nan_to_num(seen)).astype(np.int32)], 1)
    return mask.astype(bool)
