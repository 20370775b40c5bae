"""What a calibration is good for, in plain words: up to which height, and what lies so high."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.model.uncertainty import worst
from calibration.rig.file import Rig
from calibration.solve.advice import THIN

HIGHEST = 20
"""Heights are looked at up to here, in whole mm."""

LADDER = (("tees", THIN), ("hoodies", 4.0), ("hoodies on a pad", 15.0))
"""What lies on a platen and how high, mm, the lowest first: fleece is 2 mm a layer, a usual pad
half an inch (common practice, no source)."""


@dataclass(frozen=True)
class GoodFor:
    """What a calibration is good for.

    Attributes
    ----------
    up_to : int or None
        Height above the bare platen, whole mm, up to which light lands within what was allowed;
        None if it does not even on the bare platen.
    sentence : str
        That in plain words, with what may lie on the platen.
    more : str
        What would bring more within reach; empty where nothing is lacking.
    """

    up_to: int | None
    sentence: str
    more: str


def verdict(rig: Rig) -> GoodFor:
    """Return what a rig is good for."""
    up_to = ready_up_to(rig)
    ready = [name for name, height in LADDER if up_to is not None and height <= up_to]
    beyond = [f"{name} ({height:g} mm)" for name, height in LADDER if name not in ready]
    lacking = f"not {', nor '.join(beyond)}" if beyond else ""
    if up_to is None:
        told = f"Not ready: on the bare platen light may land more than {_allowed(rig)} off"
    elif not ready:
        told = f"Ready on the bare platen, but for no cloth: {lacking}"
    else:
        which = ready[0] if len(ready) == 1 else f"{ready[0]} to {ready[-1]}"
        told = "; ".join(filter(None, (f"Ready up to {up_to} mm: {which}", lacking)))
    return GoodFor(up_to, f"{told}.", _more(rig, up_to) if beyond else "")


def ready_up_to(rig: Rig) -> int | None:
    """Return up to which height light lands within what was allowed, as `GoodFor.up_to`."""
    heights = [float(height) for height in range(HIGHEST + 1)]
    found = worst(rig.projector, rig.fit.matrix, rig.fit.freedom, rig.face, heights)
    over = np.array([each.bound > rig.stated.tolerance for each in found])
    first = int(np.argmax(over)) if over.any() else HIGHEST + 1
    return first - 1 if first else None


def _allowed(rig: Rig) -> str:
    return f"{rig.stated.tolerance:g} mm"


def _more(rig: Rig, up_to: int | None) -> str:
    """Return what would help where something is out of reach."""
    if up_to is None:
        return "Calibrate again."
    if not rig.photos:
        tape = "" if rig.stated.lens else "measure where the projector's lens is, or "
        return f"For more: {tape}calibrate from photos, one with the cards on a flat board."
    highest = max(photo.raised for photo in rig.photos)
    if highest < LADDER[-1][1]:
        return "For more: a photo with the cards on a flat board as high as what you press on."
    return "For more: a photo from another side, and cards laid flush with the edges."
