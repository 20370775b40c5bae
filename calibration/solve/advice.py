"""What to do where light could land too far off, and what exactly laid cards would leave of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.geometry import PlatenFace
from calibration.model.uncertainty import Worst, place_in_words, worst
from calibration.refusal import Phrase, Refusal, Remedy, RemedyKind
from calibration.solve.fit import Solution
from calibration.solve.least_squares import GaussianPrior
from calibration.solve.model_error import map_covariance
from calibration.solve.zones import Zones

_MANY = 1000  # degrees of freedom of what corners alone determine

MOST_CROSSES = 9
"""As many marks as `calibration.rig.by_hand.suggested_points` has."""

THIN = 1.0
"""Height of a tee with its seams, mm; its cloth is about 0.7 (common practice, no source)."""

PRESS_FLAT: tuple[Phrase, ...] = (
    "press paper, pad and cards flat, or lay a flat sheet over the whole platen, and ",
    Remedy(RemedyKind.ALL_AGAIN, "take all photos again"),
)


def too_wide(solution: Solution, face: PlatenFace, tolerance: float, over: Worst) -> Refusal:
    """Say that light may land too far off, and what would help most."""
    return Refusal(
        f"Light could land {_rounded_up(over.bound, tolerance)} mm off at "
        f"{place_in_words(over.point, face)}"
        + (f", {over.height:g} mm up" if over.height else "")
        + f"; {tolerance:g} mm is allowed: ",
        *_advice(solution, face, tolerance, over),
        ".",
    )


def _advice(
    solution: Solution, face: PlatenFace, tolerance: float, over: Worst
) -> tuple[Phrase, ...]:
    bare, thin = worst(solution.map, solution.fit.matrix, solution.fit.freedom, face, (0.0, THIN))
    for_thin = thin.bound <= tolerance
    if not solution.photos:
        return _of_crosses(solution, bare.bound < tolerance, for_thin)
    if _even_would_do(solution, face, tolerance, over):
        off = solution.zones[0].unevenness
        return (
            f"the light lies up and down by {off:.2f} mm from one part of the platen to the "
            "next, as on an uneven face; ",
            *PRESS_FLAT,
        )
    if over.height and bare.bound < tolerance:
        raised = any(photo.raised for photo in solution.photos)
        board = "board as high as your thickest cloth" if raised else "flat board"
        more = Remedy(RemedyKind.ON_SPACER, f"add a photo with the cards on a {board}")
        return _any_of([more, *_for_height(solution, for_thin)])
    if worst_with_cards_exact(solution, face, over.height).bound < tolerance:
        again = Remedy(RemedyKind.ALL_AGAIN, "take the photos again")
        return "lay each card flush with the platen's edges and ", again
    side = _unseen_side(solution)
    return (Remedy(RemedyKind.ONE_MORE, f"take one more photo, from the {side}", side),)


def _of_crosses(solution: Solution, on_bare: bool, for_thin: bool) -> tuple[Phrase, ...]:
    """Say what makes crosses surer: on the bare platen, or where only height is in doubt."""
    corners = 4
    if solution.inherited is not None and len(solution.problem.model.crosses) < corners:
        each = "set a cross near each of the platen's four corners"
        return (Remedy(RemedyKind.CROSSES, each, corners),)
    fewer = len(solution.problem.model.crosses) < MOST_CROSSES
    more = [Remedy(RemedyKind.CROSSES, f"set {MOST_CROSSES} crosses", MOST_CROSSES)] * fewer
    if not on_bare:
        finer = "measure the marks again and set each cross to a quarter of a pixel"
        return tuple(more) or (finer,)
    ways = [*more, *_for_height(solution, for_thin)]
    return _any_of(ways) if ways else ("measure the lens and the marks again",)


def _for_height(solution: Solution, for_thin: bool) -> list[Remedy]:
    """Return what the operator could still tell where only height is in doubt."""
    stated, ways = solution.stated, []
    if stated.lens is None:
        ways.append(Remedy(RemedyKind.LENS, "measure with a tape where the projector's lens is"))
        if stated.throw is None and not solution.photos:
            ways.append(Remedy(RemedyKind.THROW, "give the throw ratio of its data sheet"))
    if for_thin and max(stated.heights) > THIN:
        ways.append(Remedy(RemedyKind.UP_TO, "calibrate for thin cloth only", THIN))
    return ways


def _any_of(ways: Sequence[Remedy]) -> tuple[Phrase, ...]:
    return tuple(part for way in ways for part in (", or ", way))[1:]


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
