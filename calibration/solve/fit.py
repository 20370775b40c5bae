"""From observations to the map that puts light where it is meant: joint least squares.

One fit explains every photo at once: each camera's lens, a camera pose per photo, the
projector as a pinhole with its lens, where each card truly was, the print's scale and
each spacer under raised cards. The place of a card is an unknown because cards are laid by
hand: their *size* is known far better than their place, so the map takes its shape from
the former and only its mean position from the latter.
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
from calibration.solve.initial import (
    first_projectors,
    first_vector,
    observed_landings,
    without_pattern,
)
from calibration.solve.least_squares import (
    FitProblem,
    Result,
    minimise,
    noise_by_group,
    weights,
)
from calibration.solve.model_error import (
    estimate_without_prior,
    map_covariance,
    shows_keystone,
    with_keystone_prior,
)
from calibration.solve.priors import (
    KEYSTONE,
    PROJECTOR_FREE,
    SPACER_HEIGHT_ERROR,
    bow_priors,
    bows,
    camera_priors,
    card_pose_error,
    card_priors,
    free_unknowns,
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
    LaidCard,
    MapFit,
    Stated,
    frozen_matrix,
)
from calibration.solve.zones import Zones, zones_by_level
from calibration.targets.pattern import Pattern

PLAIN = "pinhole with lens shift and distortion"
KEYSTONED = "pinhole with keystone"
"""The projector models; the photos decide between them."""

FIRST_NOISES = (8.0, 0.5)
"""Corner noise assumed before the residuals tell it, px. First a large one: cards are still
taken to lie where planned, and true corners must not count as false. Then a fair photo's."""

TRIAL_STEPS, TRIAL_RATIO = 10, 3.0
"""A start is let go if after so many steps it costs so many times as much as the best one. The
true start of 14 random benches had arrived by then; the other crawled along a valley, 3 to 900
times as dear, and took two thirds of the whole solution's time."""

CARD_POSE_FREEDOM = 2.0
"""How many coordinates the stated laying error counts for, against five observed of four cards.
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
    problem : FitProblem
    vector : ndarray
        The solved long vector (see `parameters.Layout`).
    zones : tuple of Zones
        How far zones of the light are off, at each level.
    """

    map: ProjectorMap
    fit: MapFit
    photos: tuple[PhotoObservation, ...]
    plans: tuple[CardPlan, ...]
    stated: Stated
    inherited: Inherited | None
    problem: FitProblem
    vector: Array
    zones: tuple[Zones, ...]

    def camera(self, photo: int) -> Pinhole:
        """Return the solved camera of a photo, in its pose."""
        return self.problem.model.camera(self.vector, photo)

    def residuals(self, photo: int) -> tuple[Points, Points]:
        """Return solved less seen of a photo's card and pattern corners, px, shapes (N, 2)."""
        groups = self.problem.model.groups
        every = self.problem.model.residuals(self.vector)
        cards, pattern = every[groups == 2 * photo], every[groups == 2 * photo + 1]
        return cards.reshape(-1, 2), pattern.reshape(-1, 2)


