"""Calibration without a camera: the operator moves projected crosses on to known points.

The same solver, the same checks and the same report as with photos; only the
observations differ. Crosses also touch up a rig made from photos: if cards were not laid
exactly, the light has the right shape but is shifted by their mean laying error, and
three crosses remove that shift.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from calibration.geometry import PlatenFace, as_points, xy_tuple
from calibration.refusal import Refusal
from calibration.rig.file import Rig
from calibration.solve.fit import Solution, solve_plans
from calibration.solve.values import Cross, Stated

LEAST_CROSSES = 4
"""A homography has eight unknowns."""

LEAST_TOUCH_UP = 2
"""A shift and a turn have three unknowns; three crosses let a slip show."""


def suggested_points(face: PlatenFace, count: int = 9, inset: float = 25.0) -> tuple[Cross, ...]:
    """Return where to mark points for 4 to 9 crosses, corners first; pixels are (0, 0).

    Parameters
    ----------
    face : PlatenFace
    count : int
        4 corners; then the centre (5), the middles of the long edges (7) and of the short (9).
    inset : float
        Distance from the platen's edge, mm.
    """
    x, y = face.width / 2 - inset, face.depth / 2 - inset
    along = [(-x, 0.0), (x, 0.0)] if face.depth >= face.width else [(0.0, -y), (0.0, y)]
    across = [(0.0, -y), (0.0, y)] if face.depth >= face.width else [(-x, 0.0), (x, 0.0)]
    corners = [(-x, -y), (x, -y), (x, y), (-x, y)]
    places = [*corners, (0.0, 0.0), *along, *across]
    if not LEAST_CROSSES <= count <= len(places):
        raise Refusal(f"{count} crosses are not possible: choose {LEAST_CROSSES} to {len(places)}.")
    return tuple(Cross(place, (0.0, 0.0)) for place in places[:count])


def crosses(points: ArrayLike, pixels: ArrayLike, height: ArrayLike = 0.0) -> tuple[Cross, ...]:
    """Return crosses from arrays.

    Parameters
    ----------
    points : array_like, shape (N, 2), platen frame, mm
        The marked points.
    pixels : array_like, shape (N, 2), projector px
        Where each cross stood when it lay on its mark.
    height : float or array_like of shape (N,), mm
    """
    places, lights = xy_tuple(as_points(points)), xy_tuple(as_points(pixels))
    if len(places) != len(lights):
        raise ValueError("as many points as pixels are needed")
    heights = np.broadcast_to(np.asarray(height, dtype=np.float64), len(places))
    return tuple(
        Cross(place, light, float(h))
        for place, light, h in zip(places, lights, heights, strict=True)
    )


def solve_by_hand(
    points: ArrayLike,
    pixels: ArrayLike,
    face: PlatenFace,
    size: tuple[int, int],
    stated: Stated | None = None,
    height: ArrayLike = 0.0,
) -> Solution:
    """Return the projector map that crosses moved by hand fix.

    Parameters
    ----------
    points : array_like, shape (N, 2), platen frame, mm
        Four to nine or more marked points, spread over the whole platen.
    pixels : array_like, shape (N, 2), projector px
    face : PlatenFace
    size : tuple of int
        The projector's picture, px.
    stated : Stated, optional
    height : float or array_like of shape (N,), mm

    Raises
    ------
    Refusal
        If there are too few crosses, or they do not spread over the platen.
    """
    set_by_hand = crosses(points, pixels, height)
    flat = as_points([cross.point for cross in set_by_hand if not cross.height])
    if len(flat) < LEAST_CROSSES:
        raise Refusal(
            f"Only {len(flat)} crosses were set on the bare platen: set {LEAST_CROSSES} or more."
        )
    # Standard deviation along their thin direction: marks at four corners have about 0.45.
    spread = np.linalg.svd(flat - flat.mean(axis=0), compute_uv=False)[1] / np.sqrt(len(flat))
    if spread < 0.2 * min(face.width, face.depth):
        raise Refusal(
            "The crosses cover too little of the platen: mark points near its corners and set a "
            "cross on each."
        )
    return solve_plans((), (), np.zeros((0, 2)), size, stated or Stated(), set_by_hand)


def solve_again(rig: Rig, more: Sequence[Cross] = ()) -> Solution:
    """Return the solution of a rig file's own observations, and further crosses.

    Parameters
    ----------
    rig : Rig
    more : sequence of Cross
    """
    pattern = np.full((max((index for index, _ in rig.pattern), default=-1) + 1, 2), np.nan)
    for index, pixel in rig.pattern:
        pattern[index] = pixel
    every = (*rig.crosses, *more)
    if not rig.photos and not every:
        raise Refusal(f"The rig “{rig.name}” has no observations on file: calibrate again.")
    return solve_plans(
        rig.photos, rig.plans, pattern, rig.projector.size, rig.stated, every, rig.inherited
    )


def touch_up(rig: Rig, nudged: Sequence[Cross]) -> Solution:
    """Return the rig's solution once more, with a few crosses nudged on to their marks.

    Parameters
    ----------
    rig : Rig
    nudged : sequence of Cross
        Two or more, far apart: known points of the platen and where their crosses now stand.

    Raises
    ------
    Refusal
        If they are too few or too close together to tell a turn.
    """
    places = as_points([cross.point for cross in nudged])
    if len(places) < LEAST_TOUCH_UP or np.ptp(places, axis=0).max() < 0.4 * rig.face.width:
        raise Refusal(
            "The touch-up needs two or more crosses far apart: nudge three, near three corners."
        )
    return solve_again(rig, nudged)
