"""Is the rig still where it was? A new photo, or three crosses, compared with the rig on file.

A bump moves the projector but does not change its lens: so the new observations are fitted
with the projector's old lens in a new pose. If they fit, the difference between old and new
light is the drift, and the new pose is the repair. If they do not, something else has
changed (zoom, keystone, the platen) and only a new calibration helps.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from calibration.geometry import XY, Isometry, as_points
from calibration.model.pinhole import INTRINSIC, PARAMETERS
from calibration.model.uncertainty import bound, landing_covariance, over_platen
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal
from calibration.rig.file import Rig
from calibration.solve.acceptance import CROSS_LIMIT
from calibration.solve.fit import Solution, solve_plans
from calibration.solve.models import KEYSTONED
from calibration.solve.parameters import N_BEND
from calibration.solve.values import Cross, Inherited, frozen_matrix

N_INTRINSIC = len(INTRINSIC)

BUMP_TURN_ERROR = math.radians(3.0)
BUMP_SHIFT_ERROR = 60.0
"""How far a projector may have been bumped and still be repaired: standard error of each
turn, radians, and of each coordinate of its lens, mm."""

NEGLIGIBLE = 0.25
"""Movement that nobody needs to act on, at the point that moved most, mm."""

NOISE_RATIO_LIMIT = 2.0
"""How many times noisier new corners may be with the old lens than with a lens of their own."""

LENS_CHANGE_LIMIT = 6.0
"""How far the lens may differ from the one on file: mean squared standard errors."""


class DriftVerdict(Enum):
    """What a drift check concludes."""

    UNCHANGED = "unchanged"
    MOVED = "moved"
    RECALIBRATE = "recalibrate"


@dataclass(frozen=True)
class Drift:
    """How light moved on the bare platen since the rig was made.

    Attributes
    ----------
    verdict : DriftVerdict
    shift : (x, y)
        Of the light at the platen's middle, mm.
    turn : float
        Counter-clockwise, radians.
    largest : float
        Distance moved by the point that moved most, mm.
    detectable : float
        Least movement at that point that the check can detect, mm: a rig that has not moved
        shows less in 95 % of checks, mostly from how the cards were laid then and now.
    sentence : str
        All of this for the operator.
    """

    verdict: DriftVerdict
    shift: XY
    turn: float
    largest: float
    detectable: float
    sentence: str


def check_photos(rig: Rig, photos: Sequence[PhotoObservation]) -> Drift:
    """Compare photos of cards and pattern, taken now, with the rig on file."""
    return compare(rig, solve_bumped(rig, photos=photos))


def check_crosses(rig: Rig, crosses: Sequence[Cross]) -> Drift:
    """Compare crosses set by hand now, at least three far apart, with the rig on file."""
    return compare(rig, solve_bumped(rig, crosses=crosses))


def solve_bumped(
    rig: Rig, photos: Sequence[PhotoObservation] = (), crosses: Sequence[Cross] = ()
) -> Solution:
    """Return the rig solved from new observations, its lens kept: the one-step repair.

    Parameters
    ----------
    rig : Rig
    photos : sequence of PhotoObservation
        Taken now.
    crosses : sequence of Cross
        Set by hand now; without photos at least three, far apart.

    Raises
    ------
    Refusal
        If the crosses cannot tell how the projector moved.
    """
    if not photos and (len(crosses) < 3 or not _spread(rig, crosses)):
        raise Refusal(
            "Three crosses far apart are needed: set them on marks near three corners of the "
            "platen."
        )
    from calibration.targets.pattern import Pattern  # drawing tools, not needed for crosses

    size = rig.projector.size
    pattern = Pattern(size)
    pixels = pattern.pixels(np.arange(pattern.count))
    return solve_plans(photos, rig.plans, pixels, size, rig.stated, crosses, after_bump(rig))


def after_bump(rig: Rig) -> Inherited:
    """Return what is still known of a rig's projector if it may have been bumped."""
    spread = rig.fit.matrix
    pose = np.arange(N_INTRINSIC, len(PARAMETERS))
    # After a bump the pose's errors no longer correlate with the lens's.
    spread[pose, :] = spread[:, pose] = 0.0
    spread[pose, pose] = [BUMP_TURN_ERROR**2] * 3 + [BUMP_SHIFT_ERROR**2] * 3
    mean = np.concatenate(
        [rig.projector.pinhole.vector, rig.projector.bow.vector, np.zeros(N_BEND)]
    )
    return Inherited(tuple(float(value) for value in mean), frozen_matrix(spread))


