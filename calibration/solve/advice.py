"""What to do where light could land too far off, and what exactly laid cards would leave of it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from calibration.geometry import PlatenFace
from calibration.model.uncertainty import Worst, place_in_words, worst
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.solve.fit import Solution
from calibration.solve.least_squares import GaussianPrior
from calibration.solve.model_error import map_covariance
from calibration.solve.zones import Zones

_MANY = 1000  # degrees of freedom of what corners alone determine

PRESS_FLAT = (
    "press paper, pad and cards flat, or lay a flat sheet over the whole platen, and take all "
    "photos again"
)


def too_wide(solution: Solution, face: PlatenFace, tolerance: float, over: Worst) -> Refusal:
    """Say that light may land too far off, and what would help most."""
    said = (
        f"Light could land {_rounded_up(over.bound, tolerance)} mm off at "
        f"{place_in_words(over.point, face)}"
        + (f", {over.height:g} mm up" if over.height else "")
        + f"; {tolerance:g} mm is allowed"
    )
    advice, remedy = _advice(solution, face, tolerance, over)
    return Refusal(said, advice, remedy=remedy)


def _advice(
    solution: Solution, face: PlatenFace, tolerance: float, over: Worst
) -> tuple[str, Remedy]:
    if not solution.photos:
        advice = "set more crosses, on marks spread over the whole platen"
        return advice, Remedy(RemedyKind.CROSSES)
    if _even_would_do(solution, face, tolerance, over):
        off = solution.zones[0].unevenness
        return (
            f"the light lies up and down by {off:.2f} mm from one part of the platen to the "
            f"next, as on an uneven face; {PRESS_FLAT}"
        ), Remedy(RemedyKind.ALL_AGAIN)
    bare = worst(solution.map, solution.fit.matrix, solution.fit.freedom, face, (0.0,))[0]
    if over.height and bare.bound < tolerance:
        raised = any(photo.raised for photo in solution.photos)
        board = "board as high as your thickest cloth" if raised else "flat board (--raised)"
        return (
            f"add a photo with the cards on a {board}, or measure where the projector's lens is "
            "(--lens)"
        ), Remedy(RemedyKind.HEIGHT)
    if worst_with_cards_exact(solution, face, over.height).bound < tolerance:
        advice = "lay each card flush with the platen's edges and take the photos again"
        return advice, Remedy(RemedyKind.ALL_AGAIN)
    side = _unseen_side(solution)
    return f"take one more photo, from the {side}", Remedy(RemedyKind.ONE_MORE, side=side)


def worst_with_cards_exact(solution: Solution, face: PlatenFace, height: float = 0.0) -> Worst:
    """Return the worst point if every card were known to lie exactly as planned.

    That much is left after a touch-up by crosses has removed the cards' mean laying error.
    """
    layout = solution.problem.model.layout
    poses = np.arange(layout.card_pose(0, 0).start, layout.card_pose(layout.levels, 0).start)
    exact = GaussianPrior.each(poses, 0.0, 0.01)
    problem = replace(solution.problem, priors=[*solution.problem.priors, exact])
    spread = map_covariance(
        problem, solution.vector, solution.zones, solution.stated, solution.inherited
    )
    return worst(solution.map, spread, _MANY, face, (height,))[0]


def _unseen_side(solution: Solution) -> str:
    """Return the side of the platen from which no photo was taken, of those one can stand at."""
    sides = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "front": (0.0, -1.0)}
    seen = np.array([solution.camera(k).lens[:2] for k in range(len(solution.photos))])
    seen = seen / np.maximum(np.linalg.norm(seen, axis=1, keepdims=True), 1e-9)
    return min(sides, key=lambda side: float(np.max(seen @ np.array(sides[side]))))


def _even_would_do(solution: Solution, face: PlatenFace, tolerance: float, over: Worst) -> bool:
    """Tell whether an even face would be within the tolerance, or take much of the bound away."""
    if not solution.zones[0].unevenness:
        return False
    even_zones = tuple(Zones() for _ in solution.zones)
    even = map_covariance(
        solution.problem, solution.vector, even_zones, solution.stated, solution.inherited
    )
    (left,) = worst(solution.map, even, solution.fit.freedom, face, (over.height,))
    return left.bound <= max(tolerance, 0.85 * over.bound)


def _rounded_up(bound: float, tolerance: float) -> str:
    """Return a length that is too large so that it reads larger than what is allowed, mm."""
    digits = 1 if tolerance >= 1 else 2
    return f"{math.ceil(bound * 10**digits) / 10**digits:.{digits}f}"
