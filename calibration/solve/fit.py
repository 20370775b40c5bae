"""From observations to the map that puts light where it is meant: joint least squares.

One fit explains every photo at once: each camera's lens, a camera pose per photo, the
projector as a pinhole with its lens, how each card truly lay, the print's scale and
each raised board. Cards float because they are laid by hand: their *size* is known far
better than their place, so the shape of the map comes from the former and only its
mean position from the latter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.geometry import PlatenFace, Points, xy_tuple
from calibration.model.pinhole import Array, Pinhole
from calibration.model.projector import ProjectorMap
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal
from calibration.solve.initial import first_projectors, first_vector, landed, without_pattern
from calibration.solve.least_squares import FitProblem, minimise, noise_by_group, weights
from calibration.solve.model_error import bent, doubting, light_sees, map_covariance
from calibration.solve.priors import (
    BOARD_HEIGHT_ERROR,
    KEYSTONE,
    PROJECTOR_FREE,
    bow_priors,
    bows,
    camera_priors,
    card_priors,
    free_unknowns,
    lay_error,
    projector_places,
    projector_priors,
    rests_on_bare_platen,
)
from calibration.solve.residuals import ResidualModel
from calibration.solve.values import (
    CardFit,
    CardPlan,
    Cross,
    Inherited,
    LaidBoard,
    MapFit,
    Stated,
    frozen_matrix,
)
from calibration.targets.pattern import Pattern

PLAIN = "pinhole with lens shift and distortion"
KEYSTONED = "pinhole with keystone"
"""The models of the projector that the data choose from."""

FIRST_NOISES = (8.0, 0.5)
"""Corner noise assumed before the residuals tell, px: large while cards still count as lying
where planned, lest true corners pass for false ones; then what a fair photo has."""

LAY_FREEDOM = 2.0
"""How many coordinates the stated laying error counts for, against five seen of four cards.
Simulated, cards laid up to three times worse than stated then lead to an accepted rig that is
over the tolerance in at most 2.5 % of all calibrations; cards laid well are hardly punished."""


@dataclass(frozen=True, eq=False)
class Solution:
    """A solved calibration, with everything that led to it.

    Attributes
    ----------
    map : ProjectorMap
    fit : MapFit
    photos : tuple of PhotoObservation
    plans : tuple of CardPlan
    stated : Stated
    inherited : Inherited or None
    task : FitProblem
    vector : ndarray
        The solved long vector (see `solve_problem.Layout`).
    """

    map: ProjectorMap
    fit: MapFit
    photos: tuple[PhotoObservation, ...]
    plans: tuple[CardPlan, ...]
    stated: Stated
    inherited: Inherited | None
    task: FitProblem
    vector: Array

    def camera(self, photo: int) -> Pinhole:
        """Return the solved camera of a photo, in its pose."""
        return self.task.problem.camera(self.vector, photo)

    def residuals(self, photo: int) -> tuple[Points, Points]:
        """Return solved less seen of a photo's card and pattern corners, px, shapes (N, 2)."""
        groups = self.task.problem.groups
        every = self.task.problem.residuals(self.vector)
        cards, pattern = every[groups == 2 * photo], every[groups == 2 * photo + 1]
        return cards.reshape(-1, 2), pattern.reshape(-1, 2)


def solve(
    observations: Sequence[PhotoObservation],
    cards: Sequence[LaidBoard],
    pattern: Pattern,
    face: PlatenFace,
    stated: Stated | None = None,
) -> Solution:
    """Return the projector map that explains the photos best, and how well it is known.

    Parameters
    ----------
    observations : sequence of PhotoObservation
        At least one with the cards on the bare platen (`raised` 0).
    cards : sequence of Card
        The cards, where they are meant to lie.
    pattern : Pattern
        What the projector showed.
    face : PlatenFace
        The platen.
    stated : Stated, optional
        What the operator measured.

    Raises
    ------
    Refusal
        If the photos do not fix the map. Whether the map is good enough is another
        question: see `solve_gates.examine`.
    """
    plans = [CardPlan.of(card) for card in cards]
    pixels = pattern.pixels(np.arange(pattern.count))
    return solve_plans(observations, plans, pixels, pattern.size, stated or Stated())