def solve(
    observations: Sequence[PhotoObservation],
    cards: Sequence[LaidCard],
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
        question: see `acceptance.examine`.
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
    model = ResidualModel.of(photos, plans, pattern, size, crosses)
    error = card_pose_error(stated)
    base = [
        *camera_priors(model, photos),
        *projector_priors(model, size, stated, inherited),
        *bow_priors(model, inherited),
    ]
    free = free_unknowns(model)
    noises = [np.append(np.full(2 * len(photos), n), stated.nudge / 2) for n in FIRST_NOISES]

    vector = first_vector(model, photos)
    problem = FitProblem(model, [*base, *card_priors(model, stated, error)], free, noises[-1])
    # Cards alone say nothing of a face's bow: that is freed once the pattern joins.
    cards_only = replace(problem, model=without_pattern(model), free=free & ~bows(model))
    for noise in noises if photos else ():
        vector = minimise(replace(cards_only, noise=noise), vector).vector
    starts = _starts(model, vector, size, stated, inherited)
    problem = replace(problem, free=free | projector_places(model, PROJECTOR_FREE))
    result = _best(problem, starts)
    free = problem.free
    for _ in range(2):
        noise = _noise(problem, result.vector)
        error, _ = _observed_card_pose_error(model, result.vector, stated)
        problem = FitProblem(model, [*base, *card_priors(model, stated, error)], free, noise)
        result = minimise(problem, result.vector)

    zones = zones_by_level(problem, result.vector)
    keystone = shows_keystone(problem, result.vector, zones)
    if keystone:
        problem = replace(problem, free=free | projector_places(model, KEYSTONE))
        result = minimise(problem, result.vector)
        problem = replace(problem, noise=_noise(problem, result.vector))
        result = minimise(problem, result.vector)
        zones = zones_by_level(problem, result.vector)

    found = ProjectorMap(size, model.projector(result.vector), model.bow(result.vector, 0))
    return Solution(
        found,
        _map_fit(problem, result.vector, zones, stated, inherited, keystone, found),
        photos,
        tuple(plans),
        stated,
        inherited,
        problem,
        result.vector,
        zones,
    )


def _starts(
    model: ResidualModel,
    vector: Array,
    size: tuple[int, int],
    stated: Stated,
    inherited: Inherited | None,
) -> list[Array]:
    """Return the vector with the projector set, in one likely way or two."""
    if inherited is not None:
        start = vector.copy()
        start[model.layout.map] = inherited.mean
        return [start]
    # Once the cameras are known, each observed landing is a cross on a known point.
    crosses = [*model.crosses]
    for height, points, pixels in observed_landings(model, vector):
        pairs = zip(xy_tuple(points), xy_tuple(pixels), strict=True)
        crosses.extend(Cross(point, pixel, height) for point, pixel in pairs)
    found = first_projectors(crosses, size, stated)
    starts = np.tile(vector, (len(found), 1))
    starts[:, model.layout.projector] = [pinhole.vector for pinhole in found]
    return list(starts)


def _best(problem: FitProblem, starts: Sequence[Array]) -> Result:
    """Return the cheapest minimum that the starts lead to."""
    tried = [minimise(problem, start, TRIAL_STEPS) for start in starts]
    least = min(each.cost for each in tried)
    near = [each for each in tried if each.cost <= TRIAL_RATIO * least]
    return min((minimise(problem, each.vector) for each in near), key=lambda each: each.cost)


def _noise(problem: FitProblem, vector: Array) -> Array:
    """Return each group's noise as the residuals show it; crosses are never believed better."""
    noise = noise_by_group(problem, vector)
    noise[-1] = max(noise[-1], problem.noise[-1])
    return noise


def _observed_card_pose_error(
    model: ResidualModel, vector: Array, stated: Stated
) -> tuple[float, float]:
    """Return the standard error of where a card lies, and the degrees of freedom behind it.

    The stated error is combined with the observed ones. Where cards lie relative to each
    other is observed precisely; by how much they are off together is not, but cards that lie
    well to each other were laid with care. The stated error counts as `CARD_POSE_FREEDOM`
    more coordinates (a scaled inverse chi-squared prior: Gelman et al., Bayesian Data
    Analysis, 3rd ed., section 2.6).
    """
    error, layout = card_pose_error(stated), model.layout
    bare = [k for k, height in enumerate(model.levels) if not height]
    cards = sorted({int(c) for seen in model.photos if seen.level in bare for c in seen.card})
    shifts = np.array([vector[layout.card_pose(level, k)][:2] for level in bare for k in cards])
    if len(shifts) < 2:
        return error, CARD_POSE_FREEDOM + 3 + 2 * len(model.crosses)
    squares = float(np.sum(shifts**2))
    freedom = shifts.size - 3  # the cards' common shift and turn are not seen
    both = CARD_POSE_FREEDOM + freedom
    return float(np.sqrt((CARD_POSE_FREEDOM * error**2 + squares) / both)), both


def _map_fit(
    problem: FitProblem,
    vector: Array,
    zones: tuple[Zones, ...],
    stated: Stated,
    inherited: Inherited | None,
    keystone: bool,
    found: ProjectorMap,
) -> MapFit:
    """Gather what the solution says of itself."""
    model = problem.model
    layout = model.layout
    spread = map_covariance(problem, vector, zones, stated, inherited)
    raised = [height for height in model.levels if height]
    if raised:
        origin = f"photos of cards raised by {' and '.join(f'{h:g} mm' for h in raised)}"
    elif stated.lens is not None:
        origin = "the measured lens position"
    elif inherited is not None:
        origin = "the projector's lens as it was calibrated before"
    else:
        origin = "the projector's solved pose"
    notes = []
    if rests_on_bare_platen(model, stated) and inherited is None:
        notes.append(
            "How light moves with height is told by the bare platen alone: that takes the "
            "projector's keystone correction to be off. A photo of the cards on a board would show."
        )
    if raised and inherited is None:
        slope = found.shift_per_height([plan.anchor for plan in model.plans])
        notes.append(
            f"{_heights_seen(problem, vector, zones)} "
            "For each mm that the board is truly higher or lower, "
            f"light lands up to {np.hypot(*slope.T).max():.1f} mm off on cloth as high, beyond the "
            "bound. Measure the board with callipers."
        )
    if model.photos and stated.bar is None:
        notes.append(
            "The printed bar was not measured: a platen 1 mm larger or smaller than stated puts "
            "light up to 1 mm off, beyond the bound. Measure the bar and the platen."
        )
    groups = model.groups
    photo_groups = groups < 2 * len(model.photos)
    freedom = _observed_card_pose_error(model, vector, stated)[1]
    return MapFit(
        model=KEYSTONED if keystone else PLAIN,
        height_from=origin,
        covariance=frozen_matrix(spread),
        noise=float(np.median(problem.noise[groups[photo_groups]]))
        if photo_groups.any()
        else float(problem.noise[-1]),
        freedom=int(freedom),
        print_scale=1.0 + float(vector[layout.scale]),
        cards=_card_fits(problem, vector),
        notes=tuple(notes),
    )


def _heights_seen(problem: FitProblem, vector: Array, zones: tuple[Zones, ...]) -> str:
    """Say how high the light itself sees the spacers on which heights rest."""
    model, said = problem.model, []
    for level, height in enumerate(model.levels):
        if not height:
            continue
        place = model.layout.height_error(level)
        (off, error), (_, keystone_error) = (
            estimate_without_prior(each, vector, zones, place, SPACER_HEIGHT_ERROR)
            for each in (problem, with_keystone_prior(problem, vector))
        )
        board = f"the board of {height:g} mm"
        if error >= height:
            said.append(f"{board}, whose height the light itself does not tell")
            continue
        doubt = f"± {2 * keystone_error:.1f} mm" if keystone_error < height else "not at all"
        said.append(
            f"{board}, which the light itself sees at {height + off:.1f} ± {2 * error:.1f} mm "
            f"({doubt} were some keystone correction left on)"
        )
    return f"Heights rest on {' and on '.join(said)}."


def _card_fits(problem: FitProblem, vector: Array) -> tuple[CardFit, ...]:
    """Return where each card was at each level."""
    model = problem.model
    weight = weights(problem, vector)[: len(model.groups)].reshape(-1, 2).min(axis=1)
    residuals = model.residuals(vector).reshape(-1, 2)
    owner = np.full((len(residuals), 2), -1)  # level and card of each corner
    millimetres = np.zeros(len(residuals))
    row = 0
    for k, seen in enumerate(model.photos):
        rows = slice(row, row + len(seen.card))
        owner[rows, 0], owner[rows, 1] = seen.level, seen.card
        height = model.height(vector, seen.level)
        camera = model.camera(vector, k)
        points = camera.unproject(seen.card_pixels, height)
        solved = camera.unproject(seen.card_pixels + residuals[rows], height)
        millimetres[rows] = np.linalg.norm(solved - points, axis=1)
        row += len(seen.card) + len(seen.pattern)
    fits = []
    for level, height in enumerate(model.levels):
        for index, plan in enumerate(model.plans):
            mine = (owner[:, 0] == level) & (owner[:, 1] == index)
            if not mine.any():
                continue
            x, y, turn = (float(v) for v in vector[model.layout.card_pose(level, index)])
            root_mean_square = float(np.sqrt(np.mean(millimetres[mine] ** 2)))
            used = int(np.sum(weight[mine] > 0.5))
            fits.append(CardFit(plan.name, height, (x, y), turn, root_mean_square, used))
    return tuple(fits)
