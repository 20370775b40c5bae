"""One sentence for every way in which four cards can lie wrong: which, where, what to do."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calibration.detect.card_layout import CardPose, wrapped
from calibration.geometry import Isometry, Points
from calibration.targets.cards import NAMES, Card

_TURNED = math.radians(30)

_TOLERANCE, _LEAST_TOLERANCE = 0.02, 4.0
"""How far a card may lie from its place, as a share of the platen's longer side, and mm. Only what
is plainly wrong is refused here; the solver measures and reports the millimetres."""

_STRAIGHT = 0.02
"""By how much opposite sides may differ if the cards still make a rectangle, as a share."""


def fault(poses: Sequence[CardPose], cards: Sequence[Card]) -> str | None:
    """Say what is wrong with how four cards lie, or return None.

    Parameters
    ----------
    poses : sequence of CardPose
        As measured.
    cards : sequence of Card
        The same cards, where they should lie.
    """
    span = np.ptp(np.vstack([card.outline() for card in cards]), axis=0).max()
    tolerance = max(_LEAST_TOLERANCE, _TOLERANCE * float(span))
    upright = _upright([pose.turn for pose in poses])
    turned = [pose for pose in poses if abs(wrapped(pose.turn - upright)) > _TURNED]
    if turned:
        return _turned(turned, upright)
    # As the operator sees them, with the numbers upright.
    seen = Isometry(0.0, 0.0, -upright).apply([pose.centre for pose in poses])
    corners = [
        ("front-" if y < 0 else "back-") + ("left" if x < 0 else "right")
        for x, y in seen - seen.mean(axis=0)
    ]
    swapped = [
        (pose.name, corner)
        for pose, corner in zip(poses, corners, strict=True)
        if pose.name != corner
    ]
    if swapped:
        return _swapped(swapped)
    planned = np.array([card.centre for card in cards])
    off = np.linalg.norm(Isometry.nearest(seen, planned).apply(seen) - planned, axis=1)
    if off.max() < tolerance:
        return None
    return _misplaced(poses, cards[0].size, seen, planned)


def _upright(turns: Sequence[float]) -> float:
    """Return the turn that most cards share, which is taken to be upright."""

    def agreeing(base: float) -> list[float]:
        near = [wrapped(turn - base) for turn in turns]
        return [turn for turn in near if abs(turn) < _TURNED]

    best = max((0.0, *turns), key=lambda base: (len(agreeing(base)), -abs(base)))
    return best + float(np.mean(agreeing(best) or [0.0]))


def _swapped(swapped: Sequence[tuple[str, str]]) -> str:
    if len(swapped) == 2:
        (one, _), (other, _) = swapped
        return (
            f"the {one} and the {other} card are swapped: lay card {_number(one)} {_at(one)} and "
            f"card {_number(other)} {_at(other)}."
        )
    told = ", ".join(f"card {_number(name)} {_at(place)}" for name, place in swapped)
    return f"the cards lie in the wrong corners ({told}): lay each in the corner named on it."


def _turned(turned: Sequence[CardPose], upright: float) -> str:
    names = " and ".join(pose.name for pose in turned)
    quarter = round(math.degrees(wrapped(turned[0].turn - upright)) / 90) * 90 % 360
    by = {0: "aslant", 180: "half a turn"}.get(quarter, "a quarter turn")
    which, it = (
        ("card is", "it so that its number reads")
        if len(turned) == 1
        else (
            "cards are",
            "them so that their numbers read",
        )
    )
    return f"the {names} {which} turned ({by}): lay {it} upright from the operator's side."


def _misplaced(poses: Sequence[CardPose], size: float, seen: Points, planned: Points) -> str:
    """Say whether the cards lie as on another platen, or which one lies off."""
    left_front, right_front, left_back, right_back = (
        seen[[pose.name for pose in poses].index(name)] for name in NAMES
    )
    widths = [np.linalg.norm(right_front - left_front), np.linalg.norm(right_back - left_back)]
    depths = [np.linalg.norm(left_back - left_front), np.linalg.norm(right_back - right_front)]
    straight = all(abs(a - b) < _STRAIGHT * max(a, b) + 2 for a, b in (widths, depths))
    if straight:
        width, depth = (float(np.mean(sides)) + size for sides in (widths, depths))
        asked = np.ptp(planned, axis=0) + size
        return (
            f"the cards lie as on a platen of about {width:.0f} mm x {depth:.0f} mm, not "
            f"{asked[0]:.0f} mm x {asked[1]:.0f} mm: give the platen's true size, or push every "
            "card out to its corner."
        )
    # The card without which the others fit best is the one that lies off.
    worst, off = 0, 0.0
    least = np.inf
    for k in range(len(poses)):
        others = np.arange(len(poses)) != k
        onto = Isometry.nearest(seen[others], planned[others])
        rest = np.linalg.norm(onto.apply(seen) - planned, axis=1)
        if rest[others].max() < least:
            least, worst, off = float(rest[others].max()), k, float(rest[k])
    return (
        f"the {poses[worst].name} card lies about {off:.0f} mm from its place: push its heavy "
        "edges flush with the platen's edges."
    )


def _number(name: str) -> int:
    return NAMES.index(name) + 1


def _at(name: str) -> str:
    return "at the " + name.replace("-", " ")
