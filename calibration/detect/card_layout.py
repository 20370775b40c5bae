"""Where the cards really lie: measured from one photo, before anything is believed.

The cards are millimetre scales themselves. One photo of four of them fixes how it shows
the platen's plane (a homography and one radial term) *and* each card's place and turn
against the first, so a card in the wrong corner, a turned one or a wrong platen size
can be told with a name and a measure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.detect.cards import FoundCard
from calibration.detect.plane_view import LensView
from calibration.geometry import Isometry, Points
from calibration.targets.cards import NAMES

_TURNED = math.radians(30)

_TOLERANCE, _LEAST_TOLERANCE = 0.02, 4.0
"""How far a card may lie from its place, as a share of the platen's longer side, and mm.
This gate is for what is plainly wrong; the solver weighs and reports the millimetres."""

_STRAIGHT = 0.02
"""By how much opposite sides may differ where the cards still make a rectangle."""


@dataclass(frozen=True)
class Lie:
    """Where one card lies against where it should.

    Attributes
    ----------
    name : str
    centre : tuple of float
        Measured centre in the platen frame, mm.
    turn : float
        Measured turn against its proper one, radians, -pi ... pi.
    """

    name: str
    centre: tuple[float, float]
    turn: float


@dataclass(frozen=True, eq=False)
class Survey:
    """What one photo says of the cards on the platen.

    Attributes
    ----------
    view : LensView
        Of the platen's plane, mm.
    lies : tuple of Lie
        In the order of the cards given.
    misfit : float
        Median distance of the corners from where this view has them, px.
    """

    view: LensView
    lies: tuple[Lie, ...]
    misfit: float


def take(found: Sequence[FoundCard], size: tuple[int, int]) -> Survey:
    """Measure where each card lies, all against one another, then set on the platen.

    The cards' own sizes are the scale. The whole is turned and shifted so that it fits
    the proper places best, so what all cards share is not seen.

    Parameters
    ----------
    found : sequence of FoundCard
        At least two cards.
    size : tuple of int
        Width and height of the photo, px.
    """
    # Imported late: it takes longer than all the rest of the program's start.
    from scipy.optimize import least_squares

    local = [_local(card) for card in found]
    pixels = np.vstack([card.pixels for card in found])
    owner = np.repeat(np.arange(len(found)), [len(card.indices) for card in found])
    anchor = int(np.argmax([len(card.indices) for card in found]))
    others = [k for k in range(len(found)) if k != anchor]
    flat = np.vstack(local)

    first = LensView.straight(local[anchor], found[anchor].pixels, size)
    centre, half = first.centre, first.half_diagonal
    start = first.homography / first.homography[2, 2]
    poses = [_rigid(local[k], first.plane_from_photo(found[k].pixels)) for k in others]
    scale = np.abs(start).ravel()[:8] + 1e-6
    x0 = np.concatenate([start.ravel()[:8] / scale, [0.0], *[[p.x, p.y, p.angle] for p in poses]])

    def split(x: NDArray[np.float64]) -> tuple[LensView, NDArray[np.float64]]:
        """Return the view and each card's x, y and angle, shape (N, 3)."""
        where = np.zeros((len(found), 3))
        where[others] = x[9:].reshape(-1, 3)
        matrix = np.append(x[:8] * scale, 1.0).reshape(3, 3)
        return LensView(matrix, float(x[8]), centre, half), where

    def misfit(x: NDArray[np.float64]) -> NDArray[np.float64]:
        view, where = split(x)
        dx, dy, angle = where[owner].T
        c, s = np.cos(angle), np.sin(angle)
        u, v = flat.T
        plane = np.stack([c * u - s * v + dx, s * u + c * v + dy], axis=1)
        return (view.photo_from_plane(plane) - pixels).ravel()

    solved = least_squares(misfit, x0, loss="soft_l1", x_scale="jac", max_nfev=100).x
    view, where = split(solved)
    proper = np.array([card.card.centre for card in found])
    onto_platen = _rigid(where[:, :2], proper)
    laid = [onto_platen @ Isometry(float(x), float(y), float(turn)) for x, y, turn in where]
    back = onto_platen.inverse()
    anchor_from_platen = np.eye(3)
    anchor_from_platen[:2, :2], anchor_from_platen[:2, 2] = back.matrix, (back.x, back.y)
    return Survey(
        LensView(view.homography @ anchor_from_platen, view.k, centre, half),
        tuple(
            Lie(card.card.name, (pose.x, pose.y), _wrapped(pose.angle - card.card.angle))
            for card, pose in zip(found, laid, strict=True)
        ),
        float(np.median(np.linalg.norm(misfit(solved).reshape(-1, 2), axis=1))),
    )


