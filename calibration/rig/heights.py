"""Photos whose cards lay higher or lower than was said: told by where the light falls on them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.geometry import Points
from calibration.model.projector import ProjectorMap
from calibration.model.uncertainty import over_platen
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig.drift import solve_bumped
from calibration.rig.file import Rig

LEAST, MOST = 2.5, 60.0
"""How far off a stated height, mm, is plain, and how high a board is looked for."""

ALIKE = 0.2
"""It lay at another height where that leaves less than this share of the movement, rms."""


def check_heights(rig: Rig, photos: Sequence[PhotoObservation]) -> None:
    """Pass if no photo shows its cards at another height than it was given with.

    A projector that sank by as much, without turning or moving aside, looks the same.

    Parameters
    ----------
    rig : Rig
        As it is on file.
    photos : sequence of PhotoObservation
        Taken now.

    Raises
    ------
    Refusal
        For the first that does.
    """
    for photo in photos:
        # As if of the bare platen: where the light falls on that plane tells its height.
        now = solve_bumped(rig, [replace(photo, raised=0.0)]).map
        height = height_of(rig.projector, now, over_platen(rig.face, 25.0), photo.raised)
        if height is not None:
            raise _misstated(photo, height)


def height_of(
    filed: ProjectorMap, now: ProjectorMap, points: Points, stated: float
) -> float | None:
    """Return at which height a plane lies other than stated, by the light on it; None if not.

    Parameters
    ----------
    filed : ProjectorMap
        The light as it was.
    now : ProjectorMap
        As it is seen on the plane, taken for the bare platen.
    points : Points
        Where to compare, shape (N, 2), mm.
    stated : float
        Height that the plane is said to have, mm.
    """
    pixels = filed.projector_from_platen(points)
    landed = now.platen_from_projector(pixels)

    def left(height: float) -> float:
        off = filed.platen_from_projector(pixels, height) - landed
        return math.sqrt(float((off**2).sum(axis=1).mean()))

    best = min(np.arange(0.0, MOST + 1).tolist(), key=left)
    best = min(np.linspace(best - 1, best + 1, 41).tolist(), key=left)
    if abs(best - stated) < LEAST or left(best) > ALIKE * left(stated):
        return None
    return float(best)


def _misstated(photo: PhotoObservation, height: float) -> Refusal:
    """Say that the light falls as on cards at another height, mm, than a photo was given with."""
    again = Remedy(RemedyKind.AGAIN, "take it again", photo.name)
    if photo.raised and height < LEAST:
        return Refusal(
            f"{photo.name} was given as of cards on a board of {photo.raised:g} mm, and its light "
            "falls as on the bare platen: name it among the photos of that, or lay the cards on "
            "the board and ",
            again,
            ".",
        )
    if photo.raised:
        how_high = Remedy(RemedyKind.SPACER, "measure the board")
        return Refusal(
            f"{photo.name} was given as of cards on a board of {photo.raised:g} mm, and its light "
            f"falls as on one of {height:.0f} mm: ",
            how_high,
            ".",
        )
    return Refusal(
        f"{photo.name} was given as of cards on the bare platen, and its light falls as on a board "
        f"of {height:.0f} mm: ",
        Remedy(RemedyKind.SPACER, "say how high that is"),
        ", or lay the cards on the bare platen and ",
        again,
        ". If they lay there, the projector has moved: calibrate again.",
    )