def solve_plans(
    observations: Sequence[PhotoObservation],
    plans: Sequence[CardPlan],
    pattern: Points,
    size: tuple[int, int],
    stated: Stated,
    crosses: Sequence[Cross] = (),
    inherited: Inherited | None = None,
) -> Solution:
    """Solve from what a rig file keeps; parameters as in `solve`.

    Parameters
    ----------
    pattern : ndarray, shape (K, 2)
        Projector px of the pattern's corners by index.
    size : tuple of int
        The projector's picture, px.
    crosses : sequence of Cross
        Crosses moved by hand, beside or instead of photos.
    inherited : Inherited, optional
        What is known of the projector from an earlier calibration.
    """
    photos = tuple(observations)
    if photos and all(photo.raised for photo in photos):
        raise Refusal(
            "Every photo is of raised cards: add at least one with the cards on the bare platen."
        )
    problem = ResidualModel.of(photos, plans, pattern, size, crosses)
    error = lay_error(stated)
    base = [
        *camera_priors(problem, photos),
        *projector_priors(problem, size, stated, inherited),
        *bow_priors(problem, inherited),
    ]
    free = free_unknowns(problem)
    levels = [np.append(np.full(2 * len(photos), n), stated.nudge / 2) for n in FIRST_NOISES]

    vector = first_vector(problem, photos)
    task = FitProblem(problem, [*base, *card_priors(problem, stated, error)], free, levels[-1])
    # Cards alone say nothing of a face's bow: it joins with the pattern.
    alone = replace(task, problem=without_pattern(problem), free=free & ~bows(problem))
    for noise in levels if photos else ():
        vector = minimise(replace(alone, noise=noise), vector).vector
    starts = _starts(problem, vector, size, stated, inherited)
    task = replace(task, free=free | projector_places(problem, PROJECTOR_FREE))
    result = min((minimise(task, start) for start in starts), key=lambda each: each.cost)
    free = task.free
    for _ in range(2):
        noise = _noise(task, result.vector)
        error, _ = _lay_error_seen(problem, result.vector, stated)
        task = FitProblem(problem, [*base, *card_priors(problem, stated, error)], free, noise)
        result = minimise(task, result.vector)

    more = projector_places(problem, KEYSTONE)
    keystone = bent(task, result.vector)
    if keystone:
        task = replace(task, free=free | more)
        result = minimise(task, result.vector)
        task = replace(task, noise=_noise(task, result.vector))
        result = minimise(task, result.vector)

    found = ProjectorMap(size, problem.projector(result.vector), problem.bow(result.vector, 0))
    return Solution(
        found,
        _fit(task, result.vector, stated, inherited, keystone, found),
        photos,
        tuple(plans),
        stated,
        inherited,
        task,
        result.vector,
    )


def _starts(
    problem: ResidualModel,
    vector: Array,
    size: tuple[int, int],
    stated: Stated,
    inherited: Inherited | None,
) -> list[Array]:
    """Return the vector with the projector set, in one likely way or two."""
    if inherited is not None:
        start = vector.copy()
        start[problem.layout.map] = inherited.mean
        return [start]
    # Once the cameras are known, each landing seen is a cross on a known point.
    crosses = [*problem.crosses]
    for height, points, pixels in landed(problem, vector):
        pairs = zip(xy_tuple(points), xy_tuple(pixels), strict=True)
        crosses.extend(Cross(point, pixel, height) for point, pixel in pairs)
    found = first_projectors(crosses, size, stated)
    starts = np.tile(vector, (len(found), 1))
    starts[:, problem.layout.projector] = [pinhole.vector for pinhole in found]
    return list(starts)


def _noise(task: FitProblem, vector: Array) -> Array:
    """Return each group's noise as the residuals show it; crosses are never believed better."""
    noise = noise_by_group(task, vector)
    noise[-1] = max(noise[-1], task.noise[-1])
    return noise


def _lay_error_seen(problem: ResidualModel, vector: Array, stated: Stated) -> tuple[float, float]:
    """Return the standard error of a lay, and the degrees of freedom behind it.

    It is the stated one, weighed against the lays seen.
    How the cards lie to each other is seen precisely; how well they lie as a whole is
    not, but cards that lie well to each other were laid by a careful hand. The stated
    error counts as `LAY_FREEDOM` more coordinates (a scaled inverse chi-squared prior:
    Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6).
    """
    error, layout = lay_error(stated), problem.layout
    bare = [k for k, height in enumerate(problem.levels) if not height]
    cards = sorted({int(c) for seen in problem.photos if seen.level in bare for c in seen.card})
    shifts = np.array([vector[layout.lay(level, k)][:2] for level in bare for k in cards])
    if len(shifts) < 2:
        return error, LAY_FREEDOM + 3 + 2 * len(problem.crosses)
    squares = float(np.sum(shifts**2))
    freedom = shifts.size - 3  # the cards' common shift and turn are not seen
    both = LAY_FREEDOM + freedom
    return float(np.sqrt((LAY_FREEDOM * error**2 + squares) / both)), both