def _local(card: FoundCard) -> Points:
    """Return the seen corners in the card's own frame: its centre, upright, mm."""
    upright = Isometry(*card.card.centre, card.card.angle).inverse()
    return upright.apply(card.card.corners()[card.indices])


def _rigid(source: Points, target: Points) -> Isometry:
    """Return the turn and shift that bring source points nearest to target points.

    The closed form in the plane (Umeyama, 1991, without scale).
    """
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    angle = math.atan2(float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum()), float((a * b).sum()))
    turned = Isometry(0.0, 0.0, angle).apply(source.mean(axis=0))[0]
    x, y = target.mean(axis=0) - turned
    return Isometry(float(x), float(y), angle)


def _wrapped(angle: float) -> float:
    return math.remainder(angle, 2 * math.pi)


def complaint(lies: Sequence[Lie], cards: Sequence[FoundCard]) -> str | None:
    """Say what is wrong with how four cards lie, or None.

    Parameters
    ----------
    lies : sequence of Lie
        As measured.
    cards : sequence of FoundCard
        The same cards.
    """
    span = np.ptp(np.vstack([card.card.outline() for card in cards]), axis=0).max()
    tolerance = max(_LEAST_TOLERANCE, _TOLERANCE * float(span))
    upright = _upright([lie.turn for lie in lies])
    turned = [lie for lie in lies if abs(_wrapped(lie.turn - upright)) > _TURNED]
    if turned:
        return _turned(turned, upright)
    # As the operator sees them, with the numbers upright.
    seen = Isometry(0.0, 0.0, -upright).apply([lie.centre for lie in lies])
    corners = [
        ("front-" if y < 0 else "back-") + ("left" if x < 0 else "right")
        for x, y in seen - seen.mean(axis=0)
    ]
    swapped = [
        (lie.name, corner) for lie, corner in zip(lies, corners, strict=True) if lie.name != corner
    ]
    if swapped:
        return _swapped(swapped)
    proper = np.array([card.card.centre for card in cards])
    away = np.linalg.norm(_rigid(seen, proper).apply(seen) - proper, axis=1)
    if away.max() < tolerance:
        return None
    return _misplaced(lies, cards[0].card.size, seen, proper)


def _upright(turns: Sequence[float]) -> float:
    """Return the turn that most cards share: theirs is taken for upright."""

    def agreeing(base: float) -> list[float]:
        near = [_wrapped(turn - base) for turn in turns]
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


def _turned(turned: Sequence[Lie], upright: float) -> str:
    names = " and ".join(lie.name for lie in turned)
    quarter = round(math.degrees(_wrapped(turned[0].turn - upright)) / 90) * 90 % 360
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


def _misplaced(lies: Sequence[Lie], size: float, seen: Points, proper: Points) -> str:
    """Say whether the cards lie as on another platen, or which one lies off."""
    left_front, right_front, left_back, right_back = (
        seen[[lie.name for lie in lies].index(name)] for name in NAMES
    )
    widths = [np.linalg.norm(right_front - left_front), np.linalg.norm(right_back - left_back)]
    depths = [np.linalg.norm(left_back - left_front), np.linalg.norm(right_back - right_front)]
    straight = all(abs(a - b) < _STRAIGHT * max(a, b) + 2 for a, b in (widths, depths))
    if straight:
        width, depth = (float(np.mean(sides)) + size for sides in (widths, depths))
        asked = np.ptp(proper, axis=0) + size
        return (
            f"the cards lie as on a platen of about {width:.0f} mm x {depth:.0f} mm, not "
            f"{asked[0]:.0f} mm x {asked[1]:.0f} mm: give the platen's true size, or push every "
            "card out to its corner."
        )
    # The card without which the others fit best is the one that lies off.
    worst, off = 0, 0.0
    least = np.inf
    for k in range(len(lies)):
        others = np.arange(len(lies)) != k
        onto = _rigid(seen[others], proper[others])
        rest = np.linalg.norm(onto.apply(seen) - proper, axis=1)
        if rest[others].max() < least:
            least, worst, off = float(rest[others].max()), k, float(rest[k])
    return (
        f"the {lies[worst].name} card lies about {off:.0f} mm from its place: push its heavy edges "
        "flush with the platen's edges."
    )


def _number(name: str) -> int:
    return NAMES.index(name) + 1


def _at(name: str) -> str:
    return "at the " + name.replace("-", " ")
