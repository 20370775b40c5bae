"""What a calibration is measured against: the virtual rig's truth, and a plain way to do it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import PlatenFace, Points
from calibration.observations import PhotoObservation
from calibration.targets.cards import Card
from calibration.targets.pattern import Pattern
from chalkbeam.simulator.rig import VirtualRig

Floats = NDArray[np.float64]
Aim = Callable[[Points, float], Points]
"""Platen points, mm, at a height, mm, to projector px."""


def lattice(face: PlatenFace, across: int = 17, along: int = 21) -> Points:
    """Return points over the whole platen, edges included but for the rounded corners."""
    x = np.linspace(-face.width / 2, face.width / 2, across)
    y = np.linspace(-face.depth / 2, face.depth / 2, along)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    radius = face.corner_radius
    q = np.abs(points) - np.array([face.width, face.depth]) / 2 + radius
    outside = (q > 0).all(axis=1) & (np.hypot(*q.T) > radius + 1e-9)
    return np.asarray(points[~outside])


def missed_by(rig: VirtualRig, aim: Aim, points: Points, height: float) -> Points:
    """Return landed less intended light, mm, shape (N, 2), at a height."""
    return rig.platen_from_projector(aim(points, height), height) - points


def without_rigid(points: Points, missed: Points) -> Points:
    """Return what is left of the misses after one shift and turn of the light (a touch-up)."""
    ones, zeros = np.ones(len(points)), np.zeros(len(points))
    turn_x, turn_y = -points[:, 1], points[:, 0]
    design = np.concatenate(
        [np.column_stack([ones, zeros, turn_x]), np.column_stack([zeros, ones, turn_y])]
    )
    wanted = np.concatenate([missed[:, 0], missed[:, 1]])
    solved = np.linalg.lstsq(design, wanted, rcond=None)[0]
    left = wanted - design @ solved
    return np.column_stack([left[: len(points)], left[len(points) :]])


def half_pixel(rig: VirtualRig, points: Points, height: float) -> float:
    """Return half a projector pixel on the platen, root mean square over the points, mm.

    Of a pixel's footprint, the longer of its two sides.
    """
    pixels = rig.projector_from_platen(points, height)
    sides = [
        np.hypot(*(rig.platen_from_projector(pixels + step, height) - points).T)
        for step in ((1.0, 0.0), (0.0, 1.0))
    ]
    return float(np.sqrt(np.mean(np.maximum(*sides) ** 2)) / 2)


def naive(photos: Sequence[PhotoObservation], cards: Sequence[Card], pattern: Pattern) -> Aim:
    """Return the map that a capable user writes with two calls of cv2.findHomography.

    Photo to platen from the cards' corners, then platen to projector from the pattern's
    corners of all photos together. It knows no lens and no height.
    """
    where = {card.name: card.corners() for card in cards}
    landed, shown = [], []
    for photo in photos:
        seen = np.array([corner.pixel for corner in photo.cards])
        true = np.array([where[corner.board][corner.index] for corner in photo.cards])
        platen_from_photo, _ = cv2.findHomography(seen, true)
        spots = np.array([corner.pixel for corner in photo.pattern]).reshape(-1, 1, 2)
        landed.append(cv2.perspectiveTransform(spots, platen_from_photo).reshape(-1, 2))
        shown.append(pattern.pixels([corner.index for corner in photo.pattern]))
    projector_from_platen, _ = cv2.findHomography(np.vstack(landed), np.vstack(shown))

    def aim(points: Points, height: float) -> Points:
        del height
        flat = np.asarray(points, np.float64).reshape(-1, 1, 2)
        aimed = cv2.perspectiveTransform(flat, projector_from_platen)
        return np.asarray(aimed, np.float64).reshape(-1, 2)

    return aim


def rms(values: Points) -> float:
    """Return the root mean square length of 2-D misses, mm."""
    return float(np.sqrt(np.mean(np.sum(values**2, axis=1))))