def _fit(
    task: FitProblem,
    vector: Array,
    stated: Stated,
    inherited: Inherited | None,
    keystone: bool,
    found: ProjectorMap,
) -> MapFit:
    """Gather what the solution says of itself."""
    problem = task.problem
    layout = problem.layout
    spread = map_covariance(task, vector, stated, inherited)
    raised = [height for height in problem.levels if height]
    if raised:
        origin = f"photos of cards raised by {' and '.join(f'{h:g} mm' for h in raised)}"
    elif stated.lens is not None:
        origin = "the measured lens position"
    elif inherited is not None:
        origin = "the projector's lens as it was calibrated before"
    else:
        origin = "the projector's solved pose"
    notes = []
    if rests_on_bare_platen(problem, stated) and inherited is None:
        notes.append(
            "How light moves with height is told by the bare platen alone: that takes the "
            "projector's keystone correction to be off. A photo of the cards on a board would show."
        )
    if raised and inherited is None:
        slope = found.shift_per_height([plan.anchor for plan in problem.plans])
        notes.append(
            f"{_heights_seen(task, vector)} For each mm that the board is truly higher or lower, "
            f"light lands up to {np.hypot(*slope.T).max():.1f} mm off on cloth as high, beyond the "
            "bound. Measure the board with callipers."
        )
    if problem.photos and stated.bar is None:
        notes.append(
            "The printed bar was not measured: a platen 1 mm larger or smaller than stated puts "
            "light up to 1 mm off, beyond the bound. Measure the bar (--bar) and the platen."
        )
    groups = problem.groups
    photo_groups = groups < 2 * len(problem.photos)
    freedom = _lay_error_seen(problem, vector, stated)[1]
    return MapFit(
        model=KEYSTONED if keystone else PLAIN,
        height_from=origin,
        covariance=frozen_matrix(spread),
        noise=float(np.median(task.noise[groups[photo_groups]]))
        if photo_groups.any()
        else float(task.noise[-1]),
        freedom=int(freedom),
        print_scale=1.0 + float(vector[layout.scale]),
        cards=_card_fits(task, vector),
        notes=tuple(notes),
    )


def _heights_seen(task: FitProblem, vector: Array) -> str:
    """Say how high the light itself sees the boards on which heights rest."""
    problem, said = task.problem, []
    for level, height in enumerate(problem.levels):
        if not height:
            continue
        place = problem.layout.rise(level)
        rise, error = light_sees(task, vector, place, BOARD_HEIGHT_ERROR)
        _, bent_error = light_sees(doubting(task, vector), vector, place, BOARD_HEIGHT_ERROR)
        board = f"the board of {height:g} mm"
        if error >= height:
            said.append(f"{board}, whose height the light itself does not tell")
            continue
        if_bent = f"± {2 * bent_error:.1f} mm" if bent_error < height else "not at all"
        said.append(
            f"{board}, which the light itself sees at {height + rise:.1f} ± {2 * error:.1f} mm "
            f"({if_bent} were some keystone correction left on)"
        )
    return f"Heights rest on {' and on '.join(said)}."


def _card_fits(task: FitProblem, vector: Array) -> tuple[CardFit, ...]:
    """Return how each card lay on each level."""
    problem = task.problem
    pull = weights(task, vector)[: len(problem.groups)].reshape(-1, 2).min(axis=1)
    residuals = problem.residuals(vector).reshape(-1, 2)
    owner = np.full((len(residuals), 2), -1)  # level and card of each corner
    millimetres = np.zeros(len(residuals))
    row = 0
    for k, seen in enumerate(problem.photos):
        rows = slice(row, row + len(seen.card))
        owner[rows, 0], owner[rows, 1] = seen.level, seen.card
        height = problem.height(vector, seen.level)
        camera = problem.camera(vector, k)
        points = camera.unproject(seen.card_pixels, height)
        solved = camera.unproject(seen.card_pixels + residuals[rows], height)
        millimetres[rows] = np.linalg.norm(solved - points, axis=1)
        row += len(seen.card) + len(seen.pattern)
    fits = []
    for level, height in enumerate(problem.levels):
        for index, plan in enumerate(problem.plans):
            mine = (owner[:, 0] == level) & (owner[:, 1] == index)
            if not mine.any():
                continue
            x, y, turn = (float(v) for v in vector[problem.layout.lay(level, index)])
            root_mean_square = float(np.sqrt(np.mean(millimetres[mine] ** 2)))
            used = int(np.sum(pull[mine] > 0.5))
            fits.append(CardFit(plan.name, height, (x, y), turn, root_mean_square, used))
    return tuple(fits)
