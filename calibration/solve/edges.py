"""The platen's own edges as photos show them: they fix its middle, however the cards were laid.

Cards flush in the corners tell the platen's size and shape from their own; a shift or a turn
that they share shows only against the edges. An edge as it is seen is rounded, or shaded, or
the rim of a pad: `EDGE_ERROR` and `SIZE_ERROR` say by how much it may be off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.geometry import Points
from calibration.model.pinhole import Array
from calibration.observations import SIDES, PhotoObservation
from calibration.solve.least_squares import CARD_ROBUST_SCALE, GaussianPrior, Prior
from calibration.solve.parameters import Indices, places_of
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import Stated

POINT_ERROR = 0.1
"""How well a point of an edge is seen, mm, from one photo to the next: a photo's brightness and
the height of a rounded edge, of which each photo sees another part."""

EDGE_ERROR = 0.12
"""How far an edge as all photos see it is from the true one, mm: its rounding (from memory)."""

SIZE_ERROR = 0.25
"""How much farther out both edges of an axis may be than stated, mm: a platen's size read to a
millimetre with a tape, as two standard errors (from memory)."""


BESIDE = 0.3
"""How much farther off than cards may be laid an edge may seem to lie, mm: size and rounding."""

TOGETHER = 3.0
"""How many standard errors all cards may seem to lie off together. Beyond that it is likelier
that something else was taken for the edges, such as the rim of a paper."""

DISAGREE = 0.5
"""How far apart photos may see one edge, mm: the foot of a wall is seen elsewhere by each."""


@dataclass(frozen=True, eq=False)
class SeenEdges:
    """Points of edges in one photo: what they leave, in standard errors.

    Attributes
    ----------
    model : ResidualModel
    photo : int
    side : ndarray of int, shape (N,)
        Index into `observations.SIDES`.
    pixels : ndarray, shape (N, 2)
        Photo px.
    half : ndarray, shape (2,)
        Half the platen's width and depth, mm.
    robust_scale : float or None
    """

    model: ResidualModel
    photo: int
    side: Indices
    pixels: Points
    half: Array
    robust_scale: float | None = CARD_ROBUST_SCALE

    def on_axes(self, axes: Sequence[int]) -> SeenEdges:
        """Return the points on sides of these axes alone."""
        mine = np.isin([SIDES[side].axis for side in self.side], axes)
        return replace(self, side=self.side[mine], pixels=self.pixels[mine])

    @property
    def outward(self) -> Points:
        """The direction out of each point's side, shape (N, 2)."""
        each = np.array([np.eye(2)[side.axis] * side.sign for side in SIDES])
        return np.asarray(each[self.side])

    def residuals(self, vector: Array) -> Array:
        """Return how far the points lie beyond their edges."""
        points = self.model.photo_points(vector, self.photo, self.pixels)
        out = np.sum(points * self.outward, axis=1)
        edge = np.abs(self.outward) @ self.half + vector[self.model.layout.edges][self.side]
        return np.asarray((out - edge) / POINT_ERROR)

    def jacobian(self, vector: Array) -> Array:
        """Return the slope of `residuals`."""
        _, slope = self.model.photo_landing(vector, self.photo, self.pixels)
        rows = np.einsum("nip,ni->np", slope, self.outward)
        rows[np.arange(len(rows)), self.model.layout.edges.start + self.side] -= 1.0
        return np.asarray(rows / POINT_ERROR)


def edge_priors(
    model: ResidualModel,
    vector: Array,
    observations: Sequence[PhotoObservation],
    stated: Stated,
) -> list[Prior]:
    """Return what the photos' edges say, and how far an edge may be from where it is seen.

    An axis is left out on which photos disagree, or an edge lies elsewhere than cards laid as
    stated can tell: something else was taken for it.

    Parameters
    ----------
    vector : ndarray
        With cameras and cards solved without the edges.
    """
    anchors = np.abs([plan.anchor for plan in model.plans])
    names = [side.name for side in SIDES]
    found = [
        SeenEdges(
            model,
            photo,
            np.array([names.index(point.side) for point in seen.edges]),
            np.array([point.pixel for point in seen.edges]),
            anchors.max(axis=0),
        )
        for photo, seen in enumerate(observations)
        if seen.edges and not seen.raised
    ]
    good = [axis for axis in (0, 1) if _agree(found, vector, axis, stated)]
    seen_well = [each.on_axes(good) for each in found]
    priors: list[Prior] = [each for each in seen_well if len(each.side)]
    if not priors:
        return []
    spread = np.kron(np.eye(2), EDGE_ERROR**2 * np.eye(2) + SIZE_ERROR**2)
    root = np.linalg.inv(np.linalg.cholesky(spread))
    return [*priors, GaussianPrior(places_of(model.layout.edges), np.zeros(4), root)]


def axes_seen(priors: Sequence[Prior]) -> int:
    """Return on how many axes both edges are seen."""
    sides = [prior.side for prior in priors if isinstance(prior, SeenEdges)]
    return len({SIDES[side].axis for each in sides for side in each})


def _agree(found: Sequence[SeenEdges], vector: Array, axis: int, stated: Stated) -> bool:
    """Tell whether the edges of an axis lie where cards and all photos have them."""
    means = []
    for side in (k for k, each in enumerate(SIDES) if each.axis == axis):
        off = [
            each.residuals(vector)[each.side == side] * POINT_ERROR
            for each in found
            if (each.side == side).any()
        ]
        if not off or not np.abs(np.concatenate(off)).max() < stated.laid + BESIDE:
            return False
        if np.ptp([each.mean() for each in off]) > DISAGREE:
            return False
        means.append(np.concatenate(off).mean())
    cards = max(len(found[0].model.plans), 1)
    known = np.hypot(stated.laid / 2 / np.sqrt(cards), EDGE_ERROR / np.sqrt(2))
    return bool(abs(means[1] - means[0]) / 2 < TOGETHER * known)
