"""What to tell the operator of a picture, and whether it is worth a photo. Pure.

Left, right, towards and away are the operator's own, whichever way the camera is held:
the cards say where the platen's sides are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from calibration.geometry import PlatenFace, rectangle
from calibration.photo.sharpness import LARGEST_BLUR
from calibration.targets.cards import NAMES
from chalkbeam.setup.camera.quick_look import Exposure, QuickLook, movement

XYZ = tuple[float, float, float]

STEADY = 0.7
"""Seconds for which the picture must rest before a photo is taken of it."""

APART = math.radians(14.0)
"""Photos from directions closer than this tell the same thing twice."""

STEEPEST = math.radians(50.0)
"""Farther off upright the far cards are too foreshortened."""

_FASTEST, _JITTER = 2.5, 0.8
"""Movement that counts as rest: modules a second, but at least so many px between two
pictures, which is the scatter of the quick look itself. A rolling shutter that reads in
30 ms then shears a picture by less than a tenth of a module."""

_LEAST_FILL = 0.5
"""Share of the picture, across or down, that the platen must at least take."""

_FULL = 0.75
"""Share of the picture beyond which there is no use in moving closer."""

LEAST_MODULE = 2.6
"""Smallest module in which markers are read, px, as `calibration.detect.diagnose` judges photos."""


class Want(Enum):
    """What a picture lacks, or that it lacks nothing."""

    LIGHT = "light"
    SHARPNESS = "sharpness"
    CARDS = "cards"
    AIM = "aim"
    DISTANCE = "distance"
    DIRECTION = "direction"
    STILLNESS = "stillness"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Advice:
    """One sentence for the operator.

    Attributes
    ----------
    want : Want
    sentence : str
    """

    want: Want
    sentence: str

    @property
    def take(self) -> bool:
        """Whether the picture is worth a photo."""
        return self.want is Want.NOTHING


_BLURRED = Advice(Want.SHARPNESS, "Blurred: hold the camera still, and let it focus on the cards.")


@dataclass(frozen=True)
class Watch:
    """What one picture tells for judging the next.

    Attributes
    ----------
    face : PlatenFace
    taken : tuple of (float, float, float)
        Directions, as `QuickLook.towards`, from which photos are taken that the next must
        not repeat.
    last : QuickLook or None
        The picture before.
    still_since : float
        Since when the picture has been at rest, seconds; infinite while it moves.
    apart : float
        Least angle between the next photo's direction and each of those, radians.
    side : str
        Side of the platen that the next photo was asked for from, as a `Remedy` has it; it is
        advised where another direction is wanted, and no condition.
    """

    face: PlatenFace
    taken: tuple[XYZ, ...] = ()
    last: QuickLook | None = None
    still_since: float = math.inf
    apart: float = APART
    side: str = ""

    def after(self, now: QuickLook) -> Watch:
        """Return the watch after a picture."""
        if self.last is None or not _rests(self.last, now):
            return replace(self, last=now, still_since=math.inf)
        return replace(self, last=now, still_since=min(self.still_since, self.last.at))

    def with_photo(self, towards: XYZ | None) -> Watch:
        """Return the watch after a photo was taken."""
        taken = self.taken if towards is None else (*self.taken, towards)
        return replace(self, taken=taken, last=None, still_since=math.inf)


def advise(now: QuickLook, watch: Watch) -> Advice:
    """Judge a picture.

    Parameters
    ----------
    now : QuickLook
    watch : Watch
        With `now` already seen (`Watch.after`).
    """
    fault = fault_of_view(now, watch)
    if fault is not None:
        return fault
    if now.blur > LARGEST_BLUR:
        return _BLURRED
    if now.at - watch.still_since < STEADY:
        return Advice(Want.STILLNESS, "Good: hold the camera still.")
    return Advice(Want.NOTHING, "Taking the photo.")


def fault_of_view(now: QuickLook, watch: Watch) -> Advice | None:
    """Return what is wrong with where the camera is and what it sees, sharp or not."""
    missing = [name for name in NAMES if name not in now.cards]
    if missing:
        return (
            _unlit(now) or _off_picture(now, watch.face) or _too_far(now) or _unseen(now, missing)
        )
    return _off_picture(now, watch.face) or _too_far(now) or _poor_direction(now, watch)


def _rests(before: QuickLook, now: QuickLook) -> bool:
    allowed = max(_JITTER, _FASTEST * now.module * (now.at - before.at))
    return movement(before, now) <= allowed


def _unlit(now: QuickLook) -> Advice | None:
    if now.light is Exposure.DARK:
        return Advice(
            Want.LIGHT, "Too dark: put on the room light, and check that the lens is not covered."
        )
    if now.light is Exposure.BRIGHT:
        return Advice(Want.LIGHT, "Too bright: dim the room light or shade the lamp.")
    return None


def _unseen(now: QuickLook, missing: Sequence[str]) -> Advice:
    if now.blur > LARGEST_BLUR:
        return _BLURRED
    if not now.cards:
        return Advice(
            Want.CARDS, "No cards are seen: aim the camera at the four cards on the platen."
        )
    names = missing[0] if len(missing) == 1 else f"{', '.join(missing[:-1])} and {missing[-1]}"
    card, them = ("card is", "it") if len(missing) == 1 else ("cards are", "them")
    return Advice(
        Want.CARDS,
        f"The {names} {card} not seen: bring {them} into view, clear of glare and hands.",
    )


def _off_picture(now: QuickLook, face: PlatenFace) -> Advice | None:
    """Say that a part of the platen is outside the picture, and on which side."""
    if now.outline is None:
        return None
    outside = ((now.outline < 0) | (now.outline > np.array(now.size) - 1)).any(axis=1)
    if not outside.any():
        return None
    corners = rectangle(face.width, face.depth)[outside] / (face.width, face.depth)
    x, y = corners.mean(axis=0)
    ways = [
        way
        for way, meant in (
            ("to your left", x < -0.1),
            ("to your right", x > 0.1),
            ("towards you", y < -0.1),
            ("away from you", y > 0.1),
        )
        if meant
    ]
    if not ways or outside.sum() > 2:
        return Advice(
            Want.DISTANCE, "Too near: move the camera farther away, until all four cards are seen."
        )
    return Advice(
        Want.AIM, f"A part of the platen is cut off: aim the camera more {' and '.join(ways)}."
    )


def _too_far(now: QuickLook) -> Advice | None:
    if now.outline is not None:
        fills = np.ptp(now.outline, axis=0) / now.size
        fill = float(fills.max())
        if now.module < LEAST_MODULE and fill > _FULL and fills.min() < fill / 2:
            return Advice(
                Want.DISTANCE,
                "Too small: turn the camera by a quarter, so that the platen's longer side lies "
                "along the picture's, and move it closer.",
            )
        if fill < _LEAST_FILL or now.module < LEAST_MODULE:
            return Advice(
                Want.DISTANCE,
                "Too far: move the camera closer, until the platen fills most of the picture.",
            )
    return None


def _poor_direction(now: QuickLook, watch: Watch) -> Advice | None:
    if now.towards is None:
        return None
    if math.acos(min(1.0, now.towards[2])) > STEEPEST:
        return Advice(
            Want.DIRECTION, "Too slanting: move the camera higher, and tilt it down on the platen."
        )
    if all(_angle(now.towards, taken) >= watch.apart for taken in watch.taken):
        return None
    return Advice(Want.DIRECTION, other_direction(watch))


_TILT = math.radians(24.0)
_PLACES: dict[str, tuple[str, XYZ]] = {
    "left": ("move the camera to your left", (-math.sin(_TILT), 0.0, math.cos(_TILT))),
    "right": ("move the camera to your right", (math.sin(_TILT), 0.0, math.cos(_TILT))),
    "front": ("move the camera towards you", (0.0, -math.sin(_TILT), math.cos(_TILT))),
    "above": ("move the camera straight above", (0.0, 0.0, 1.0)),
}
"""Directions to take photos from."""


def other_direction(watch: Watch) -> str:
    """Say where to go for a photo unlike all taken: where one is asked for, or none is yet.

    One at least is taken.
    """

    def away(place: tuple[str, XYZ]) -> float:
        return min(_angle(place[1], one) for one in watch.taken)

    asked = _PLACES.get(watch.side)
    if asked is None or away(asked) < watch.apart:
        asked = max(_PLACES.values(), key=away)
    return f"Next from another side: {asked[0]}, and tilt it so that the platen stays in view."


def sides(taken: Sequence[XYZ]) -> int:
    """Return from how many sides, well apart, photos were taken."""
    kept: list[XYZ] = []
    for one in taken:
        if all(_angle(one, other) >= APART for other in kept):
            kept.append(one)
    return len(kept)


def _angle(one: XYZ, other: XYZ) -> float:
    return math.acos(min(1.0, max(-1.0, float(np.dot(one, other)))))
