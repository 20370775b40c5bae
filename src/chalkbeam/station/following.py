"""What a reading of the press means for the run: whether light may follow, what to say."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.geometry import Isometry, Points
from calibration.refusal import Refusal
from chalkbeam.artwork.ink_measures import measured_ink
from chalkbeam.artwork.letters import letter_mask
from chalkbeam.eye.moving import how_to_move
from chalkbeam.eye.read import PieceRead, WantedPrint
from chalkbeam.eye.values import HeightSeen, Reading
from chalkbeam.garments.fabrics import find_fabric
from chalkbeam.orders.pieces import Imprint
from chalkbeam.placement import Placement
from chalkbeam.placement.loading import laid_at
from chalkbeam.placement.shift import Shift
from chalkbeam.station.readiness import Readiness
from chalkbeam.station.ready_imprint import ClothSeen, ReadyImprint
from overlay.colour.colorimetry import ciede2000, lab_from_linear, linear_from_srgb
from overlay.palette import RGB

OTHER_COLOUR = 14.0
"""CIEDE2000 beyond which cloth is another colour than the sheet says: named colours of one word
(navy) differ by so much from dye lot to dye lot. Common practice, no source."""

UNEVEN = 4.0
"""Difference of height under a print that is a fold or a pad's edge, mm."""

_HIGHEST = 60.0  # mm


@dataclass(frozen=True)
class Follow:
    """What becomes of a garment that was read.

    Attributes
    ----------
    shift : Shift or None
        To where the light goes: how far off the planned load the garment lies; None where that
        was not seen.
    sure : bool
        Whether the light may go there without a person.
    words : str
        What to tell; empty if nothing.
    cloth : ClothSeen
    right_piece : bool
        Whether it is surely of the size and the colour that the order asks for.
    """

    shift: Shift | None
    sure: bool
    words: str
    cloth: ClothSeen
    right_piece: bool = False


def follow_garment(piece: PieceRead, ready: ReadyImprint, readiness: Readiness) -> Follow:
    """Return what becomes of the light for a garment as it was read.

    Parameters
    ----------
    piece : PieceRead
    ready : ReadyImprint
        The current imprint.
    readiness : Readiness
        For what is pressed with it while the garment stays so.
    """
    reading, pose = piece.reading, piece.found.platen_from_garment
    cloth = _cloth(reading, ready)
    if not reading.garment.seen or pose is None:
        return Follow(None, False, reading.garment.why, cloth)
    shift = shift_to(ready.planned.platen_from_garment, pose)
    wrong = _wrong_piece(reading, readiness)
    if wrong:
        return Follow(shift, False, wrong, cloth)
    if not reading.garment.sure:
        return Follow(shift, False, f"{reading.garment.why} Space: it lies as shown.", cloth)
    try:
        for each in readiness.together():
            laid_at(each.choice.placement, each.planned, pose)
    except Refusal as refusal:
        how = how_to_move(pose, ready.planned.platen_from_garment)
        return Follow(None, False, f"{how[:1].upper()}{how[1:]}: {refusal}.", cloth)
    # Neither says that it is wrong; that it is right wants both to be known.
    known = reading.size.sure and reading.colour is not None and readiness.colour is not None
    return Follow(shift, True, _uneven(reading, ready, pose), cloth, known)


def shift_to(planned: Isometry, pose: Isometry) -> Shift:
    """Return how far a garment lies off its planned pose, turned about its collar."""
    angle = math.remainder(pose.angle - planned.angle, 2 * math.pi)
    return Shift(round(pose.x - planned.x, 3), round(pose.y - planned.y, 3), round(angle, 6))


def wanted_print(placement: Placement, imprint: Imprint) -> WantedPrint:
    """Return the print that an imprint asks for, as the eye looks for it.

    Raises
    ------
    Refusal
        If its artwork cannot be read.
    """
    artwork = placement.artwork
    path = imprint.art.path
    if path is None:
        ink, known = letter_mask(artwork), True
    else:
        ink, known = measured_ink(path, mirrored=artwork.mirrored).mask(), False
    return WantedPrint(artwork, ink, placement.garment_from_art, known)


def _wrong_piece(reading: Reading, readiness: Readiness) -> str:
    """Return why it is not the piece that the order asks for; empty if nothing says so."""
    if reading.size.why.startswith("Check the piece"):
        return reading.size.why
    stated = readiness.colour
    if stated is None or reading.colour is None:
        return ""
    lab = lab_from_linear(np.array([linear_from_srgb(np.array(stated[1]))]))[0]
    off = float(ciede2000(np.array([reading.colour.lab]), np.array([lab]))[0])
    if off <= OTHER_COLOUR:
        return ""
    return f"Check the piece: its cloth is {reading.colour.hex}, the order says {stated[0]}."


def _cloth(reading: Reading, ready: ReadyImprint) -> ClothSeen:
    colour = None if reading.colour is None else _rgb(reading.colour.hex)
    heights = _under_print(reading.height, ready)
    up = float(np.median(heights)) if len(heights) >= 4 else math.nan
    return ClothSeen(colour, round(up, 1) if 0 <= up <= _HIGHEST else None)


def _uneven(reading: Reading, ready: ReadyImprint, pose: Isometry) -> str:
    """Tell a fold, a seam or a pad's edge under the print."""
    heights = _under_print(reading.height, ready)
    if len(heights) < 12:
        return ""
    low, high = np.percentile(heights, [5, 95])
    if high - low <= UNEVEN:
        return ""
    return f"The cloth under the print is uneven by {high - low:.0f} mm: smooth folds out."


def _under_print(height: HeightSeen | None, ready: ReadyImprint) -> Points:
    """Return what is known of the heights where the print goes, mm, shape (N,)."""
    if height is None:
        return np.zeros(0)
    choice = ready.choice
    pose = choice.loading.platen_from_garment @ choice.placement.garment_from_art
    corners = pose.apply(choice.placement.artwork.ink.grown(5.0).corners())
    low, high = (
        np.rint((edge - height.origin) / height.step).astype(int)
        for edge in (corners.min(axis=0), corners.max(axis=0))
    )
    (left, front), (right, back) = np.maximum(low, 0), np.maximum(high, 0)
    part = height.heights[front : back + 1, left : right + 1]
    return np.asarray(part[np.isfinite(part)])


def _rgb(code: str) -> RGB:
    return find_fabric(code).colour