def compare(rig: Rig, now: Solution) -> Drift:
    """Return how the light of `now` lies against the rig on file."""
    points = over_platen(rig.face, 25.0)
    landed = now.map.platen_from_projector(rig.projector.projector_from_platen(points))
    moved = Isometry.nearest(points, landed)
    distance = np.linalg.norm(landed - points, axis=1)
    crosses = now.problem.model.crosses
    if not now.photos:
        # A few crosses tell much where they stand and little elsewhere: compare there.
        points = as_points([cross.point for cross in crosses])
        heights = np.array([cross.height for cross in crosses])
        pixels = as_points([cross.pixel for cross in crosses])
        distance = np.linalg.norm(
            rig.projector.platen_from_projector(pixels, heights) - points, axis=1
        )
    k = int(np.argmax(distance))
    here = points[k : k + 1]
    spread = landing_covariance(rig.projector, rig.fit.matrix, here)
    if now.photos:
        spread = spread + landing_covariance(now.map, now.fit.matrix, here)
    else:
        spread = spread + np.eye(2) * (rig.stated.nudge / 2) ** 2
    detectable = float(bound(spread, min(rig.fit.freedom, now.fit.freedom))[0])
    shift, largest = (moved.x, moved.y), float(distance[k])
    misfit = _misfit(rig, now)
    if misfit is not None:
        verdict = DriftVerdict.RECALIBRATE
        sentence = f"{misfit}: calibrate again."
    elif largest <= max(NEGLIGIBLE, detectable):
        verdict = DriftVerdict.UNCHANGED
        sentence = (
            f"Unchanged: the light is within {largest:.1f} mm of where it was, and this check can "
            f"tell no less than {max(NEGLIGIBLE, detectable):.1f} mm."
        )
    else:
        verdict = DriftVerdict.MOVED
        sentence = (
            f"The light has moved by {math.hypot(*shift):.1f} mm ({_ways(shift)}) and turned by "
            f"{abs(math.degrees(moved.angle)):.2f}°, at most {largest:.1f} mm: repair the rig."
        )
    return Drift(verdict, shift, moved.angle, largest, detectable, sentence)


def _misfit(rig: Rig, now: Solution) -> str | None:
    """Say why the old lens in a new pose does not explain what is seen, or None."""
    model, place = now.problem.model, now.problem.model.layout.projector
    lens = np.arange(N_INTRINSIC)
    spread = rig.fit.matrix[np.ix_(lens, lens)]
    known = np.diag(spread) > 0
    off = (now.vector[place][lens] - rig.projector.pinhole.vector[lens])[known]
    pulled = float(off @ np.linalg.solve(spread[np.ix_(known, known)], off))
    cause = "its zoom, lens shift or keystone was changed, or the platen is another"
    keystone = now.fit.model == KEYSTONED != rig.fit.model
    if keystone or pulled > LENS_CHANGE_LIMIT * int(known.sum()):
        return f"The light does not fit the projector on file: {cause}"
    if now.photos:
        fresh = solve_plans(
            now.photos, now.plans, model.pattern, now.map.size, now.stated
        ).problem.noise
        worse = now.problem.noise[:-1] / fresh[:-1]
        if worse.max() > NOISE_RATIO_LIMIT:
            name = now.photos[int(np.argmax(worse)) // 2].name
            return f"{name} does not fit the projector on file: {cause}"
    rows = model.groups == 2 * len(now.photos)
    crossed = np.linalg.norm(model.residuals(now.vector)[rows].reshape(-1, 2), axis=1)
    if crossed.max(initial=0.0) > CROSS_LIMIT * rig.stated.nudge:
        return f"The crosses do not fit the projector on file, by {crossed.max():.1f} mm"
    return None


def _ways(shift: XY) -> str:
    """Say a shift as the operator sees it: "2.0 mm to the right, 0.5 mm to the back"."""
    x, y = shift
    return (
        f"{abs(x):.1f} mm to the {'right' if x > 0 else 'left'}, "
        f"{abs(y):.1f} mm to the {'back' if y > 0 else 'front'}"
    )


def _spread(rig: Rig, crosses: Sequence[Cross]) -> bool:
    """Tell whether crosses span a triangle of a sixth of the platen or more."""
    places = as_points([cross.point for cross in crosses])
    sides = places[1:] - places[0]
    doubled = np.abs(sides[:, None, 0] * sides[None, :, 1] - sides[:, None, 1] * sides[None, :, 0])
    return bool(doubled.max() / 2 > rig.face.width * rig.face.depth / 6)
