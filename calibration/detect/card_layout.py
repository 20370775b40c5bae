"""Where the cards really lie, measured from one photo that may show them anywhere.

The cards are millimetre scales themselves. One photo of four of them tells how it shows
the platen's plane (a homography and one radial term) *and* each card's place and turn
against the others. So a card in the wrong corner, a turned one or a wrong platen size
can be named and measured.
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
from calibration.model.trust_region import Evaluated, least_squares, soft_l1


@dataclass(frozen=True)
class CardPose:
    """Where one card lies, and how it is turned.

    Attributes
    ----------
    name : str
    centre : tuple of float
        Measured centre in the platen frame, mm.
    turn : float
        Measured turn from upright, radians, -pi ... pi.
    """

    name: str
    centre: tuple[float, float]
    turn: float


@dataclass(frozen=True, eq=False)
class CardLayout:
    """Where all cards lie, and how the photo shows the platen.

    Attributes
    ----------
    view : LensView
        Of the platen's plane, mm.
    poses : tuple of CardPose
        In the order of the cards given.
    misfit : float
        Median distance of the corners from where this view has them, px.
    """

    view: LensView
    poses: tuple[CardPose, ...]
    misfit: float


def measure(found: Sequence[FoundCard], size: tuple[int, int]) -> CardLayout:
    """Measure where the cards lie relative to each other, then place them on the platen.

    The cards' own sizes are the scale. The whole is turned and shifted so that it fits the
    planned places best: a shift or turn that all cards share cannot be seen.

    Parameters
    ----------
    found : sequence of FoundCard
        At least two cards.
    size : tuple of int
        Width and height of the photo, px.
    """
    local = [_local(card) for card in found]
    pixels = np.vstack([card.pixels for card in found])
    owner = np.repeat(np.arange(len(found)), [len(card.indices) for card in found])
    anchor = int(np.argmax([len(card.indices) for card in found]))
    others = [k for k in range(len(found)) if k != anchor]
    flat = np.vstack(local)

    first = LensView.straight(local[anchor], found[anchor].pixels, size)
    centre, half = first.centre, first.half_diagonal
    start = first.homography / first.homography[2, 2]
    guesses = [Isometry.nearest(local[k], first.plane_from_photo(found[k].pixels)) for k in others]
    scale = np.abs(start).ravel()[:8] + 1e-6
    x0 = np.concatenate([start.ravel()[:8] / scale, [0.0], *[[p.x, p.y, p.angle] for p in guesses]])

    def split(x: NDArray[np.float64]) -> tuple[LensView, NDArray[np.float64]]:
        """Return the view and each card's x, y and angle, shape (N, 3)."""
        where = np.zeros((len(found), 3))
        where[others] = x[9:].reshape(-1, 3)
        matrix = np.append(x[:8] * scale, 1.0).reshape(3, 3)
        return LensView(matrix, float(x[8]), centre, half), where

    def misfit(x: NDArray[np.float64]) -> Evaluated:
        view, where = split(x)
        dx, dy, angle = where[owner].T
        c, s = np.cos(angle), np.sin(angle)
        u, v = flat.T
        turned = np.stack([c * u - s * v, s * u + c * v], axis=1)
        seen, by_view, by_place = view.slopes(turned + np.stack([dx, dy], axis=1))
        by_turn = np.stack([-turned[:, 1], turned[:, 0]], axis=1)
        by_pose = np.concatenate([by_place, by_place @ by_turn[:, :, None]], axis=2)
        slope = np.zeros((len(flat), 2, len(x)))
        slope[:, :, :9] = by_view * np.append(scale, 1.0)
        for column, card in enumerate(others):
            first = 9 + 3 * column
            slope[owner == card, :, first : first + 3] = by_pose[owner == card]
        return Evaluated((seen - pixels).ravel(), slope.reshape(-1, len(x)))

    solved = least_squares(misfit, x0, soft_l1(), 100).point
    view, where = split(solved)
    planned = np.array([card.card.centre for card in found])
    onto_platen = Isometry.nearest(where[:, :2], planned)
    laid = [onto_platen @ Isometry(float(x), float(y), float(turn)) for x, y, turn in where]
    back = onto_platen.inverse()
    anchor_from_platen = np.eye(3)
    anchor_from_platen[:2, :2], anchor_from_platen[:2, 2] = back.matrix, (back.x, back.y)
    return CardLayout(
        LensView(view.homography @ anchor_from_platen, view.k, centre, half),
        tuple(
            CardPose(card.card.name, (pose.x, pose.y), wrapped(pose.angle - card.card.angle))
            for card, pose in zip(found, laid, strict=True)
        ),
        float(np.median(np.linalg.norm(misfit(solved).residuals.reshape(-1, 2), axis=1))),
    )


def _local(card: FoundCard) -> Points:
    """Return the seen corners in the card's own frame: its centre, upright, mm."""
    upright = Isometry(*card.card.centre, card.card.angle).inverse()
    return upright.apply(card.card.corners()[card.indices])


def wrapped(angle: float) -> float:
    """Return the angle as a turn by at most half a circle, radians, -pi ... pi."""
    return math.remainder(angle, 2 * math.pi)
